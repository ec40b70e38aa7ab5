"""Several pages as one PDF: typst sets each page's SVG on a sheet of its own, with the font's files alone."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from cfgtrack.show.drawing.ink import Page
from cfgtrack.show.drawing.metrics import font_folder
from cfgtrack.show.drawing.svg import svg


def book(pages: Sequence[Page]) -> bytes:
    """Return pages as PDF, each of its own size: the same bytes for the same pages."""
    import typst

    with TemporaryDirectory(prefix="cfgtrack-") as folder:
        root = Path(folder)
        parts = ["#set document(date: none)"]
        for number, page in enumerate(pages):
            (root / f"{number}.svg").write_bytes(svg(page, with_font=False))
            parts.append(f"#set page(width: {page.width}pt, height: {page.height}pt, margin: 0pt)")
            parts.append(f'#image("{number}.svg", width: 100%)')
        (root / "book.typ").write_text("\n".join(parts) + "\n")
        made = typst.compile(
            root / "book.typ",
            root=root,
            font_paths=[font_folder()],
            ignore_system_fonts=True,
            format="pdf",
        )
    assert isinstance(made, bytes)
    return made
