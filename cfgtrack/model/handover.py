"""Tree heads as people say and keep them, and handovers, which say with one which record is taken over or handed on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from cfgtrack.model.action import BEGIN, END, Action
from cfgtrack.model.trouble import BadInput, Problem

HANDOVERS = (BEGIN, END)


_LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"
_ROOT_SIZE, _SHORT_SIZE = 32, 12
_MOST_DIGITS = 18
WHOLE_BITS, SHORT_BITS = 256, 60
"""How much of a root a head proves: all of it, or what can be read out."""


def spelled(number: int) -> str:
    """Return 60 bits in three groups of four letters that can be read out over a radio: none looks like another."""
    letters = "".join(_LETTERS[(number >> shift) & 31] for shift in range(55, -1, -5))
    return f"{letters[:4]}-{letters[4:8]}-{letters[8:]}"


def short_head(size: int, root: bytes) -> str:
    """Return a tree head in a few groups that can be read out over a radio: the size, and 60 bits of the root."""
    return f"{size} {spelled(int.from_bytes(root[:8]) >> 4)}"


@dataclass(frozen=True, slots=True)
class TreeHead:
    """What the hashes alone say of a tree head: of how many events it is, and the root."""

    told: ClassVar[tuple[str, ...]] = ("short",)

    size: int
    root: bytes

    @property
    def short(self) -> str:
        """Return it in a few groups that can be read out over a radio."""
        return short_head(self.size, self.root)

    @property
    def text(self) -> str:
        """Return it as one line that can be kept: size, and root in hexadecimal."""
        return f"{self.size} {self.root.hex()}"


@dataclass(frozen=True, slots=True)
class SaidHead:
    """A tree head as somebody said or kept it: of how many events, and the root, or only the letters of its short form.

    When the last event became known may stand behind the root, as `cfgtrack head` prints it; nothing rests on that.
    """

    told: ClassVar[tuple[str, ...]] = ("bits",)
    untold: ClassVar[tuple[str, ...]] = ("letters",)

    size: int
    root: bytes | None
    letters: str

    @property
    def bits(self) -> int:
        """Return how many bits of a root it proves."""
        return SHORT_BITS if self.root is None else WHOLE_BITS

    def is_of(self, size: int, root: bytes | None) -> bool:
        """Return whether it is the head of so many events with this root, as far as its `bits` say."""
        if root is None or size != self.size:
            return False
        return (
            _only_letters(short_head(size, root)) == self.letters if self.root is None else root == self.root
        )


def said_head(text: str, where: str) -> SaidHead:
    """Return the head that a text says, in full or in short, as the tool prints it or a radio garbles it.

    BadInput when it says none.

    >>> said_head("head 372 66R6 atbe-m9km", "--head").letters
    '66r6atbem9km'
    """
    found = _said(text.split())
    if found is None:
        wanted = (
            f"expected a head: a size and a root of {2 * _ROOT_SIZE} hexadecimal digits, as `cfgtrack head` prints it,"
            " or a size and three groups of four letters, as `record` does"
        )
        raise BadInput(Problem(where, "not-a-head", f"{wanted}; found {text.strip()[:200]!r}"))
    return found


def _said(words: list[str]) -> SaidHead | None:
    size, *rest = words[1:] if words[:1] == ["head"] else words or [""]
    if not (size.isascii() and size.isdecimal() and len(size) <= _MOST_DIGITS and rest):
        return None
    if len(rest[0]) == 2 * _ROOT_SIZE:
        known = rest[1].removeprefix("-") if len(rest) > 1 else "0"
        try:
            root = bytes.fromhex(rest[0])
        except ValueError:
            return None
        is_known = known.isascii() and known.isdecimal() and len(rest) <= 2
        return SaidHead(int(size), root, "") if is_known and len(root) == _ROOT_SIZE else None
    letters = "".join(rest).lower().replace("-", "")
    if len(letters) != _SHORT_SIZE or not set(letters) <= set(_LETTERS):
        return None
    return SaidHead(int(size), None, letters)


def _only_letters(short: str) -> str:
    return short.partition(" ")[2].replace("-", "")


def handover_body(size: int, root: bytes) -> dict[str, Any]:
    """Return the body of an event that hands over what a tree head stands for."""
    return {"head": {"root": root.hex(), "size": size}}


def handed_over(action: Action) -> TreeHead | None:
    """Return the tree head that an action stands for, None for none. ValueError when it should, and it is none."""
    if action.action not in HANDOVERS or not action.body or "head" not in action.body:
        return None
    found = action.body["head"]
    if not isinstance(found, dict) or sorted(found) != ["root", "size"]:
        raise ValueError("expected a head, of a root and a size")
    size, root = found["size"], found["root"]
    if type(size) is not int or size < 0 or not isinstance(root, str) or len(root) != 64:
        raise ValueError("expected a size and a root of 64 hexadecimal digits")
    return TreeHead(size, bytes.fromhex(root))
