"""Answers are asked of the same tiny plant as the command line's."""

from tests.cli.conftest import cfgtrack, empty

__all__ = ["cfgtrack", "empty"]
