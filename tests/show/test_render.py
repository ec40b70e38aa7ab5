"""DOT to SVG, PNG and PDF, in this process, with text."""

import importlib.resources
import os
import struct
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.model.trouble import NoAnswer
from cfgtrack.show.diagram import diagram
from cfgtrack.show.render import FORMATS, render
from tests.show.world import MOMENT, yard

_SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def dot():
    """Return a source with something of everything in it."""
    return diagram(Scene(MOMENT, *yard(), Scope.one_medium("fluid")))


def test_svg_is_xml_with_every_box_and_its_text(dot):
    """The SVG parses, has a group for every box and line, and says what stands in the boxes."""
    root = ET.fromstring(render(dot, "svg"))
    assert root.tag == f"{_SVG}svg"
    groups = [g.get("class") for g in root.iter(f"{_SVG}g")]
    assert groups.count("edge") == dot.count(" -- ")
    words = {"".join(t.itertext()) for t in root.iter(f"{_SVG}text")}
    assert {"PANEL-1", "ACC-1", "COOL-1"} <= words


def test_png_is_a_picture_of_some_size(dot):
    """The PNG has its signature (PNG specification, 5.2) and is as wide and high as its header says, not empty."""
    picture = render(dot, "png")
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    width, height = struct.unpack(">II", picture[16:24])
    assert width > 300
    assert height > 300


def test_pdf_carries_its_font(dot):
    """The PDF embeds a font: its text is text on every machine."""
    picture = render(dot, "pdf")
    assert picture.startswith(b"%PDF-")
    assert picture.rstrip().endswith(b"%%EOF")
    assert b"/FontFile" in picture


def test_dot_is_the_source(dot):
    """Asked for DOT, the source comes back as it is."""
    assert render(dot, "dot").decode() == dot


def test_another_format_is_refused(dot):
    """A format that is not offered is an error that names those that are."""
    with pytest.raises(ValueError, match="svg, png, pdf, dot"):
        render(dot, "gif")
    assert FORMATS == ("svg", "png", "pdf", "dot")


def test_nothing_is_left_in_the_environment(dot):
    """Drawing sets no variable for good."""
    before = dict(os.environ)
    render(dot, "svg")
    assert dict(os.environ) == before


def test_drawing_says_nothing_of_fonts_and_passes_on_what_is_wrong():
    """The font library's remarks on the system's settings are dropped; the layout engine's warnings are not."""
    code = (
        "from cfgtrack.show.render import render\n"
        "render('graph { a -- b }', 'png')\n"
        "render('graph { a [label=<<TABLE><TR><TD>x</TD></TR></TABLE>>] a:nowhere -- b }', 'svg')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "Fontconfig" not in done.stderr
    assert "nowhere" in done.stderr


def test_without_any_font_of_the_system_the_text_is_there(dot, tmp_path):
    """With the fonts of the system out of reach a PDF still carries a font: that of the package comes along."""
    folder = Path(str(importlib.resources.files("font_source_sans_pro"))) / "files"
    conf = tmp_path / "fonts.conf"
    conf.write_text(f'<?xml version="1.0"?><fontconfig><dir>{folder}</dir></fontconfig>')
    code = (
        "import sys; from cfgtrack.show.render import render\n"
        "sys.stdout.buffer.write(render(sys.stdin.read(), 'pdf'))"
    )
    environment = {**os.environ, "FONTCONFIG_FILE": str(conf), "XDG_CACHE_HOME": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", code], input=dot.encode(), capture_output=True, check=True, env=environment
    )
    assert b"/FontFile" in done.stdout
    assert b"SourceSansPro" in done.stdout


def test_a_bare_system_is_told(monkeypatch):
    """Where the layout engine finds not what it needs from the system, that is told, and DOT is there all the same."""
    monkeypatch.setitem(sys.modules, "pygraphviz", None)
    with pytest.raises(NoAnswer, match="no-layout: the layout engine needs"):
        render("digraph {}", "svg")
    assert render("digraph {}", "dot") == b"digraph {}"
