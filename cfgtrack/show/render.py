"""DOT source to a picture, in this process.

The layout engine comes with the pygraphviz wheel; it needs GLib and X11 from the system. Text needs a font: the one of
the font package is offered to it, so that a picture is laid out alike on every machine, and comes out with its text
where no font is installed at all.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile
from xml.sax.saxutils import escape

from cfgtrack.model.trouble import NoAnswer, Problem

FORMATS = ("svg", "png", "pdf", "dot")
FONT = "Source Sans Pro"
"""The font that the sources name first."""

_FONT_PACKAGE = "font_source_sans_pro"
_SYSTEM_FONTS = (
    "/usr/share/fonts",
    "/usr/local/share/fonts",
    "/System/Library/Fonts",
    "/Library/Fonts",
)


def render(dot: str, format: str) -> bytes:  # noqa: A002 - the word that the command line uses too
    """Return the picture that a DOT source describes; for ``dot`` the source itself.

    ValueError for other formats; NoAnswer where the system lacks what the layout engine needs.
    """
    if format not in FORMATS:
        raise ValueError(f"a picture can be {', '.join(FORMATS)}; not {format}")
    if format == "dot":
        return dot.encode()
    try:
        from pygraphviz import AGraph
    except ImportError as err:
        missing = str(err).partition(":")[0]
        sentence = f"the layout engine needs {missing}: install it (GLib, X11), or draw as dot"
        raise NoAnswer(Problem("draw", "no-layout", sentence)) from err

    with _fonts_offered(), _quiet_fonts(), AGraph(string=dot) as graph:
        picture: bytes = graph.draw(format=format, prog="dot")
    return picture


@contextmanager
def _quiet_fonts() -> Iterator[None]:
    """Leave out what the font library says on standard error about the system's settings; pass on all else.

    It writes past Python, straight to the file descriptor.
    """
    with TemporaryFile() as said:
        sys.stderr.flush()
        stderr = os.dup(2)
        os.dup2(said.fileno(), 2)
        try:
            yield
        finally:
            os.dup2(stderr, 2)
            os.close(stderr)
            said.seek(0)
            for line in said.read().decode(errors="replace").splitlines():
                if not line.startswith("Fontconfig "):
                    sys.stderr.write(f"{line}\n")


@contextmanager
def _fonts_offered() -> Iterator[None]:
    """Let the font library read our list of fonts, unless somebody has set another; it reads it once a process."""
    listed = _font_list()
    if listed is None or "FONTCONFIG_FILE" in os.environ:
        yield
        return
    os.environ["FONTCONFIG_FILE"] = listed
    try:
        yield
    finally:
        del os.environ["FONTCONFIG_FILE"]


_KEPT: list[TemporaryDirectory[str]] = []
"""Folders that live as long as the process."""


@cache
def _font_list() -> str | None:
    package = find_spec(_FONT_PACKAGE)
    if package is None or package.origin is None:
        return None
    folders = [str(Path(package.origin).parent / "files"), *_SYSTEM_FONTS]
    listed = "".join(f"<dir>{escape(folder)}</dir>" for folder in folders)
    home = '<dir prefix="xdg">fonts</dir><cachedir prefix="xdg">fontconfig</cachedir>'
    folder = TemporaryDirectory(prefix="cfgtrack-fonts-")
    _KEPT.append(folder)
    path = Path(folder.name) / "fonts.conf"
    path.write_text(f'<?xml version="1.0"?><fontconfig>{listed}{home}</fontconfig>\n')
    return str(path)
