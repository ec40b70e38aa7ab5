"""Answers are asked of the same tiny plant as the command line's, and of the store's fresh journals."""

from tests.cli.conftest import cfgtrack, empty
from tests.store.conftest import fresh_url, pattern

__all__ = ["cfgtrack", "empty", "fresh_url", "pattern"]
