"""A second, slow reading of the rules, written from the text of their meanings alone: what the engine is held against."""
