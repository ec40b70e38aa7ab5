"""Texts that are fitted into a width: wrapped at their blanks, or cut with an ellipsis."""

from __future__ import annotations

from cfgtrack.show.drawing.ink import Anchor, Text

INK = "#222222"
PALE = "#6b6b6b"


def measure(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a text is, in points."""
    return (
        sum(
            0.3 if c in "iljtf|.,:;'! " else 0.85 if c in "mwMW" else 0.68 if c.isupper() else 0.58
            for c in text
        )
        * size
        * (1.06 if bold else 1.0)
    )


def line(
    x: float,
    y: float,
    text: str,
    *,
    size: float = 8.0,
    bold: bool = False,
    colour: str = INK,
    anchor: Anchor = Anchor.START,
    role: str = "",
) -> Text:
    """Return a text with what it measures."""
    return Text(
        round(x, 2),
        round(y, 2),
        text,
        size,
        bold,
        colour=colour,
        anchor=anchor,
        width=round(measure(text, size, bold=bold), 2),
        role=role,
    )


def fits(text: str, width: float, size: float, *, bold: bool = False) -> bool:
    """Return whether a text is no wider than a width."""
    return measure(text, size, bold=bold) <= width


def cut_to(text: str, width: float, size: float, *, bold: bool = False) -> str:
    """Return a text, with its end left out and an ellipsis for it where it is too wide."""
    if fits(text, width, size, bold=bold):
        return text
    kept = text
    while kept and not fits(kept.rstrip() + "…", width, size, bold=bold):
        kept = kept[:-1]
    return kept.rstrip() + "…"


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Return a text as lines that are no wider than a width, broken at blanks, and within a word where it must be."""
    lines: list[str] = []
    now = ""
    for word in text.split():
        longer = f"{now} {word}" if now else word
        if fits(longer, width, size, bold=bold):
            now = longer
            continue
        if now:
            lines.append(now)
        now = word
        while len(now) > 1 and not fits(now, width, size, bold=bold):
            n = len(now) - 1
            while n > 1 and not fits(now[:n], width, size, bold=bold):
                n -= 1
            lines.append(now[:n])
            now = now[n:]
    return [*lines, now] if now or not lines else lines
