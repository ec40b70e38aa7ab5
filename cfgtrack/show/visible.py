"""The one filter for all that goes to a terminal, a picture or a paper: what can't be seen is written so that it can.

Control characters move the cursor and rewrite what stands above; marks of direction and of width make a text look like
another; half a surrogate pair stops whoever prints it. Each is shown as its escape.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import TextIO

_MAY_ACT = re.compile(
    "[\x00-\x1f\x7f-\x9f\xad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180e\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\u3164"
    "\ud800-\udfff\ufdd0-\ufdef\ufeff\uffa0\ufff0-\uffff\U00013430-\U0001343f\U0001bca0-\U0001bca3"
    "\U0001d173-\U0001d17a\U000e0000-\U000e0fff]"
)
"""What is not shown as itself. Joiners (U+200C, U+200D) stay: Persian and some pictures are written with them."""

_STYLES = re.compile(r"(\x1b\[(?:0|1|3[0-7])m)")
"""What `tables.styled` writes: nothing else that begins with an escape goes to a terminal."""


def visible(text: str, *, lines: bool = True) -> str:
    r"""Return a text in which nothing acts and nothing is hidden. With `lines` it may go over several, and have tabs.

    >>> print(visible("was \x1b[1A\x1b[2Kso\u202e"), visible("a\nb", lines=False))
    was \x1b[1A\x1b[2Kso\u202e a\nb
    """
    if text.isprintable() and text.isascii():
        return text
    if lines:
        text = text.replace("\r\n", "\n")
    return _MAY_ACT.sub(_kept_lines if lines else _escaped, text)


def on_terminal(text: str) -> str:
    """Return a whole answer for a terminal: `visible`, but for the few styles that are our own."""
    return "".join(part if i % 2 else visible(part) for i, part in enumerate(_STYLES.split(text)))


def in_json(text: str) -> str:
    r"""Return JSON in which what can't be seen is escaped: the same JSON, to the character, for whoever reads it.

    >>> in_json('{"remark": "\x9b2J\u202e"}')
    '{"remark": "\\u009b2J\\u202e"}'
    """
    return text if text.isascii() and "\x7f" not in text else _MAY_ACT.sub(_json_escaped, text)


def _kept_lines(found: re.Match[str]) -> str:
    return found[0] if found[0] in "\n\t" else _escaped(found)


def _escaped(found: re.Match[str]) -> str:
    sign = found[0]
    return {"\n": r"\n", "\r": r"\r", "\t": r"\t"}.get(sign) or sign.encode("unicode_escape").decode()


def _json_escaped(found: re.Match[str]) -> str:
    code = ord(found[0])
    if found[0] in "\n\r\t" or code < 0x20:
        return found[0]  # between the members: in a text JSON escapes it anyway
    if code < 0x10000:
        return f"\\u{code:04x}"
    code -= 0x10000
    return f"\\u{0xD800 + (code >> 10):04x}\\u{0xDC00 + (code & 0x3FF):04x}"


class Seen:
    """A stream to which texts go as `shown` makes them."""

    def __init__(self, stream: TextIO, shown: Callable[[str], str]) -> None:
        self._stream = stream
        self._shown = shown

    def write(self, text: str) -> int:
        """Write a text."""
        return self._stream.write(self._shown(text))

    def writelines(self, texts: Iterable[str]) -> None:
        """Write texts."""
        for text in texts:
            self.write(text)
