"""Instants and durations.

An instant is an `int`: microseconds since 1970-01-01T00:00:00Z, leap seconds not counted. A duration is an
`int` too: microseconds. Text comes in and goes out through the functions here and nowhere else.

Source of the text form of an instant: RFC 3339, section 5.6; with its note there, a blank may stand for the T, and
beyond it the seconds may be left out. It is always written with both.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

Instant = int
"""What a field that holds an instant is declared as, so that answers tell it as text."""

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR
WEEK = 7 * DAY

LATEST = 2**53 - 1
"""The last microsecond that every JSON reader keeps exactly (RFC 8785, section 3.2.2.3): in the year 2255."""

LONGEST = 36_525 * DAY
"""The longest duration, a hundred years: what is longer is a slip, and no sum of a time and it is beyond writing."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_EPOCH_ORDINAL = _EPOCH.toordinal()
_FIRST = (date.min.toordinal() - _EPOCH_ORDINAL) * DAY
_LAST = (date.max.toordinal() - _EPOCH_ORDINAL + 1) * DAY - 1

_CLOCK = r"(\d{2}):(\d{2})(?::(\d{2}))?"
_RFC_3339 = re.compile(
    r"(\d{4})-(\d{2})-(\d{2})[Tt ](\d{2}):(\d{2})(?::(\d{2})(?:\.(\d+))?)?(?:[Zz]|([+-])(\d{2}):(\d{2}))",
    re.ASCII,
)
_TIME_OF_DAY = re.compile(_CLOCK, re.ASCII)
_ELAPSED = re.compile(r"\+(\d{2,4}):(\d{2})(?::(\d{2}))?", re.ASCII)

# Forms people do write, each with what to say about it; tried in this order on a text that is no RFC 3339.
_DATE = r"\d{4}-?\d{2}-?\d{2}"
_DATE_FIRST = re.compile(r"(\d{4})-(\d{2})-(\d{2})(?!\d)", re.ASCII)
_WRONG_FORMS = (
    (re.compile(r"\s.*|.*\s", re.DOTALL), "blanks before or after the time"),
    (re.compile(_DATE, re.ASCII), "a date without a time"),
    (re.compile(r"\d{4}-?W\d{2}.*", re.ASCII), "a week date"),
    (re.compile(r"\d{4}-?\d{3}([Tt ].*)?", re.ASCII), "a day-of-year date"),
    (re.compile(rf"{_DATE}[Tt ]\d{{2}}:?\d{{2}}(:?\d{{2}}([.,]\d+)?)?", re.ASCII), "a time without a zone"),
    (
        re.compile(rf"{_DATE}[Tt ][\d:.]+ ?[+-]\d{{1,2}}(:?\d{{1,2}})?", re.ASCII),
        "a zone that is not written +HH:MM",
    ),
    (
        re.compile(rf"{_DATE}[Tt ][\d:.]+ ?[A-Za-z/_]{{2,}}", re.ASCII),
        "a zone that is not written Z or +HH:MM",
    ),
    (
        re.compile(rf"{_DATE}(\s{{2,}}|[_,;]\s*|\s?[Tt]\s)\d.*", re.ASCII),
        "no T or one blank between date and time",
    ),
    (re.compile(r"\d{1,4}[/.]\d{1,2}[/.]\d{1,4}.*", re.ASCII), "a date that is not written YYYY-MM-DD"),
    (re.compile(r"\d{1,2}-\d{1,2}-\d{4}.*", re.ASCII), "a date that is not written YYYY-MM-DD"),
    (re.compile(r"\d{1,2}:\d{2}.*", re.ASCII), "a time of day that is not written HH:MM"),
    (re.compile(r"now|today|yesterday|tomorrow|tonight", re.ASCII | re.IGNORECASE), "a word, not a time"),
)


class BadTime(ValueError):
    """The text is no instant, or no duration. The message says what was expected and what was found."""


def parse_instant(text: str, *, outing_start: int | None = None) -> int:
    """Read an instant, in microseconds since 1970 UTC.

    Three forms are read: an RFC 3339 date and time with its zone (`2030-05-01T08:00:00Z`, `...+02:00`), also without
    seconds and with a blank for the T (`2030-05-01 08:00Z`); and, when `outing_start` (microseconds) is given, a time
    of day in UTC, `HH:MM[:SS]`, meaning the first such time at or after the start of the outing, or the time elapsed
    since that start, `+HH:MM[:SS]`.

    Digits past the microsecond are refused, never dropped, and so is a time too far from 1970 for its microsecond to
    be kept exactly (see `LATEST`). A leap second (`23:59:60` UTC on the last day of
    a month, RFC 3339 section 5.7) has no instant of its own in a count that leaves leap seconds out: all of
    it is taken as the instant that follows, 00:00:00 of the next day, so that the order of times is never
    reversed. Whether that month really had one is not looked up.

    Raises `BadTime`.
    """
    found = _RFC_3339.fullmatch(text)
    if found is not None:
        return _from_rfc_3339(text, found)
    if (found := _TIME_OF_DAY.fullmatch(text)) is not None:
        return _from_time_of_day(text, found, outing_start)
    if (found := _ELAPSED.fullmatch(text)) is not None:
        return _outing(text, outing_start) + _clock(text, found, hours_below=10_000)
    raise BadTime(_wrong_form(text))


def format_instant(instant: int) -> str:
    """Write an instant as RFC 3339 in UTC, with six digits of fraction only when it has one.

    Raises `BadTime` outside the years 1 to 9999, which RFC 3339 can't write.
    """
    if not _FIRST <= instant <= _LAST:
        raise BadTime(f"an instant outside the years 0001 to 9999: {instant} microseconds from 1970")
    return (_EPOCH + timedelta(microseconds=instant)).isoformat().replace("+00:00", "Z")


def is_instant(value: object) -> bool:
    """Return whether a value is an instant that can be kept: a whole number, not too far from 1970."""
    return isinstance(value, int) and not isinstance(value, bool) and -LATEST <= value <= LATEST


def _from_rfc_3339(text: str, found: re.Match[str]) -> int:
    year, month, day, hour, minute, second, digits, sign, zone_hours, zone_minutes = found.groups()
    if digits is not None and len(digits) > 6:
        raise BadTime(f"digits past the microsecond: at most 6 digits of a second are kept, found '{text}'")
    try:
        days = date(int(year), int(month), int(day)).toordinal() - _EPOCH_ORDINAL
    except ValueError:
        raise BadTime(f"no such date: {_no_date(int(year), int(month), int(day))}'{text}'") from None
    offset = 0 if sign is None else _offset(text, sign, int(zone_hours), int(zone_minutes))
    if int(hour) > 23 or int(minute) > 59 or int(second or 0) > 60:
        raise BadTime(f"no such time of day: hours run to 23, minutes and seconds to 59, found '{text}'")
    second = second or "00"
    instant = days * DAY + int(hour) * HOUR + int(minute) * MINUTE - offset
    if second == "60":
        instant = _after_leap_second(text, instant)
    else:
        instant += int(second) * SECOND + int((digits or "").ljust(6, "0"))
    if not _FIRST <= instant <= _LAST:
        raise BadTime(f"outside the years 0001 to 9999 in UTC: '{text}'")
    if not -LATEST <= instant <= LATEST:
        raise BadTime(
            f"too far from 1970 to be kept exactly: expected a year from 1685 to 2254, found '{text}'"
        )
    return instant


def _no_date(year: int, month: int, day: int) -> str:
    """Return what of a date there isn't, as the start of a sentence; "" where there is such a date."""
    if not 1 <= month <= 12:
        return f"there is no month {month:02}, found "
    try:
        date(year, month, day)
    except ValueError:
        return f"there is no day {day:02} in month {month:02} of {year:04}, found " if year else "found "
    return ""


def _offset(text: str, sign: str, hours: int, minutes: int) -> int:
    if hours > 23 or minutes > 59:
        raise BadTime(f"no such zone: an offset runs from -23:59 to +23:59, found '{text}'")
    offset = hours * HOUR + minutes * MINUTE
    return -offset if sign == "-" else offset


def _after_leap_second(text: str, minute_start: int) -> int:
    following = minute_start + MINUTE
    days, rest = divmod(following, DAY)
    if rest != 0 or following > _LAST or date.fromordinal(days + _EPOCH_ORDINAL).day != 1:
        raise BadTime(f"second 60 exists only at 23:59:60 UTC on the last day of a month, found '{text}'")
    return following


def _from_time_of_day(text: str, found: re.Match[str], outing_start: int | None) -> int:
    start = _outing(text, outing_start)
    return start + (_clock(text, found, hours_below=24) - start) % DAY


def _outing(text: str, outing_start: int | None) -> int:
    if outing_start is None:
        raise BadTime(
            "a time without a date counts only inside an outing: "
            f"expected such as 2030-05-01T08:00:00Z, found '{text}'"
        )
    return outing_start


def _clock(text: str, found: re.Match[str], *, hours_below: int) -> int:
    hours, minutes, seconds = (int(group or 0) for group in found.groups())
    if hours >= hours_below or minutes > 59 or seconds > 59:
        raise BadTime(f"no such time: minutes and seconds run to 59, hours of a day to 23, found '{text}'")
    return hours * HOUR + minutes * MINUTE + seconds * SECOND


def _wrong_form(text: str) -> str:
    what = next((what for form, what in _WRONG_FORMS if form.fullmatch(text)), "not a time")
    if (found := _DATE_FIRST.match(text)) is not None and (why := _no_date(*map(int, found.groups()))):
        return f"no such date: {why}'{text}'"
    return f"{what}: expected such as 2030-05-01T08:00:00Z or 2030-05-01T08:00:00+02:00, found '{text}'"


# The longest unit first: a duration is written in that order, each unit at most once.
_UNITS = (
    (WEEK, ("week", "weeks", "wk", "w")),
    (DAY, ("d", "day", "days")),
    (HOUR, ("h", "hr", "hour", "hours")),
    (MINUTE, ("min", "minute", "minutes")),
    (SECOND, ("s", "sec", "second", "seconds")),
    (1_000, ("ms",)),
    (1, ("us",)),
)
_MICROSECONDS = {name: length for length, names in _UNITS for name in names}
_NO_FIXED_LENGTH = frozenset(("month", "months", "mo", "year", "years", "yr", "y", "a"))

_NUMBER = r"\d{1,18}(?:\.\d{1,18})?"
_TERM = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z]+)", re.ASCII)
_ISO_8601 = re.compile(
    rf"P(?:(?P<week>{_NUMBER})W)?(?:(?P<d>{_NUMBER})D)?"
    rf"(?P<time>T(?:(?P<h>{_NUMBER})H)?(?:(?P<min>{_NUMBER})M)?(?:(?P<s>{_NUMBER})S)?)?",
    re.ASCII,
)
_ISO_CALENDAR = re.compile(r"P[\d.]+[YM].*", re.ASCII)


def parse_duration(text: str) -> int:
    """Read a duration, in microseconds.

    Forms: numbers with units, the longest unit first (`6 h 30 min`, `45 min`, `1.5 d`, `90 s`); ISO 8601
    (`PT2H`); elapsed (`+01:23`, `+01:23:45`); a bare `0`. A day is 24 h, a week 7 d. Months and years have no
    fixed length and are refused, as are negative durations, parts of a microsecond, and more than a hundred years.

    Raises `BadTime`.
    """
    if text.strip() == "0":
        return 0
    if (elapsed := _ELAPSED.fullmatch(text)) is not None:
        return _clock(text, elapsed, hours_below=10_000)
    if text.startswith("P"):
        return _from_iso_8601(text)
    return _sum(text, _terms(text))


def format_duration(duration: int) -> str:
    """Write a duration, such as `6 h 30 min` or `1 d 2 h`; `0 s` for none, a minus before a negative one."""
    if duration < 0:
        return "-" + format_duration(-duration)
    parts = []
    rest = duration
    for length, name in ((DAY, "d"), (HOUR, "h"), (MINUTE, "min")):
        whole, rest = divmod(rest, length)
        if whole:
            parts.append(f"{whole} {name}")
    if rest or not parts:
        seconds, micros = divmod(rest, SECOND)
        fraction = f".{micros:06d}".rstrip("0") if micros else ""
        parts.append(f"{seconds}{fraction} s")
    return " ".join(parts)


def span_in_words(span: int) -> str:
    """Return a duration no finer than anybody compares by.

    >>> span_in_words(90 * 86_400_000_000), span_in_words(5_400_000_000)
    ('90 d', '1 h')
    """
    for name, unit in (("d", DAY), ("h", HOUR), ("min", MINUTE)):
        if span >= unit:
            return f"{span // unit} {name}"
    return "0 min"


def _terms(text: str) -> Iterator[tuple[str, int]]:
    at, longest = 0, WEEK + 1
    stripped = text.rstrip()
    while at < len(stripped) or at == 0:
        term = _TERM.match(stripped, at)
        if term is None:
            raise BadTime(_wrong_duration(text))
        number, unit = term.groups()
        length = _length(text, unit)
        if length >= longest:
            raise BadTime(f"units out of order: expected each once, the longest first, found '{text}'")
        yield number, length
        at, longest = term.end(), length


def _length(text: str, unit: str) -> int:
    length = _MICROSECONDS.get(unit)
    if length is not None:
        return length
    if unit.lower() in _NO_FIXED_LENGTH:
        raise BadTime(f"months and years have no fixed length: expected s, min, h, d or week, found '{text}'")
    if unit in ("m", "M"):
        raise BadTime(f"'{unit}' could be minutes or months: write min, found '{text}'")
    raise BadTime(f"no such unit of time '{unit}': expected s, min, h, d or week, found '{text}'")


def _from_iso_8601(text: str) -> int:
    found = _ISO_8601.fullmatch(text)
    if found is None:
        if _ISO_CALENDAR.fullmatch(text):
            raise BadTime(f"months and years have no fixed length: expected such as P2D, found '{text}'")
        raise BadTime(_wrong_duration(text))
    terms = [(found[name], _MICROSECONDS[name]) for name in ("week", "d", "h", "min", "s") if found[name]]
    if not terms or found["time"] == "T" or any("." in number for number, _ in terms[:-1]):
        raise BadTime(_wrong_duration(text))
    return _sum(text, iter(terms))


def _sum(text: str, terms: Iterator[tuple[str, int]]) -> int:
    total = sum((Fraction(number) * length for number, length in terms), Fraction(0))
    if total.denominator != 1:
        raise BadTime(f"digits past the microsecond: '{text}'")
    if total > LONGEST:
        raise BadTime(f"a duration of more than a hundred years: '{text}'")
    return int(total)


def _wrong_duration(text: str) -> str:
    if text.lstrip().startswith("-"):
        return f"a negative duration: expected such as 6 h 30 min, found '{text}'"
    return f"not a duration: expected such as 6 h 30 min, 90 s, PT2H or +01:23, found '{text}'"
