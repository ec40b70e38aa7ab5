"""What a cell of a table holds that isn't what somebody typed: what a spreadsheet made of it."""

from __future__ import annotations

import re

ATTRIBUTE = "attribute "
"""What the names of columns begin with here that are attributes."""

FREE = ("title", "aliases")
"""Columns of free text, which may look like anything; so may attributes."""


def is_free(column: str) -> bool:
    """Return whether a column may hold any text."""
    return column in FREE or column.startswith(ATTRIBUTE)


_FAILED = re.compile(r"#(?:REF!|N/A|NAME\?|VALUE!|DIV/0!|NULL!|NUM!|SPILL!|CALC!)")
_CALL = re.compile(r'=\s*(?:"|[A-Za-z.]+\(|\$?[A-Z]{1,3}\$?\d+\s*[*&])')
_FORMULA = re.compile(r'=\s*(?:"|[A-Za-z.]+\(|\$?[A-Z]{1,3}\$?\d+\s*(?:[-+*/&]|\Z))')
BARE_NUMBER = re.compile(r"[-+]?\d*\.?\d+(?:[eE][-+]?\d+)?", re.ASCII)
"""A number without a unit, with a decimal point."""

POWER = re.compile(r"\d(?:[.,]\d+)?E\+\d\d+")
"""A power of ten, as a spreadsheet writes what it took for a large number."""

DATE = "date"
"""The code of a cell that is a date: attributes may be dates."""

_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_MONTHS = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
_DATE = re.compile(rf"\d{{1,2}}-(?:{_MONTHS})|(?:{_MONTHS})-\d\d|\d{{4}}-\d\d-\d\d 00:00:00")
_GARBLED = re.compile("[\ufffd\x00-\x08\x0b\x0c\x0e-\x1f]|\u00c3[\u0080-\u00bf\u2010-\u2122]|\u00e2\u20ac")
_PERIL = frozenset("=#")


class Odd(str):
    """A cell that is no text or number: `code` and `sentence` say what it is. As a text it is what it looks like."""

    __slots__ = ("code", "sentence")
    code: str
    sentence: str

    @classmethod
    def made(cls, text: str, code: str, sentence: str) -> Odd:
        """Return such a cell."""
        odd = cls(text)
        odd.code = code
        odd.sentence = sentence
        return odd


class Number(str):
    """A cell of a workbook that is a number: written with a point, whatever the table's own language is."""

    __slots__ = ()


def trouble(column: str, text: str, *, is_name: bool = False) -> tuple[str, str] | None:
    """Return code and sentence for a cell of this column that a spreadsheet, or its export, has spoilt.

    What names something (`is_name`) may look like the reference to a cell: drawings call things =A1+K1.
    """
    if isinstance(text, Odd):
        is_day = text.code == DATE and _DAY.fullmatch(text) is not None
        return None if is_day and column.startswith(ATTRIBUTE) else (text.code, text.sentence)
    if text[0] in _PERIL:
        if _FAILED.fullmatch(text):
            return "failed-formula", f"expected a value, found {text}: a formula that failed"
        if not is_free(column) and (_CALL if is_name else _FORMULA).match(text):
            return "formula", f"expected a value, found a formula: '{text}'"
    if _GARBLED.search(text):
        return "garbled", f"expected text, found '{text}': it was saved in one encoding and read in another"
    if not is_free(column) and POWER.fullmatch(text):
        return (
            "spoilt-number",
            f"found '{text}': a spreadsheet has made a number of it; format the column as text",
        )
    if not is_free(column) and _DATE.fullmatch(text):
        return (
            "spoilt-date",
            f"found '{text}': a spreadsheet has made a date of it; format the column as text",
        )
    return None
