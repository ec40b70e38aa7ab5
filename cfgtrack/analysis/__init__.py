"""The questions that a sequence must answer, a module each."""
