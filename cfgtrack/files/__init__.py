"""Files in: hardware, rules, sequences and events, each with the line that an error can name."""
