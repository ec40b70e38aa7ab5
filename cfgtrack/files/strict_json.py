"""JSON as it is taken from outside: each name once in an object, nothing that JSON doesn't know, no endless nesting.

Two names that are one make two readers of one text see different things, and one of them is shown what isn't so.
"""

from __future__ import annotations

import json
from typing import Any, NoReturn

from cfgtrack.model.gate import MOST_DEPTH, is_deeper


class TooDeep(ValueError):
    """It has more lists and objects in one another than anything has that is meant."""

    def __init__(self) -> None:
        super().__init__(f"expected at most {MOST_DEPTH} lists and objects in one another")


def strict_json(text: str) -> Any:
    """Return what a text says. json.JSONDecodeError for no JSON, TooDeep, ValueError for a name twice or no number.

    >>> strict_json('{"a": 1, "a": 2}')
    Traceback (most recent call last):
    ValueError: a is given twice
    """
    try:
        data = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except RecursionError:
        raise TooDeep from None
    # What opens no more brackets than that can't have more in one another.
    if text.count("{") + text.count("[") > MOST_DEPTH and is_deeper(data):
        raise TooDeep
    return data


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = next(name for i, (name, _) in enumerate(pairs) if name in (other for other, _ in pairs[:i]))
        raise ValueError(f"{twice} is given twice")
    return found


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number in JSON")
