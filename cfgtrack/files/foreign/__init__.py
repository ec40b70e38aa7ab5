"""Readers of foreign forms, a file each: what they make of a file is a `Drawing`, which becomes definition files."""
