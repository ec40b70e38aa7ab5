"""Ink as SVG: well formed whatever it is called, with its font, and each text as wide as it was measured."""

import base64
import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.ink import Group, Page, Path, Rect, Text
from cfgtrack.show.drawing.metrics import width_of
from cfgtrack.show.drawing.svg import svg
from cfgtrack.show.visible import visible
from tests.show.drawing.test_arrange import CHAIN

_SVG = "{http://www.w3.org/2000/svg}"
_ANY = st.text(max_size=30)


@given(_ANY, _ANY, _ANY)
@settings(deadline=None, max_examples=20)
def test_no_name_breaks_the_file(name, title, value):
    """Whatever a thing is called, the file is well formed, and says what it is called with nothing hidden."""
    ink = Group(name, "box", title, (Text(1, 2, name, width=5),), (("status", value),))
    root = ET.fromstring(svg(Page(10, 10, (ink,), title)))
    (group,) = root.iter(f"{_SVG}g")
    assert (group.findtext(f"{_SVG}text") or "") == visible(name, lines=False)
    assert (group.get("data-key") or "") == visible(name, lines=False)
    assert not root.findall(".//script")
    assert {child.tag for child in group} <= {f"{_SVG}title", f"{_SVG}text"}


def test_a_texts_width_is_given():
    """Each text is drawn as wide as it measures, so that another font changes nothing in the picture."""
    root = ET.fromstring(svg(drawn(CHAIN)))
    found = [text for text in root.iter(f"{_SVG}text") if (text.text or "").strip()]
    assert len(found) > 20
    for text in found:
        bold = text.get("font-weight") == "700"
        wide = width_of(text.text or "", float(text.attrib["font-size"]), bold=bold)
        assert float(text.attrib["textLength"]) == pytest.approx(wide, abs=0.02)
        assert text.get("lengthAdjust") == "spacingAndGlyphs"


def test_the_file_carries_its_font():
    """Every character that is drawn is in the font that comes with the file, in its weight."""
    written = svg(drawn(CHAIN)).decode()
    faces = re.findall(r"font-weight:(\d+);src:url\(data:font/ttf;base64,([^)]+)\)", written)
    assert [weight for weight, _ in faces] == ["400", "700"]
    root = ET.fromstring(written)
    for weight, data in faces:
        with TTFont(io.BytesIO(base64.b64decode(data))) as font:
            known = set(font.getBestCmap())
        for text in root.iter(f"{_SVG}text"):
            if text.get("font-weight", "400") == weight:
                assert {ord(sign) for sign in text.text or ""} <= known


def test_nothing_is_fetched():
    """A file names no address but those of the SVG form itself, so opening one asks nobody for anything."""
    written = svg(drawn(CHAIN)).decode()
    assert set(re.findall(r"https?://[^\s\"']+", written)) == {"http://www.w3.org/2000/svg"}


def test_numbers_are_short():
    """A number has two decimals at most, and none is written as minus nothing."""
    ink = (Rect(1 / 3, -0.0001, 2.5, 3.0), Path(((0.1 + 0.2, 1e-9), (5, 6))))
    written = svg(Page(10, 10, ink)).decode()
    assert 'x="0.33" y="0" width="2.5" height="3"' in written
    assert "M0.3 0 L5 6" in written


def test_a_page_is_set_smaller_and_keeps_its_ink():
    """Scaled to a paper the file is smaller, and what is drawn in it is the same."""
    page = drawn(CHAIN)
    small = svg(replace(page, scale=0.5)).decode()
    assert f'viewBox="0 0 {page.width:g} {page.height:g}"' in small
    assert f'width="{page.width / 2:g}pt"' in small
    assert small.count("<text") == svg(page).decode().count("<text")
