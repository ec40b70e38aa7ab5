"""The command line: arguments in, exit status out."""
