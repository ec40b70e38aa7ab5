"""A page to PDF and PNG: typst sets the SVG, with the font's own files and nothing of the machine's."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal

from cfgtrack.show.drawing.ink import Page
from cfgtrack.show.drawing.metrics import font_folder
from cfgtrack.show.drawing.svg import svg


def pdf(page: Page) -> bytes:
    """Return a page as PDF: the same bytes for the same page."""
    return _typeset(page, "pdf")


def png(page: Page, *, ppi: float = 144.0) -> bytes:
    """Return a page as PNG, so many dots to the inch."""
    return _typeset(page, "png", ppi)


def _typeset(page: Page, form: Literal["pdf", "png"], ppi: float | None = None) -> bytes:
    import typst

    with TemporaryDirectory(prefix="cfgtrack-") as folder:
        root = Path(folder)
        (root / "picture.svg").write_bytes(svg(page, with_font=False))
        (root / "page.typ").write_text(
            "#set document(date: none)\n"
            f"#set page(width: {page.width}pt, height: {page.height}pt, margin: 0pt)\n"
            '#image("picture.svg", width: 100%)\n'
        )
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
