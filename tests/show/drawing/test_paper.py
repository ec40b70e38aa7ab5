"""Pages as PDF and PNG: the same bytes each time, of the right size, without the machine's fonts."""

import io
import re
import struct

from PIL import Image

from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.ink import Page, Text
from cfgtrack.show.drawing.paper import pdf, png
from tests.show.drawing.test_arrange import CHAIN


def test_a_pdf_is_the_same_each_time():
    """The same page gives the same bytes, with no time in them."""
    made = pdf(drawn(CHAIN))
    assert made.startswith(b"%PDF-")
    assert made == pdf(drawn(CHAIN))
    assert b"CreationDate" not in made
    assert b"ModDate" not in made


def test_a_pdf_has_the_pages_size_and_font():
    """A PDF on A4 is of the size of A4 (ISO 216: 210 x 297 mm), and carries the project's font."""
    made = pdf(drawn(CHAIN, page="A4"))
    box = re.search(rb"/MediaBox\s*\[([^\]]+)\]", made)
    assert box is not None
    sides = sorted(float(number) for number in box[1].split()[2:])
    assert [round(side * 25.4 / 72) for side in sides] == [210, 297]
    assert b"SourceSansPro" in made


def test_a_png_is_as_large_as_asked():
    """A PNG has the page's size in dots, so many to the inch, and is the same each time."""
    page = drawn(CHAIN)
    made = png(page, ppi=72)
    assert made[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", made[16:24])  # the header chunk, after ISO 15948
    assert abs(width - page.width) <= 1
    assert abs(height - page.height) <= 1
    assert made == png(page, ppi=72)


def test_a_png_loses_no_row_of_dots():
    """The same text, set again and again at whole dots down and along a page of odd size, looks the same each time."""
    places = [(x, y) for x in range(0, 900, 60) for y in range(0, 900, 20)]
    texts = tuple(Text(x + 4.0, y + 14.0, "to W5:A", size=8.0) for x, y in places)
    with Image.open(io.BytesIO(png(Page(900.4, 900.6, texts), ppi=72))) as image:
        cells = {image.crop((x, y, x + 60, y + 20)).tobytes() for x, y in places}
    assert len(cells) == 1
