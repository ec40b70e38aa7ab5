"""`any`: at least one of several conditions is true."""

from dataclasses import dataclass

from cfgtrack.rules.several import Several


@dataclass(frozen=True, slots=True)
class AnyOf(Several):
    """At least one part is true."""

    key, word, brackets, none, combine = "any", "or", "all", "never", any
