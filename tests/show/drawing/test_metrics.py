"""Widths of texts, and the font that a picture carries."""

import io

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.show.drawing.metrics import fitted, font_file, subset, width_of, wrapped

_TEXTS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=40)


def test_a_width_is_the_sum_of_the_fonts_own_advances():
    """A text is as wide as the advances in the font's table say, in its size."""
    with TTFont(font_file()) as font:
        names, widths, per_em = font.getBestCmap(), font["hmtx"].metrics, font["head"].unitsPerEm
        wanted = sum(widths[names[ord(sign)]][0] for sign in "Valve V1 shut") / per_em * 10
    assert width_of("Valve V1 shut", 10) == pytest.approx(wanted, abs=0.01)
    assert width_of("Valve V1 shut", 10, bold=True) > width_of("Valve V1 shut", 10)


def test_what_the_font_lacks_gets_room_enough():
    """A character that the font lacks is given at least its em, a wide one more; an accent on its own gets none."""
    assert width_of("接", 10) >= 10
    assert width_of("🔧", 10) >= 12
    assert width_of("e\u0301", 10) == width_of("e", 10)


@given(_TEXTS, st.floats(20, 200))
def test_what_is_fitted_fits(text, room):
    """A text that is fitted into some room takes no more, and is itself where it fits."""
    shown = fitted(text, 8.5, room)
    assert width_of(shown, 8.5) <= room
    if width_of(text, 8.5) <= room:
        assert shown == text


@given(st.lists(_TEXTS, max_size=6).map(" ".join), st.floats(20, 200))
def test_wrapping_loses_nothing(text, room):
    """What is wrapped has all its characters but blanks, in order, in lines that fit."""
    lines = wrapped(text, 8.5, room)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(width_of(line, 8.5) <= room for line in lines if len(line) > 1)


def test_a_subset_has_what_is_asked_and_no_more():
    """A subset draws the characters that it is made for with the font's own widths, and is small."""
    made = subset("VALVE 12")
    with TTFont(io.BytesIO(made)) as font:
        assert sorted(font.getBestCmap()) == sorted({ord(sign) for sign in "VALVE 12"})
        widths, names = font["hmtx"].metrics, font.getBestCmap()
        per_em = font["head"].unitsPerEm
        assert sum(widths[names[ord(sign)]][0] for sign in "VALVE") / per_em * 10 == pytest.approx(
            width_of("VALVE", 10), abs=0.01
        )
    assert len(made) < 10_000
    assert made == subset("21 EVALV")
