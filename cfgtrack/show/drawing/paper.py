"""A page on paper: PDF and PNG. Typst sets the SVG, with the font's own files and nothing of the machine's."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal

from cfgtrack.show.drawing.ink import Page
from cfgtrack.show.drawing.metrics import font_folder
from cfgtrack.show.drawing.svg import svg

PAPERS = {"A4": (595.28, 841.89), "A3": (841.89, 1190.55)}
"""Sizes after ISO 216, in points, upright."""

LEAST = 0.7
"""What a picture may be scaled to: its names, set in 8.5 pt, are then 6 pt."""


def pdf(*pages: Page) -> bytes:
    """Return pages as one PDF, each on a sheet of its own size: the same bytes for the same pages."""
    return _typeset(pages, "pdf")


def png(page: Page, *, ppi: float = 144.0) -> bytes:
    """Return a page as PNG, so many dots to the inch.

    Its size is made up to whole dots: else the picture is drawn on dots that don't match, and rows of them are lost.
    """
    dot = 72 / ppi / page.scale
    width, height = (math.ceil(side / dot - 0.001) * dot for side in (page.width, page.height))
    return _typeset([replace(page, width=width, height=height)], "png", ppi)


def scale_on(page: Page, paper: str) -> float:
    """Return what a picture must be scaled to, to fit on a paper, upright or lying; at most 1."""
    return max(_scale(page, size) for size in _ways(paper))


def fitted_to(page: Page, paper: str) -> Page:
    """Return a page that is as large as a paper, upright or lying as suits it better, its ink scaled to fit."""
    size = max(_ways(paper), key=lambda way: (_scale(page, way), way[0] <= way[1]))
    scale = _scale(page, size)
    return replace(page, width=round(size[0] / scale, 2), height=round(size[1] / scale, 2), scale=scale)


def _ways(paper: str) -> tuple[tuple[float, float], tuple[float, float]]:
    short, long = PAPERS[paper]
    return (short, long), (long, short)


def _scale(page: Page, size: tuple[float, float]) -> float:
    return min(size[0] / page.width, size[1] / page.height, 1.0)


def _typeset(pages: Sequence[Page], form: Literal["pdf", "png"], ppi: float | None = None) -> bytes:
    import typst

    with TemporaryDirectory(prefix="cfgtrack-") as folder:
        root = Path(folder)
        parts = ["#set document(date: none)"]
        for number, page in enumerate(pages):
            (root / f"{number}.svg").write_bytes(svg(page, with_font=False))
            width, height = round(page.width * page.scale, 5), round(page.height * page.scale, 5)
            parts.append(f"#set page(width: {width}pt, height: {height}pt, margin: 0pt)")
            parts.append(f'#image("{number}.svg", width: 100%, height: 100%, fit: "stretch")')
        (root / "page.typ").write_text("\n".join(parts) + "\n")
        made = typst.compile(
            root / "page.typ",
            root=root,
            font_paths=[font_folder()],
            ignore_system_fonts=True,
            format=form,
            ppi=ppi,
        )
    assert isinstance(made, bytes)
    return made
