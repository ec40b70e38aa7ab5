"""Texts in sheets that a spreadsheet would compute: written so that none does, and read back as they were.

A text that begins as a formula stands between apostrophes, and so does one that begins or ends with a blank, or that
would begin a formula where somebody's spreadsheet cuts it in two: there an apostrophe comes before the sign. Source of
the signs: OWASP, "CSV Injection".
"""

from __future__ import annotations

import re

_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_BEGINS = re.compile(f"[{_SIGNS}\t\r\n']")
_CUT = re.compile(f"([;\t\r\n][ \t\"]*)('*[{_SIGNS}])")
_MENDED = re.compile(f"([;\t\r\n][ \t\"]*)'('*[{_SIGNS}])")


def is_live(text: str) -> bool:
    """Return whether a spreadsheet may compute a text, or lose what it begins or ends with."""
    return bool(text) and (
        _BEGINS.match(text) is not None or text != text.strip() or _CUT.search(text) is not None
    )


def guarded(text: str) -> str:
    """Return a text as it may stand in a sheet.

    >>> guarded("=1+1"), guarded("pin 3 is bent"), guarded("see 'F1'; -2")
    ("'=1+1'", 'pin 3 is bent', "'see 'F1'; '-2'")
    """
    return f"'{_CUT.sub(_with_apostrophe, text)}'" if is_live(text) else text


def unguarded(text: str) -> str:
    """Return what a text in a sheet was before it was `guarded`: any other stands as it is.

    >>> unguarded("'=1+1'"), unguarded("'tis bent'")
    ('=1+1', "'tis bent'")
    """
    if len(text) < 2 or text[0] != "'" or text[-1] != "'":
        return text
    inner = _MENDED.sub(r"\1\2", text[1:-1])
    return inner if guarded(inner) == text else text


def _with_apostrophe(found: re.Match[str]) -> str:
    return f"{found[1]}'{found[2]}"
