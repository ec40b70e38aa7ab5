"""Instants and durations: what is read, what is refused, and that nothing is lost."""

import re
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.time import (
    DAY,
    HOUR,
    LATEST,
    LONGEST,
    MINUTE,
    SECOND,
    WEEK,
    BadTime,
    format_duration,
    format_instant,
    parse_duration,
    parse_instant,
)

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FIRST = (datetime.min.replace(tzinfo=UTC) - EPOCH) // timedelta(microseconds=1)
LAST = (datetime.max.replace(tzinfo=UTC) - EPOCH) // timedelta(microseconds=1)
instants = st.integers(-LATEST, LATEST)
START = parse_instant("2030-05-01T22:00:30Z")


@given(instants)
def test_instants_round_trip(instant):
    """An instant written and read is the same instant."""
    assert parse_instant(format_instant(instant)) == instant


@given(instants, st.integers(-1439, 1439))
def test_instants_are_the_standard_librarys(instant, minutes):
    """A time with an offset is the instant that the standard library makes of it."""
    moment = (EPOCH + timedelta(microseconds=instant)).astimezone(timezone(timedelta(minutes=minutes)))
    assert parse_instant(moment.isoformat()) == (moment - EPOCH) // timedelta(microseconds=1)


_WHOLE = st.integers(-LATEST // MINUTE + 1, LATEST // MINUTE - 1)


@given(_WHOLE, st.integers(-1439, 1439), st.sampled_from("Tt "), st.sampled_from(["", ":00", ":00.000"]))
def test_a_time_may_be_written_shorter(whole, minutes, between, seconds):
    """A blank for the T, and no seconds, mean what the full form means, with any offset; written it is always in full.

    RFC 3339, section 5.6, NOTE: ISO 8601 defines date and time separated by "T"; applications using this syntax may
    choose, for the sake of readability, to specify a full-date and full-time separated by (say) a space character.
    """
    moment = (EPOCH + timedelta(minutes=whole)).astimezone(timezone(timedelta(minutes=minutes)))
    full = moment.isoformat()
    day, clock, zone = full[:10], full[11:16], full[19:]
    read = parse_instant(f"{day}{between}{clock}{seconds}{zone}")
    assert read == parse_instant(full) == whole * MINUTE
    assert datetime.fromisoformat(format_instant(read)) == moment
    assert format_instant(read) == moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


@given(st.text(alphabet="0123456789-:TtZz+ .,/_ENW", min_size=1, max_size=28))
def test_any_text_is_a_time_or_is_told_what_is_expected(text):
    """What is read is an instant; what isn't is told with a time to go by, or what is wrong with it."""
    try:
        found = parse_instant(text, outing_start=START)
    except BadTime:
        with pytest.raises(BadTime, match=re.escape(text)):
            parse_instant(text, outing_start=START)
    else:
        assert -LATEST <= found <= LATEST


@given(instants, instants)
def test_text_sorts_as_time_does(one, other):
    """Two whole seconds are in the same order as their texts."""
    one, other = one // SECOND * SECOND, other // SECOND * SECOND
    assert (format_instant(one) < format_instant(other)) == (one < other)


@pytest.mark.parametrize("instant", [FIRST - 1, LAST + 1])
def test_no_text_beyond_four_digits_of_year(instant):
    """An instant outside the years 1 to 9999 has no text."""
    with pytest.raises(BadTime, match="years 0001 to 9999"):
        format_instant(instant)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("2030-05-01T08:00:00", "a time without a zone"),
        ("2030-05-01T08:00", "a time without a zone"),
        ("20300501T080000", "a time without a zone"),
        ("2030-05-01 08:00", "a time without a zone"),
        ("2030-05-01 08:00:00", "a time without a zone"),
        ("2030-05-01", "a date without a time"),
        ("2030-W18-3T08:00:00Z", "a week date"),
        ("2030-121T08:00:00Z", "a day-of-year date"),
        ("2030-05-01  08:00:00Z", "no T or one blank"),
        ("2030-05-01_08:00Z", "no T or one blank"),
        ("2030-05-01 T 08:00Z", "no T or one blank"),
        ("2030-05-01 08Z", "not a time"),
        ("2030-05-01 08:00.5Z", "not a time"),
        ("2030-05-01 08:00+2", r"not written \+HH:MM"),
        ("2030-05-01 08:00 +0200", r"not written \+HH:MM"),
        ("2030-05-01 08:00 CET", r"not written Z or \+HH:MM"),
        ("2030-05-01T08:00 Europe/Paris", r"not written Z or \+HH:MM"),
        ("01.05.2030 08:00", "not written YYYY-MM-DD"),
        ("5/1/2030 08:00", "not written YYYY-MM-DD"),
        ("01-05-2030", "not written YYYY-MM-DD"),
        ("8:00", "not written HH:MM"),
        ("now", "a word"),
        (" 2030-05-01T08:00:00Z", "blanks before or after"),
        ("2030-05-01T08:00:00Z\n", "blanks before or after"),
        ("2030-05-01T08:00:00+02", r"not written \+HH:MM"),
        ("2030-05-01T08:00:00+0200", r"not written \+HH:MM"),
        ("2030-05-01T08:00:00.1234567Z", "digits past the microsecond"),
        ("2030-05-01T08:00:00.Z", "not a time"),
        ("2030-05-01T08:00:00,5Z", "not a time"),
        ("2030-02-29T08:00:00Z", "no such date"),
        ("0000-01-01T00:00:00Z", "no such date"),
        ("2030-05-01T24:00:00Z", "no such time of day"),
        ("2030-05-01T08:60:00Z", "no such time of day"),
        ("2030-05-01T08:00:61Z", "no such time of day"),
        ("2030-05-01T08:00:00+24:00", "no such zone"),
        ("2030-05-01T08:00:00+02:60", "no such zone"),
        ("0001-01-01T00:00:00+00:01", "outside the years"),
        ("9999-12-31T23:59:59-00:01", "outside the years"),
        ("9999-12-31T23:59:59Z", "too far from 1970"),
        ("2255-06-05T23:47:34.740992Z", "too far from 1970"),
        ("1684-07-28T00:12:25.259008Z", "too far from 1970"),
        ("٢٠٣٠-05-01T08:00:00Z", "not a time"),
        ("tomorrow", "not a time"),
        ("", "not a time"),
        ("08:00", "only inside an outing"),
        ("+01:23", "only inside an outing"),
    ],
)
def test_no_instant(text, says):
    """What is not an RFC 3339 time is refused with what is wrong about it, and is repeated."""
    with pytest.raises(BadTime, match=says) as raised:
        parse_instant(text)
    assert repr(text)[1:-1] in str(raised.value).encode("unicode_escape").decode() or text in str(
        raised.value
    )


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("22:00:30", "2030-05-01T22:00:30Z"),
        ("22:00", "2030-05-02T22:00:00Z"),
        ("23:15", "2030-05-01T23:15:00Z"),
        ("01:15:05", "2030-05-02T01:15:05Z"),
        ("+00:00", "2030-05-01T22:00:30Z"),
        ("+01:23", "2030-05-01T23:23:30Z"),
        ("+26:00:01", "2030-05-03T00:00:31Z"),
        ("2031-01-01T00:00:00Z", "2031-01-01T00:00:00Z"),
    ],
)
def test_times_inside_an_outing(text, instant):
    """Inside an outing a time of day is the first one from its start on; an elapsed time counts from it."""
    assert format_instant(parse_instant(text, outing_start=START)) == instant


@given(st.integers(0, LAST - DAY), st.integers(0, DAY // SECOND - 1))
def test_first_such_time(start, second):
    """A time of day inside an outing lies less than a day after the start, and reads that time in UTC."""
    text = f"{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}"
    instant = parse_instant(text, outing_start=start)
    assert 0 <= instant - start < DAY
    assert instant % DAY == second * SECOND


@pytest.mark.parametrize(
    "text", ["24:00", "12:60", "12:00:60", "+01:60", "+1:00", "-01:00", "12:00:00.5", "12"]
)
def test_no_time_inside_an_outing(text):
    """A time of day or an elapsed time that no clock shows is refused."""
    with pytest.raises(BadTime):
        parse_instant(text, outing_start=START)


@given(st.integers(0, LONGEST))
def test_durations_round_trip(duration):
    """A duration written and read is the same duration."""
    assert parse_duration(format_duration(duration)) == duration


@pytest.mark.parametrize(
    ("text", "duration"),
    [
        ("0", 0),
        ("6 h 30 min", 6 * HOUR + 30 * MINUTE),
        ("6h30min", 6 * HOUR + 30 * MINUTE),
        ("45 min", 45 * MINUTE),
        ("90 s", 90 * SECOND),
        ("1.5 h", 90 * MINUTE),
        ("2 weeks 1 day", 2 * WEEK + DAY),
        ("250 ms", SECOND // 4),
        ("PT2H", 2 * HOUR),
        ("P1DT12H", 36 * HOUR),
        ("P2W", 2 * WEEK),
        ("PT0.5S", SECOND // 2),
        ("+01:23", HOUR + 23 * MINUTE),
        ("+01:23:45", HOUR + 23 * MINUTE + 45 * SECOND),
        ("36525 d", LONGEST),
    ],
)
def test_durations(text, duration):
    """Each form of a duration is read as what it says."""
    assert parse_duration(text) == duration


@pytest.mark.parametrize(
    ("duration", "text"),
    [
        (0, "0 s"),
        (6 * HOUR + 30 * MINUTE, "6 h 30 min"),
        (26 * HOUR, "1 d 2 h"),
        (90 * SECOND, "1 min 30 s"),
        (1_500_000, "1.5 s"),
        (1, "0.000001 s"),
        (-5 * MINUTE, "-5 min"),
    ],
)
def test_durations_written(duration, text):
    """A duration is written with the longest units that fit, and no empty ones."""
    assert format_duration(duration) == text


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1 month", "no fixed length"),
        ("2 years", "no fixed length"),
        ("P1M", "no fixed length"),
        ("P1Y2M", "no fixed length"),
        ("5 m", "minutes or months"),
        ("5 furlong", "no such unit of time 'furlong'"),
        ("30 min 6 h", "out of order"),
        ("1 h 1 h", "out of order"),
        ("-5 min", "a negative duration"),
        ("5", "not a duration"),
        ("", "not a duration"),
        (" ", "not a duration"),
        ("h", "not a duration"),
        ("5 h 30", "not a duration"),
        ("P", "not a duration"),
        ("PT", "not a duration"),
        ("PT5X", "not a duration"),
        ("Plenty", "not a duration"),
        ("P1DT", "not a duration"),
        ("PT1.5H30M", "not a duration"),
        ("0.5 us", "digits past the microsecond"),
        ("+01:75", "no such time"),
        ("9" * 5000 + " s", "not a duration"),
        ("36525 d 0.000001 s", "more than a hundred years"),
        ("600000 week", "more than a hundred years"),
        ("PT999999999999999999S", "more than a hundred years"),
    ],
)
def test_no_duration(text, says):
    """What is not a duration of fixed length in whole microseconds is refused, and what is wrong is said."""
    with pytest.raises(BadTime, match=says):
        parse_duration(text)


@given(st.integers(LATEST + 1, LAST), st.sampled_from([1, -1]))
def test_no_instant_beyond_what_json_keeps(beyond, sign):
    """A time whose microsecond a double can't tell from the next one is refused, though it could be written."""
    with pytest.raises(BadTime, match=r"too far from 1970|outside the years"):
        parse_instant(format_instant(max(FIRST, sign * beyond)))


def test_the_longest_duration_after_the_latest_instant_can_be_written():
    """Whatever time is read, plus whatever duration is read twice over, is a time with a text."""
    assert parse_instant(format_instant(LATEST)) == LATEST
    assert format_instant(LATEST + 2 * LONGEST) < "2500"
