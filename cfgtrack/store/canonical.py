"""Canonical JSON: one record, one sequence of bytes, so that a hash of it means something.

Source: RFC 8785 (JSON Canonicalization Scheme). The rfc8785 library is the measure. Every event passes
through here, so the common types are written directly, several times as fast; a test holds the two to the
same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from json.encoder import encode_basestring

# Up to here a JSON number, a double, carries every integer exactly (RFC 7493 section 2.2).
LARGEST_INTEGER = 2**53 - 1


class NotCanonical(ValueError):
    """No canonical JSON: an integer too large, NaN or infinity, half a surrogate pair, or no JSON type."""


def canonical_json(record: Mapping[str, object]) -> bytes:
    """The UTF-8 bytes of a JSON object in canonical form.

    `record` is a dict of str to None, bool, int, float, str, list, tuple or dict, nested at will. A float
    without a fraction is written as an integer, as RFC 8785 wants, so it reads back as one; beyond
    `LARGEST_INTEGER` it has to be read as a float to be written again.

    Raises `NotCanonical`.
    """
    try:
        return _text(record).encode()
    except UnicodeEncodeError as err:
        raise NotCanonical(f"half a surrogate pair in a text: {err.object[err.start : err.end]!r}") from err


def _text(value: object) -> str:
    # Exact types: a subclass may print in its own way, so it is left to the library.
    kind = type(value)
    if kind is str:
        return encode_basestring(value)  # type: ignore[arg-type]
    if kind is dict:
        return _object(value)  # type: ignore[arg-type]
    if kind is list or kind is tuple:
        return f"[{','.join([_text(element) for element in value])}]"  # type: ignore[attr-defined]
    if value is None:
        return "null"
    if kind is bool:
        return "true" if value else "false"
    if kind is int and -LARGEST_INTEGER <= value <= LARGEST_INTEGER:  # type: ignore[operator]
        return str(value)
    if kind is float:
        return _float(value)  # type: ignore[arg-type]
    return _by_library(value)


def canonical_object(members: Mapping[str, str]) -> str:
    """The text of a JSON object whose members are canonical text already."""
    return f"{{{','.join([_name(name) + members[name] for name in _in_order(members)])}}}"


def _object(members: dict[str, object]) -> str:
    return f"{{{','.join([_name(name) + _text(members[name]) for name in _in_order(members)])}}}"


def _in_order(members: Mapping[str, object]) -> list[str]:
    try:
        names = sorted(members)
        if not "".join(names).isascii():
            # Section 3.2.3: by UTF-16 code units, which is not the order of code points.
            names.sort(key=lambda name: name.encode("utf-16-be", "surrogatepass"))
    except TypeError:
        raise NotCanonical("a member's name that is no text") from None
    return names


@lru_cache(maxsize=4096)
def _name(name: str) -> str:
    return encode_basestring(name) + ":"


def _float(number: float) -> str:
    # Python and ECMAScript both write the fewest digits that read back as the number. They differ in a
    # trailing .0, in the sign of zero, and in exponents, which Python uses from 1e16 on and below 1e-4.
    text = repr(number)
    if "e" in text or "n" in text:
        return _by_library(number)
    return text.removesuffix(".0") if number else "0"


def _by_library(value: object) -> str:
    import rfc8785

    try:
        return rfc8785.dumps(value).decode()  # type: ignore[arg-type]
    except rfc8785.CanonicalizationError as err:
        raise NotCanonical(str(err)) from err
