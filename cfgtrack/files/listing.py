"""The rows of a table, each cell under what it is read as: a `mapping` held against the table's own header."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from fnmatch import fnmatchcase
from operator import itemgetter
from typing import Any

from cfgtrack.files.cell import ATTRIBUTE, BARE_NUMBER, POWER, Number, Odd, trouble
from cfgtrack.files.fields import ID, Fields, Made, made_id
from cfgtrack.files.listed import QUANTITY
from cfgtrack.files.mapping import TableMapping, Template, folded
from cfgtrack.files.sheet import letter, no_header, too_long
from cfgtrack.files.source import Spot, cut
from cfgtrack.model.attribute import attribute_of
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.trouble import Problems
from cfgtrack.model.unknown import near, no_such

_MOST_OF_A_ROW = 10_000
"""So many units one row may make."""

_WHOLE = re.compile(r"\d{1,9}(?:\.0+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"([-+]?\d+),(\d+)(?=\D|\Z)")
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2}(?:\.\d{3})+(?![\d.])", re.ASCII)
_WILD = "*"
_OF_SEVERAL = ("joints", "initial")
"""The lists whose rows may speak of several things by a pattern."""

_RATED = ("rated_pressure", "rated_current")
_NUMBERS = frozenset(
    (QUANTITY, "mass", "litres", "torque_low", "torque_high", "sink", "lifts", "trapped", *_RATED)
)
"""Columns of numbers with units, in which a decimal comma may stand."""


def stripped(cell: str) -> str:
    """Return a cell without blanks around it."""
    return cell if isinstance(cell, Made) else cell.strip()


Step = Callable[["Row"], None]


def _is_number(text: str) -> bool:
    """Return whether a cell is read as a number, where it may be anything."""
    return isinstance(attribute_of(text, is_cell=True), Quantity)


class Row:
    """One row of a list: its number in the table, and its cells, in the order of the listing's columns."""

    __slots__ = ("cells", "listing", "number")

    def __init__(self, listing: Listing, number: int, cells: list[str]) -> None:
        self.listing = listing
        self.number = number
        self.cells = cells

    def text(self, column: str) -> str:
        """Return what stands in a column, "" where nothing does."""
        i = self.listing.at.get(column)
        return "" if i is None else stripped(self.cells[i])

    def spot(self, column: str = "") -> Spot:
        """Return where a cell stands, by what the table calls its column; with "" the row."""
        where = f"{self.listing.name} row {self.number}"
        shown = self.listing.shown.get(column, column)
        return Spot(f"{where}, column {shown}" if column else where, self.listing.told(self.cells))

    def fields(self, label: str) -> Fields:
        """Return the row for reading field by field, after noting the cells that a spreadsheet has spoilt."""
        listing = self.listing
        values: dict[str, str] = {}
        spoilt: dict[str, None] = {}
        for column, i in listing.at.items():
            text = stripped(self.cells[i])
            if not text or column == QUANTITY:
                continue
            cell = self.cells[i] if type(self.cells[i]) is not str else text
            wrong = trouble(column, cell, is_name=column in listing.mapping.listed.ids)
            if wrong is None:
                values[column] = text
            else:
                spoilt[column] = None
                spot = self.spot(column)
                listing.problems.add(spot.where, wrong[0], f"{label}, {column}: {wrong[1]}", row=spot.row)
        return Fields(
            values,
            self.spot,
            listing.problems,
            label=label,
            is_row=True,
            attribute_columns=listing.attributes,
            spoilt=spoilt,
        )


class Listing:
    """A table whose header is understood. `at`: which cell of a row is which column of the list.

    `attributes`: those columns that are attributes, each with the attribute's name.
    """

    def __init__(self, mapping: TableMapping, name: str, header: Sequence[str], problems: Problems) -> None:
        self.mapping = mapping
        self.name = name
        self.problems = problems
        self.delimiter = ","
        self.at: dict[str, int] = {}
        self.shown: dict[str, str] = {}
        self.attributes: dict[str, str] = {}
        self.is_plain = True
        """Whether its cells are the texts of CSV: those of a workbook may be what no text is."""
        self._alike: Callable[[list[str]], tuple[str, ...]] = lambda _: ()
        self._models: dict[str, tuple[Any, ...]] = {}
        self._names_seen: set[str] = set()
        self._name_at = 0
        self._title_at: int | None = None
        self._header = [" ".join(one.split()) for one in header]
        self._names = [folded(one) for one in header]
        self.width = len(header)
        self._steps: list[Step] = []
        self._made: dict[tuple[str, str], str] = {}
        self._counts: dict[str, int] = {}
        self._unnamed = [i for i, one in enumerate(self._names) if not one]
        self._left: list[tuple[int, tuple[str, ...]]] = []
        self._told: set[tuple[str, ...]] = set()

    def told(self, cells: list[str]) -> str:
        """Return a row as messages show it, without what was made of it."""
        return cut(self.delimiter.join(cells[: self.width]).replace("\n", " ").replace("\t", " "))

    @property
    def noted(self) -> int:
        """How many problems have been noted so far, here and elsewhere."""
        return len(self.problems)

    # --- the header ---------------------------------------------------------------------------------------------------

    def understand(self, spot: Spot) -> bool:
        """Match the header against the mapping, noting every column that nobody can place."""
        before = len(self.problems)
        mapping = self.mapping
        if not self._is_header(spot):
            return False
        for i, name in enumerate(self._names):
            if name and (
                name in mapping.columns or name in mapping.attributes or not mapping.is_left_out(name)
            ):
                self._column(i, name, spot)
        self._expect([*mapping.columns, *mapping.leave_out_rows, *mapping.attributes], spot)
        self._expect([one for template in mapping.values.values() for one in template.names], spot)
        if len(self.problems) == before:
            self._plan()
        for one in mapping.listed.required:
            if one not in self.at and not (one == "id" and QUANTITY in self.at):
                self._note(spot, "missing-column", f"the column {one} is missing")
        if QUANTITY in self.at and mapping.number is None:
            self._note(
                spot, "missing-column", 'how are those of a quantity called? Say number = "{part}-{n}"'
            )
        return len(self.problems) == before

    def _column(self, i: int, name: str, spot: Spot) -> None:
        """Place one column, or note that nobody can."""
        if name in self._names[:i]:
            self._note(
                spot, "duplicate", f"the column {self._header[i]} is there twice: rename or delete one"
            )
            return
        mapping = self.mapping
        fields = mapping.fields_of(name)
        own = mapping.attributes.get(name)
        if own is None and mapping.keep and not fields and not self._is_used(name):
            own = self._header[i]
        if own is not None:
            fields = (f"{ATTRIBUTE}{name}", *fields)
            self.attributes[fields[0]] = own
        if not fields and not self._is_used(name):
            self._note(spot, "unknown-column", self._no_column(i))
        for one in fields:
            if one in self.at:
                first = self._header[self.at[one]]
                self._note(spot, "duplicate", f"both {first} and {self._header[i]} are read as {one}")
            self.at[one] = i
            self.shown[one] = self._header[i]

    def _expect(self, names: Sequence[str], spot: Spot) -> None:
        """Note every column that the mapping names and the header hasn't."""
        for name in dict.fromkeys(names):
            if folded(name) not in self._names:
                known = [one for one in self._header if one]
                self._note(spot, "missing-column", no_such("column", name, known))

    def _note(self, spot: Spot, code: str, sentence: str) -> None:
        self.problems.add(spot.where, code, sentence, row=spot.row)

    def _is_header(self, spot: Spot) -> bool:
        """Return whether this row names columns at all, after noting that it names none."""
        columns = [*self.mapping.listed.columns, *self.mapping.columns]
        named = [name for name in self._names if name]
        if any(self.mapping.fields_of(n) or self._is_used(n) or self.mapping.is_left_out(n) for n in named):
            return True
        if any(near(name, columns) for name in named):
            return True
        wanted = (*self.mapping.columns, *self.mapping.listed.required, *columns)
        self._note(spot, *no_header(wanted, spot.row or ""))
        return False

    def _is_used(self, name: str) -> bool:
        """Return whether a column is part of a value, or tells which rows are left out."""
        mapping = self.mapping
        used = [folded(one) for template in mapping.values.values() for one in template.names]
        return name in used or name in mapping.leave_out_rows

    def _no_column(self, i: int) -> str:
        known = self.mapping.listed.columns
        if near(self._header[i], known) or not self.mapping.is_mapped:
            return no_such("column", self._header[i], known)
        return (
            f"column {letter(i)}, {self._header[i]}: say in `columns` what it is, or name it in `leave_out`"
        )

    # --- what is made of a row ----------------------------------------------------------------------------------------

    def _plan(self) -> None:
        """Gather what has to be done to each row before it can be read."""
        mapping = self.mapping
        self._left = [
            (self._names.index(name), patterns) for name, patterns in mapping.leave_out_rows.items()
        ]
        width = len(self._names)
        own: set[int] = set()
        for column, i in self.at.items():
            if i in own:  # what is made of one of them mustn't change the other
                self._steps.append(self._again(i))
                self.at[column] = width
                width += 1
            own.add(i)
        for column, words in mapping.words.items():
            if column in self.at:
                self._steps.append(self._in_words(self.at[column], words))
        for column, template in mapping.values.items():
            sources = [self._names.index(folded(one)) for one in template.names]
            self._steps.append(self._filled(self.at.get(column), template, sources))
            self.at[column] = width
            width += 1
        if mapping.decimal == ",":
            self._steps += [self._with_point(column) for column in self.at if column in _NUMBERS]
            self._steps += [self._with_point(column, may_be_text=True) for column in self.attributes]
        for column, unit in mapping.units.items():
            if column in self.at:
                self._steps.append(self._with_unit(self.at[column], unit))
        made = [("title", mapping.make_ids), ("aliases", mapping.make_ids), ("id", QUANTITY in self.at)]
        wanted = [one for one, why in made if why]
        for column in wanted:
            if column in mapping.listed.columns and column not in self.at:
                self._steps.append(lambda row: row.cells.append(""))
                self.at[column] = width
                width += 1
        if mapping.make_ids:
            self._steps.append(self._with_ids)
        kept = [i for column, i in self.at.items() if column not in _FREE]
        self._alike = itemgetter(*(kept * 2 if len(kept) < 2 else kept)) if kept else lambda _: ()
        self._name_at, self._title_at = self.at.get("name", 0), self.at.get("title")

    @staticmethod
    def _again(i: int) -> Step:
        """Return the step that gives a row another cell like one of its own."""
        return lambda row: row.cells.append(row.cells[i])

    @staticmethod
    def _in_words(i: int, words: dict[str, str]) -> Step:
        def step(row: Row) -> None:
            row.cells[i] = words.get(folded(row.cells[i]), row.cells[i])

        return step

    @staticmethod
    def _filled(own: int | None, template: Template, sources: list[int]) -> Step:
        def step(row: Row) -> None:
            if own is not None and row.cells[own].strip():
                row.cells.append(row.cells[own])
                return
            text = template.filled([row.cells[i].strip() for i in sources])
            is_number = sources and all(isinstance(row.cells[i], Number) for i in sources)
            row.cells.append(Number(text) if is_number else text)

        return step

    @staticmethod
    def _with_unit(i: int, unit: str) -> Step:
        def step(row: Row) -> None:
            if BARE_NUMBER.fullmatch(row.cells[i].strip().replace(",", ".")):
                row.cells[i] = f"{row.cells[i].strip()} {unit}"

        return step

    @staticmethod
    def _with_point(column: str, *, may_be_text: bool = False) -> Step:
        """Return the step that reads decimal commas, and notes points, which may part thousands; what `may_be_text`
        is looked at where it would be a number.
        """

        def step(row: Row) -> None:
            i = row.listing.at[column]
            text = row.cells[i].strip()
            if isinstance(row.cells[i], Number | Odd) or not text:
                return
            plain = text.replace(".", "").replace(",", ".")
            if _THOUSANDS.match(text) and (not may_be_text or _is_number(plain)):
                spot, shown = row.spot(column), row.listing.shown.get(column, column)
                sentence = f"expected a number without points, as decimal = \",\" says, found '{text}'"
                told = f"{shown}: {sentence}: the point could stand between thousands"
                row.listing.problems.add(spot.where, "ambiguous", told, row=spot.row)
                row.cells[i] = plain
                return
            with_point = _DECIMAL_COMMA.sub(r"\1.\2", text, count=1)
            if not may_be_text or _is_number(with_point):
                row.cells[i] = with_point

        return step

    def _with_ids(self, row: Row) -> None:
        """Make ids of names, and note where two names would be one."""
        for column, of in self.mapping.listed.ids.items():
            i = self.at.get(column)
            name = row.cells[i].strip() if i is not None else ""
            pieces = list(map(made_id, name.split(":")))
            # Where nothing can be made of it the reader says so; a pattern of initial rows stays one.
            if i is None or not all(pieces) or (_WILD in name and self.mapping.of in _OF_SEVERAL):
                continue
            made = ":".join(pieces)
            space = f"{of} of {row.text('part')}" if of == "name" else of
            first = self._made.setdefault((space, made), name)
            if first != name:
                spot = row.spot(column)
                sentence = f"{column}: '{first}' and '{name}' would both be {made}: two things need two ids"
                self.problems.add(spot.where, "ambiguous", sentence, row=spot.row)
            row.cells[i] = made if made == name else Made.of(name, made)
            if made != name and column in ("id", "name"):
                self._is_called(row, name)

    def _is_called(self, row: Row, name: str) -> None:
        """Keep what a list calls a thing that got an id: as its title, where it has none, and as an alias."""
        title, aliases = self.at.get("title"), self.at.get("aliases")
        if title is not None and not row.cells[title].strip():
            row.cells[title] = name
        if aliases is not None:
            row.cells[aliases] = "\n".join(filter(None, (row.cells[aliases].strip(), name)))

    # --- the rows -----------------------------------------------------------------------------------------------------

    def rows(self, numbered: Iterable[tuple[int, list[str]]]) -> Iterator[Row]:
        """Yield the rows, noting those that are none. Blank ones count and are passed over."""
        width, careful = self.width, bool(self._unnamed)
        makes_more = bool(self._left or self._steps or self.mapping.repeats or QUANTITY in self.at)
        for number, cells in numbered:
            if len(cells) != width or not cells[0] or careful:
                if not any(map(str.strip, cells)) and len(cells) <= width:
                    continue
                if not self._is_sound(number, cells, width):
                    continue
            if makes_more:
                yield from self._made_of(Row(self, number, cells))
            else:
                yield Row(self, number, cells)

    def _made_of(self, row: Row) -> Iterator[Row]:
        """Yield what the mapping makes of a row: nothing, itself, or as many as it says."""
        if any(self._is_left_out(row.cells[i], patterns) for i, patterns in self._left):
            return
        for step in self._steps:
            step(row)
        if self.mapping.repeats and self._is_repeated(row):
            return
        if QUANTITY in self.at:
            yield from self._several(row, self.at[QUANTITY])
        else:
            yield row

    def _is_sound(self, number: int, cells: list[str], width: int) -> bool:
        wrong = too_long(cells, width)
        if len(cells) < width:
            wrong = ("short-row", f"expected {width} cells, found {len(cells)}")
        for i in self._unnamed:
            if wrong is None and cells[i].strip():
                found = f"column {letter(i)} has no name in the header, but here '{cut(cells[i].strip())}'"
                wrong = ("unnamed-column", found)
        if wrong is not None:
            text = cut(self.delimiter.join(cells).replace("\n", " ").replace("\t", " "))
            self.problems.add(f"{self.name} row {number}", *wrong, row=text)
        return wrong is None

    @staticmethod
    def _is_left_out(cell: str, patterns: Sequence[str]) -> bool:
        text = folded(cell)
        return any(fnmatchcase(text, pattern) for pattern in patterns)

    def _is_repeated(self, row: Row) -> bool:
        """Return whether an earlier row has said the same."""
        said = tuple(row.text(column) for column in self.at)
        if said in self._told:
            return True
        self._told.add(said)
        return False

    def _several(self, row: Row, quantity: int) -> Iterator[Row]:
        """Yield as many rows as the quantity says, each with a numbered id."""
        text = row.cells[quantity].strip()
        spot = row.spot(QUANTITY)
        if not _WHOLE.fullmatch(text):
            found = f"found '{text}'" if text else "found nothing"
            self.problems.add(
                spot.where, "quantity", f"{QUANTITY}: expected a whole number, {found}", row=spot.row
            )
            return
        many = int(text.partition(".")[0])
        if many > _MOST_OF_A_ROW:
            sentence = f"{QUANTITY}: expected at most {_MOST_OF_A_ROW}, found {many}"
            self.problems.add(spot.where, "out-of-range", sentence, row=spot.row)
            return
        assert self.mapping.number is not None
        values = {column: row.text(column) for column in self.at}
        for _ in range(many):
            cells = row.cells.copy()
            cells[self.at["id"]] = self.mapping.number.numbered(values, self._counts)
            yield Row(self, row.number, cells)

    # --- rows that are like earlier ones ------------------------------------------------------------------------------

    def likened(self, rows: Iterable[Row]) -> Iterator[tuple[Row, str, str, tuple[Any, ...] | None]]:
        """Yield each row with its name, its title, and what was `remember`ed of one that differs in nothing else.

        A long list has few sorts of row, so most of its rows need not be read field by field. None where there was no
        such row yet, or name or title have to be looked at more closely.
        """
        join, get, models, seen = _JOIN, self._alike, self._models, self._names_seen
        name_at, title_at = self._name_at, self._title_at
        for row in rows:
            cells = row.cells
            found = models.get(join(get(cells)))
            name = title = ""
            if found is not None:
                name = cells[name_at].strip()
                if name not in seen:
                    if ID.fullmatch(name) and not POWER.fullmatch(name):
                        seen.add(name)
                    else:
                        found = None
                title = cells[title_at].strip() if title_at is not None else ""
                if title and (title[0] in "=#" or not (title.isascii() and title.isprintable())):
                    found = None
            yield row, name, title, found

    def remember(self, row: Row, found: tuple[Any, ...]) -> None:
        """Keep what was read of a sound row, for rows that are like it."""
        if self.is_plain:
            self._models[_JOIN(self._alike(row.cells))] = found


_JOIN = "\x1f".join
"""Makes one text of some cells. The sign between them stands in no sound cell."""

_FREE = ("part", "name", "title")
"""The columns of ports and nodes that say nothing of any other: each row has its own."""
