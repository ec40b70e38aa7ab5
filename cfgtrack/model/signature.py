"""Signatures: what somebody's key stands behind is the action as it was said, for one journal and no other."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

FORM = "cfgtrack event 1"
"""What is signed begins with this: so nothing that is signed for another purpose, or in another form, counts here."""

KEY = re.compile(r"ed25519:[0-9a-f]{64}")
"""A public key as a definition has it: 32 bytes, RFC 8032 section 5.1.5, in hexadecimal."""

_P = 2**255 - 19
_D = -121665 * pow(121666, -1, _P) % _P


@cache
def fault_of_key(key: str) -> str | None:
    """Return why a text of the form `KEY` is no public key by which anybody's signature is known; None if it is one.

    32 bytes are a point by RFC 8032, section 5.1.3. One of small order (of which there are eight) is no person's: it
    takes a signature that nobody made under one message in eight, or under any.
    """
    number = int.from_bytes(bytes.fromhex(key.partition(":")[2]), "little")
    y, is_odd = number & (1 << 255) - 1, number >> 255
    x = None if y >= _P else _x_of(y, is_odd)
    if x is None:
        return "these bytes are no point of the curve"
    for _ in range(3):  # eight times the point
        product = _D * x * x * y * y % _P
        x, y = (
            2 * x * y * pow(1 + product, -1, _P) % _P,
            (y * y + x * x) * pow(1 - product, -1, _P) % _P,
        )
    return "this point is of small order: it takes signatures that nobody made" if (x, y) == (0, 1) else None


def _x_of(y: int, is_odd: int) -> int | None:
    square = (y * y - 1) * pow(_D * y * y + 1, -1, _P) % _P
    x = pow(square, (_P + 3) // 8, _P)
    if (x * x - square) % _P:
        x = x * pow(2, (_P - 1) // 4, _P) % _P
    if (x * x - square) % _P or (x == 0 and is_odd):
        return None
    return _P - x if x % 2 != is_odd else x


_FIELDS = ("by", "form", "journal", "key", "signature")


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature: `by` whom, with which public `key`, under which action as `said` (JSON), in which `journal`."""

    by: str
    key: str
    journal: str
    said: Mapping[str, Any]
    signature: str

    @property
    def signs(self) -> dict[str, Any]:
        """What the signature is of, as JSON."""
        return {"by": self.by, "form": FORM, "journal": self.journal, "key": self.key, "said": {**self.said}}


@dataclass(frozen=True, slots=True)
class Signer:
    """Somebody who can sign: the person, the public key, and what makes the 64 bytes of a signature of some bytes."""

    person: str
    key: str
    sign: Callable[[bytes], bytes]


def signed_to_json(signed: Signed) -> dict[str, Any]:
    """Return a signature as JSON, as the journal keeps it."""
    return {**signed.signs, "signature": signed.signature}


def signed_from_json(data: Any) -> Signed:
    """Return the signature of an object made by `signed_to_json`. ValueError, saying what was expected, for another."""
    if not isinstance(data, dict) or sorted(data) != sorted((*_FIELDS, "said")):
        raise ValueError(f"expected an object of {', '.join((*_FIELDS, 'said'))}")
    texts = [data[name] for name in _FIELDS]
    if not all(isinstance(text, str) and text for text in texts) or not isinstance(data["said"], dict):
        raise ValueError("expected texts, and the action that was said as an object")
    by, form, journal, key, signature = texts
    if form != FORM:
        raise ValueError(f"expected the form {FORM!r}, found {form!r}")
    if not KEY.fullmatch(key) or not re.fullmatch("[0-9a-f]{128}", signature):
        raise ValueError("expected a key as ed25519: and 64 hexadecimal digits, and a signature of 128")
    return Signed(by, key, journal, data["said"], signature)
