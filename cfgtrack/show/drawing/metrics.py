"""How wide a text is in the font that pictures are set in, and that font with only the characters that one needs.

The font comes as a package, so a text measures the same on every machine, whatever fonts are installed there.
"""

from __future__ import annotations

import io
import logging
import unicodedata
from collections.abc import Iterable
from functools import cache, lru_cache
from importlib.util import find_spec
from pathlib import Path

FAMILY = "Source Sans Pro"
"""The font's own name, as whoever has it installed calls it."""

_PACKAGE = "font_source_sans_pro"
_WIDE, _OTHER = 1.25, 1.0
"""Ems kept free for a character that the font lacks: one as wide as it is high (or a picture), and any other."""

_UNUSED = {"GPOS", "GSUB", "GDEF", "DSIG", "BASE"}
"""The font's tables that a picture has no use for: kerning, ligatures and the like, and its maker's signature."""


def font_folder() -> Path:
    """Return the folder that has the font's files."""
    package = find_spec(_PACKAGE)
    if package is None or package.origin is None:
        raise ModuleNotFoundError(f"the font package {_PACKAGE} isn't installed")
    return Path(package.origin).parent / "files"


def font_file(*, bold: bool = False) -> Path:
    """Return the font's file, regular or bold."""
    return font_folder() / f"SourceSansPro-{'Bold' if bold else 'Regular'}.ttf"


@lru_cache(maxsize=50_000)
def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a line of text is at a size, both in points, without kerning."""
    known = _advances(bold)
    return round(size * sum(known.get(ord(sign)) or _unknown(sign) for sign in text), 2)


def fitted(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """Return a text as it is where it fits into some room, else its beginning and an ellipsis."""
    if width_of(text, size, bold=bold) <= room:
        return text
    for end in range(len(text) - 1, 0, -1):
        if width_of(shorter := f"{text[:end].rstrip()}…", size, bold=bold) <= room:
            return shorter
    return ""


def wrapped(text: str, size: float, room: float, *, bold: bool = False) -> list[str]:
    """Return a text in lines that fit into some room, broken at blanks, and inside a word only where it must be."""
    lines: list[str] = []
    for piece in text.split("\n"):
        line = ""
        for word in piece.split():
            longer = f"{line} {word}" if line else word
            if width_of(longer, size, bold=bold) <= room:
                line = longer
                continue
            if line:
                lines.append(line)
            *full, line = _cut(word, size, room, bold=bold)
            lines += full
        lines.append(line)
    return lines


def subset(signs: Iterable[str], *, bold: bool = False) -> bytes:
    """Return the font with the given characters only, as a TrueType file: the same bytes for the same characters."""
    _quiet()
    from fontTools.subset import Options, Subsetter
    from fontTools.ttLib import TTFont

    options = Options(
        layout_features=[],
        name_IDs=[],
        hinting=False,
        notdef_outline=True,
        glyph_names=False,
        legacy_kern=False,
    )
    font = TTFont(font_file(bold=bold), recalcTimestamp=False)
    for table in _UNUSED.intersection(font.keys()):  # at once: else they are read before they are left out
        del font[table]
    subsetter = Subsetter(options)
    subsetter.populate(unicodes=sorted({ord(sign) for sign in signs}))
    subsetter.subset(font)
    written = io.BytesIO()
    font.save(written)
    return written.getvalue()


def _cut(word: str, size: float, room: float, *, bold: bool) -> list[str]:
    """Return a word in pieces of which each fits."""
    pieces, piece = [], ""
    for sign in word:
        if piece and width_of(piece + sign, size, bold=bold) > room:
            pieces.append(piece)
            piece = ""
        piece += sign
    return [*pieces, piece]


def _unknown(sign: str) -> float:
    if unicodedata.category(sign) in ("Mn", "Me", "Cf"):
        return 0.0
    return _WIDE if unicodedata.east_asian_width(sign) in "WF" or ord(sign) > 0xFFFF else _OTHER


@cache
def _advances(bold: bool) -> dict[int, float]:  # noqa: FBT001 - a cache's key
    """Return each character's advance in ems: all that measuring needs of a font file."""
    _quiet()
    from fontTools.ttLib import TTFont

    with TTFont(font_file(bold=bold), lazy=True) as font:
        per_em, widths = font["head"].unitsPerEm, font["hmtx"].metrics
        return {code: widths[name][0] / per_em for code, name in font.getBestCmap().items()}


def _quiet() -> None:
    """Leave out what the font library tells its developers."""
    logging.getLogger("fontTools").setLevel(logging.ERROR)
