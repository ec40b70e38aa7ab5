"""Handovers: who begins or ends an outing says, with a tree head, which record he takes over or hands on."""

from __future__ import annotations

from typing import Any, NamedTuple

from cfgtrack.model.action import BEGIN, END, Action

HANDOVERS = (BEGIN, END)


class HandedOver(NamedTuple):
    """The tree head that a handover stands for: of how many events, and the root."""

    size: int
    root: bytes


_LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"


def spelled(number: int) -> str:
    """Return 60 bits in three groups of four letters that can be read out over a radio: none looks like another."""
    letters = "".join(_LETTERS[(number >> shift) & 31] for shift in range(55, -1, -5))
    return f"{letters[:4]}-{letters[4:8]}-{letters[8:]}"


def short_head(size: int, root: bytes) -> str:
    """Return a tree head in a few groups that can be read out over a radio: the size, and 60 bits of the root."""
    return f"{size} {spelled(int.from_bytes(root[:8]) >> 4)}"


def handover_body(size: int, root: bytes) -> dict[str, Any]:
    """Return the body of an event that hands over what a tree head stands for."""
    return {"head": {"root": root.hex(), "size": size}}


def handed_over(action: Action) -> HandedOver | None:
    """Return the tree head that an action stands for, None for none. ValueError when it should, and it is none."""
    if action.action not in HANDOVERS or not action.body or "head" not in action.body:
        return None
    found = action.body["head"]
    if not isinstance(found, dict) or sorted(found) != ["root", "size"]:
        raise ValueError("expected a head, of a root and a size")
    size, root = found["size"], found["root"]
    if type(size) is not int or size < 0 or not isinstance(root, str) or len(root) != 64:
        raise ValueError("expected a size and a root of 64 hexadecimal digits")
    return HandedOver(size, bytes.fromhex(root))
