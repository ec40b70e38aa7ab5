"""Instants against RFC 3339."""

import pytest

from cfgtrack.model.time import BadTime, format_instant, parse_instant


# RFC 3339 section 5.8, its examples and what the text says of each; from memory.
@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520000Z"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
        ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z"),
        ("1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00Z"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870000Z"),
    ],
)
def test_section_5_8(text, utc):
    """Each example of section 5.8 is the instant that the section says it is."""
    assert format_instant(parse_instant(text)) == utc


def test_section_4_3():
    """An unknown local offset, -00:00, still tells the time in UTC (section 4.3, from memory)."""
    assert parse_instant("2030-05-01T08:00:00-00:00") == parse_instant("2030-05-01T08:00:00Z")


@pytest.mark.parametrize("text", ["2030-05-01t08:00:00z", "2030-05-01T08:00:00z", "2030-05-01t08:00:00Z"])
def test_section_5_6_case(text):
    """T and Z may be in lower case (the note in section 5.6, from memory)."""
    assert parse_instant(text) == parse_instant("2030-05-01T08:00:00Z")


@pytest.mark.parametrize(
    "text",
    ["1990-12-30T23:59:60Z", "1990-12-31T22:59:60Z", "1990-12-31T23:58:60Z", "1990-12-31T23:59:60-08:00"],
)
def test_section_5_7(text):
    """A leap second is at 23:59:60 UTC at the end of a month, at no other time (section 5.7, from memory)."""
    with pytest.raises(BadTime, match="second 60"):
        parse_instant(text)


def test_a_leap_second_reverses_no_order():
    """The second before, the leap second and the second after are read in an order that never goes back."""
    texts = [f"2016-12-31T23:59:{second}Z" for second in ("59", "59.999999", "60", "60.5", "60.999999")]
    instants = [parse_instant(text) for text in [*texts, "2017-01-01T00:00:00Z", "2017-01-01T00:00:00.5Z"]]
    assert instants == sorted(instants)


def test_the_epoch():
    """1970-01-01T00:00:00Z is 0 (common practice: POSIX time)."""
    assert parse_instant("1970-01-01T00:00:00Z") == 0
    assert parse_instant("1970-01-01T00:00:00.000001Z") == 1
    assert parse_instant("2001-09-09T01:46:40Z") == 10**15
