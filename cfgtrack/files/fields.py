"""Reads the fields of one table or row, one by one, and notes everything that is wrong with them.

A reader never stops at the first problem: a field that is wrong reads as if it were not there.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping
from datetime import date, datetime, time
from typing import Any

from cfgtrack.files.source import Find, Spot
from cfgtrack.model.attribute import Attribute, attribute_of
from cfgtrack.model.gate import MOST_NAME, fault_of_text
from cfgtrack.model.naming import IN_PHRASES, folded, is_alias, is_line
from cfgtrack.model.quantity import BadQuantity, Quantity, parse_quantity
from cfgtrack.model.time import BadTime, parse_duration, parse_instant
from cfgtrack.model.trouble import Problems
from cfgtrack.model.unknown import UNKNOWN, no_such

ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._/+-]*")
ID_FORM = "letters A-Z and a-z, digits and . _ / + -, a letter or digit first"
_NO_ID = re.compile(r"[^A-Za-z0-9._/+-]+")
_YES_NO = {"yes": True, "true": True, "no": False, "false": False}
BETWEEN = re.compile(r"[\s,;]+")
"""What stands between the words of a list in a cell."""

_NONE: Mapping[str, str] = {}
_PAST_MICROSECOND = r"(?<![\w-]){}\s*=[^,}}#=]*:\d\d\.\d{{7}}"


class Fields:
    """The fields of one table (of a TOML document) or row (of a CSV file, where every value is text).

    `attribute_columns`: of a row, the columns that are free attributes, each with the attribute's name.
    """

    __slots__ = ("_asked", "_find", "_problems", "_spoilt", "attribute_columns", "is_row", "label", "values")

    @property
    def noted(self) -> int:
        """How many problems have been noted so far, here and elsewhere."""
        return len(self._problems)

    def __init__(
        self,
        values: Mapping[str, Any],
        find: Find,
        problems: Problems,
        *,
        label: str,
        is_row: bool = False,
        attribute_columns: Mapping[str, str] = _NONE,
        spoilt: Collection[str] = (),
    ) -> None:
        """`spoilt` are fields that are there and can't be used, as has been noted."""
        self.values = values
        self.attribute_columns = attribute_columns
        self._spoilt = spoilt
        self.label = label
        self.is_row = is_row
        self._find = find
        self._problems = problems
        self._asked: dict[str, None] = {}

    def spot(self, name: str = "") -> Spot:
        """Return where the field stands, or with "" the table or row."""
        return self._find(name)

    def note(self, name: str, code: str, sentence: str, *, thing: bool = False) -> None:
        """Note a problem of the field `name`, or with "" of the table or row."""
        spot = self._find(name)
        prefix = "".join(f"{one}, " for one in (self.label, name) if one)
        prefix = f"{prefix[:-2]}: " if prefix else ""
        self._problems.add(spot.where, code, prefix + sentence, row=spot.row, thing=thing)

    def get(self, name: str, *, required: bool = False) -> Any:
        """Return the raw value of a field, None (and a problem where it is `required`) when there is none."""
        self._asked[name] = None
        value = self.values.get(name)
        if required and value is None and name not in self._spoilt:
            self.note("", "missing", f"{name} is missing")
        return value

    def wrong(self, name: str, expected: str, found: Any) -> None:
        """Note that the field holds the wrong type of value."""
        self.note(name, "wrong-type", f"expected {expected}, found {shown(found)}")

    def text(self, name: str, *, required: bool = False) -> str:
        """Return a text, "" when there is none."""
        value = self.get(name, required=required)
        if value is None:
            return ""
        if not isinstance(value, str):
            self.wrong(name, "a text in quotes", value)
            return ""
        if fault := fault_of_text(value):
            self.note(name, "text", fault)
            return ""
        if required and not value.strip():
            self.note(name, "missing", f"{name} is blank")
        return value if isinstance(value, Made) else value.strip()

    def ident(self, name: str, *, required: bool = True) -> str:
        """Return a text that has the form of an id, "" when there is none."""
        value = str(self.text(name, required=required))
        if value and not ID.fullmatch(value):
            self.note(name, "bad-id", f"expected an id of {ID_FORM}, found '{value}'")
            return ""
        if len(value) > MOST_NAME:
            self.note(name, "bad-id", f"expected at most {MOST_NAME} characters, found {len(value):,}")
            return ""
        return value

    def reference(self, name: str, what: str, known: Collection[str], *, required: bool = False) -> str:
        """Return the id of something `known`; "" when none is given or, after noting it, no such thing is."""
        value = id_of(self.text(name, required=required), known)
        return value if value and self.is_known(name, what, value, known) else ""

    def is_known(self, name: str, what: str, value: str, known: Collection[str]) -> bool:
        """Return whether a value of the field `name` is one of those known, after noting that it isn't."""
        if value not in known:
            also = known.called if isinstance(known, Ids) else ()
            sentence, is_thing = no_such(what, value, known, also), what in ("part", "place")
            if is_thing and not known:  # there may be one in the database, but files are read by themselves
                sentence += f": these files define no {what}; what belongs together is loaded together"
            self.note(name, UNKNOWN, sentence, thing=is_thing)
        return value in known

    def words(self, name: str, *, required: bool = False) -> tuple[str, ...]:
        """Return a list of texts: an array, or in a row one cell with blanks or commas between."""
        value = self.get(name, required=required)
        if value is None:
            return ()
        if self.is_row:
            return tuple(BETWEEN.sub(" ", str(value)).split())
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            self.wrong(name, 'a list of texts such as ["a", "b"]', value)
            return ()
        return tuple(value)

    def some(self, name: str, *, required: bool = False) -> tuple[str, ...]:
        """Return one text or a list of texts."""
        value = self.get(name, required=required)
        if value is None:
            return ()
        values = value if isinstance(value, list) else [value]
        if not values or not all(isinstance(one, str) and one for one in values):
            self.wrong(name, "a text or a list of texts", value)
            return ()
        return tuple(values)

    def tags(self) -> frozenset[str]:
        """Return the field `tags`."""
        return frozenset(self.words("tags"))

    def said_aliases(self) -> list[str]:
        """Return what the field `aliases` says, right or wrong: a text or a list of them; in a row an alias a line."""
        value = self.values.get("aliases")
        found = value.splitlines() if self.is_row and isinstance(value, str) else value
        texts = found if isinstance(found, list) else [found]
        return [one.strip() for one in texts if isinstance(one, str) and (one.strip() or not self.is_row)]

    def aliases_of(self, own: str) -> tuple[str, ...]:
        """Return the field `aliases`, but for what the field `own` says: the id, which needs none."""
        if self.get("aliases") != [] and not self.is_row:
            self.some("aliases")
        found: dict[str, None] = {}
        for alias in self.said_aliases():
            if own == "id" and alias in IN_PHRASES:
                self.note("aliases", "bad-alias", f"'{alias}' is a word of phrases: nothing can be called so")
            elif len(alias) > MOST_NAME:
                sentence = f"expected at most {MOST_NAME} characters, found {len(alias):,}"
                self.note("aliases", "bad-alias", sentence)
            elif is_alias(alias):
                found[alias] = None
            elif not alias:
                self.note("aliases", "bad-alias", "an alias is blank")
            else:
                sentence = (
                    f"expected a name, without control characters and no bare wildcard, found {alias!r}"
                )
                self.note("aliases", "bad-alias", sentence)
        found.pop(str(self.values.get(own)), None)
        return tuple(found)

    def attributes(self, name: str = "attributes") -> dict[str, Attribute]:
        """Return the table `attributes`, by their names; in a row the columns that are attributes."""
        if self.is_row:
            cells = {own: self.get(column) for column, own in self.attribute_columns.items()}
            return {own: attribute_of(cell, is_cell=True) for own, cell in cells.items() if cell}
        value = self.get(name)
        if value is not None and not isinstance(value, dict):
            self.wrong(name, 'a table such as { gauge = "AWG 20", length = "3 m" }', value)
        found: dict[str, Attribute] = {}
        for own, one in value.items() if isinstance(value, dict) else ():
            attribute = self.attribute(name, own, one)
            if attribute is not None:
                found[own] = attribute
        return found

    def attribute(self, name: str, own: str, value: Any) -> Attribute | None:
        """Return the attribute `own` that a value found in the field `name` is, None after noting that it is none."""
        if not is_line(own):
            self.note(name, "bad-name", f"expected the name of an attribute, found {own!r}")
        elif isinstance(value, str) and is_line(value.strip()):
            return attribute_of(value.strip())
        elif isinstance(value, bool) or (isinstance(value, date) and not isinstance(value, datetime)):
            return value
        elif isinstance(value, int | float) and abs(value) < float("inf"):
            return Quantity(float(value), "", float(value), "count")
        else:
            found = repr(value) if isinstance(value, str) else shown(value)
            sentence = (
                f"{own}: expected a text, a number with its unit, true or false, or a date, found {found}"
            )
            self.note(name, "bad-attribute", sentence)
        return None

    def flag(self, name: str) -> bool:
        """Return a yes or no, False when it is not there."""
        value = self.get(name)
        if self.is_row and value is not None:
            found = _YES_NO.get(str(value).strip().lower())
            if found is None:
                self.wrong(name, "yes or no", value)
            return bool(found)
        if value is not None and not isinstance(value, bool):
            self.wrong(name, "true or false", value)
            return False
        return bool(value)

    def count(self, name: str, *, at_least: int = 1) -> int | None:
        """Return a whole number, None when it is not there."""
        value = self.get(name)
        if self.is_row and value is not None and re.fullmatch(r"\d{1,15}", value.strip(), re.ASCII):
            value = int(value)
        if value is None:
            return None
        if not isinstance(value, int) or isinstance(value, bool):
            self.wrong(name, "a whole number", value)
            return None
        if value < at_least:
            self.note(name, "out-of-range", f"expected at least {at_least}, found {value}")
            return None
        return value

    def number(self, name: str, *, at_least: float = 0.0) -> float | None:
        """Return a plain number, None when it is not there."""
        value = self.get(name)
        if value is None:
            return None
        if not isinstance(value, int | float) or isinstance(value, bool) or not abs(value) < float("inf"):
            self.wrong(name, "a number", value)
            return None
        if value < at_least:
            self.note(name, "out-of-range", f"expected at least {at_least:g}, found {value}")
            return None
        return float(value)

    def quantity(
        self, name: str, dimension: str, *, required: bool = False, at_least: float | None = 0.0
    ) -> float | None:
        """Return a number with a unit, in SI, None when it is not there."""
        value = self.get(name, required=required)
        return None if value is None else self.measured(name, value, dimension, at_least=at_least)

    def measured(
        self, name: str, value: Any, dimension: str, *, at_least: float | None = 0.0
    ) -> float | None:
        """Return `value`, a number with a unit found in the field `name`, in SI."""
        try:
            found = parse_quantity(value if isinstance(value, str) else shown(value), dimension=dimension)
        except BadQuantity as err:
            self.note(name, "bad-quantity", str(err))
            return None
        if at_least is not None and dimension != "temperature" and found.value < at_least:
            self.note(name, "out-of-range", f"expected at least {at_least:g}, found {value}")
            return None
        return found.value

    def instant(self, name: str, *, required: bool = False) -> int | None:
        """Return a time, in microseconds since 1970 UTC, None when it is not there."""
        value = self.get(name, required=required)
        if value is None:
            return None
        is_tomls_own = isinstance(value, date | time)
        if is_tomls_own:
            value = value.isoformat()
        if not isinstance(value, str):
            self.wrong(name, "a time such as 2030-05-01T08:00:00Z", value)
            return None
        try:
            instant = parse_instant(value)
        except BadTime as err:
            self.note(name, "bad-time", str(err))
            return None
        # TOML's own times come without what is past the microsecond: only the line still shows it.
        if is_tomls_own and re.search(
            _PAST_MICROSECOND.format(re.escape(name)), self.spot(name).row or "", re.ASCII
        ):
            self.note(name, "bad-time", "digits past the microsecond: at most 6 digits of a second are kept")
        return instant

    def duration(self, name: str) -> int | None:
        """Return a duration, in microseconds, None when it is not there."""
        value = self.get(name)
        return None if value is None else self.lasting(name, value)

    def lasting(self, name: str, value: Any) -> int | None:
        """Return `value`, a duration found in the field `name`, in microseconds."""
        if not isinstance(value, str):
            self.wrong(name, "a duration such as 45 min", value)
            return None
        try:
            return parse_duration(value)
        except BadTime as err:
            self.note(name, "bad-duration", str(err))
            return None

    def unasked(self) -> list[str]:
        """Return the fields that nobody asked for."""
        return [name for name in self.values if name not in self._asked]

    def finish(self) -> None:
        """Note every field that nobody asked for."""
        for name in self.unasked():
            what = "column" if self.is_row else "field"
            self.note(name, f"unknown-{what}", no_such(what, name, self._asked))


class Made(str):
    """An id that was made of a name, `said`: one that refers to a thing may mean what is called so."""

    __slots__ = ("said",)
    said: str

    @classmethod
    def of(cls, said: str, made: str) -> Made:
        """Return such an id."""
        found = cls(made)
        found.said = said
        return found


def made_id(text: str) -> str:
    """Return an id that is as near to a text as an id can be, "" where nothing of it can be one.

    >>> made_id("Pumpe Süd #2 (alt)"), made_id("=A1+B2"), made_id("A-"), made_id("漢")
    ('Pumpe-Sud-2-alt', 'A1+B2', 'A-', '')
    """
    if ID.fullmatch(text):
        return text
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return _NO_ID.sub("-", plain).strip("-./+_")


class Ids(dict[str, Any]):
    """Ids that may be referred to, and `called`: what else each is called, to its id."""

    called: Mapping[str, str] = _NONE


def id_of(text: str, known: Collection[str]) -> str:
    """Return the id that a text means among those known: itself where it is one, or means none."""
    called = known.called if isinstance(known, Ids) else _NONE
    if isinstance(text, Made):
        return called.get(folded(text.said)) or id_of(str(text), known)
    return text if text in known else called.get(folded(text), text)


def shown(value: Any) -> str:
    """Return a raw value as messages show it."""
    if isinstance(value, str):
        return f"'{value}'"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    return str(value)
