"""`all`: every one of several conditions is true."""

from dataclasses import dataclass

from cfgtrack.rules.several import Several


@dataclass(frozen=True, slots=True)
class All(Several):
    """Every part is true. True when there are none."""

    key, word, brackets, none, combine = "all", "and", "any", "always", all
