"""How the columns of somebody's table are meant: a [[table]] of a definition file.

    [[table]]
    file = "parts list.xlsx"
    sheet = "Mechanical"                    # of a workbook that has several
    of = "units"                            # what a row is: see `listed.LISTS`
    columns = { "Item" = "part", "Qty" = "quantity", "Where" = "home" }
    leave_out = ["Price", "Supplier*"]      # columns that aren't wanted, by name
    attributes = ["Gauge", "Length"]        # columns that say something else of what a row is, under their own names
    keep = "attributes"                     # as which all columns are kept that nothing is said of
    values = { loop = "A", title = "{Maker} {Type}" }     # what no cell says, or where it is blank
    words = { home = { "on stock" = "STORE" } }           # other words for what a cell says
    number = "{part}-{n}"                   # how the units of a quantity are called
    repeats = "one"                         # a row that says what an earlier one said is that one
    make_ids = true                         # names that are no ids become ids, and titles
    leave_out_rows = { "Item" = ["Sum*", ""] }
    header = 3                              # the row that names the columns
    units = { mass = "kg" }                 # of numbers that stand without one
    decimal = ","                           # how the table writes fractions
    merged = "fill"                         # of a workbook: what is merged is the value of each of its cells
    ends = "electrical-connector"           # of wires: connectors that no list defines are made, with their contacts

Every column is one of the list's own, mapped, an attribute, or left out: none is passed over in silence.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase

from cfgtrack.files.fields import Fields
from cfgtrack.files.listed import LISTS, QUANTITY, Listed
from cfgtrack.files.table import Table
from cfgtrack.model.naming import is_line
from cfgtrack.model.unknown import UNKNOWN, no_such

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_NUMBER = re.compile(r"n(?::0(\d))?")
NUMBER = "number"


def folded(name: str) -> str:
    """Return the name of a column as it is compared: case, line breaks and runs of blanks don't count.

    >>> folded("Maker's\\n  No ")
    "maker's no"
    """
    return " ".join(name.split()).casefold()


class Template:
    """A text with columns in it, as in ``{Connector}:{Pin}``."""

    __slots__ = ("_literals", "names", "text")

    def __init__(self, text: str) -> None:
        self.text = text
        found = _PLACEHOLDER.split(text)
        self._literals = found[::2]
        self.names = [name.strip() for name in found[1::2]]

    def filled(self, cells: Sequence[str]) -> str:
        """Return the text with these in the place of `names`; "" where all of them are blank."""
        if self.names and not any(cells):
            return ""
        pieces = [self._literals[0]]
        for cell, literal in zip(cells, self._literals[1:], strict=True):
            pieces += (cell, literal)
        return "".join(pieces)

    def numbered(self, values: Mapping[str, str], counts: dict[str, int]) -> str:
        """Return the text with `values` by name, and the next number of all that differ in nothing else."""
        told = [values.get(name, "") for name in self.names]
        key = self.filled(
            ["\0" if _NUMBER.fullmatch(name) else t for name, t in zip(self.names, told, strict=True)]
        )
        counts[key] = n = counts.get(key, 0) + 1
        for i, name in enumerate(self.names):
            if found := _NUMBER.fullmatch(name):
                told[i] = f"{n:0{found[1]}d}" if found[1] else str(n)
        return self.filled(told)


@dataclass(slots=True)
class TableMapping:
    """What one [[table]] says. The names of columns are `folded`."""

    table: Table
    of: str
    file: str
    sheet: str = ""
    header: int | None = None
    columns: dict[str, tuple[str, ...]] = field(default_factory=dict)
    leave_out: tuple[str, ...] = ()
    leave_out_rows: dict[str, tuple[str, ...]] = field(default_factory=dict)
    values: dict[str, Template] = field(default_factory=dict)
    words: dict[str, dict[str, str]] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    decimal: str = ""
    number: Template | None = None
    make_ids: bool = False
    repeats: bool = False
    merged: bool = False
    ends: str = ""
    attributes: dict[str, str] = field(default_factory=dict)
    keep: bool = False

    @property
    def is_mapped(self) -> bool:
        """Whether it may say how columns are meant."""
        return self.table.values.get("of") is not None

    @property
    def listed(self) -> Listed:
        """The sort of list."""
        return LISTS[self.of]

    def is_left_out(self, name: str) -> bool:
        """Return whether a column of this (folded) name is left out by name."""
        return any(fnmatchcase(name, pattern) for pattern in self.leave_out)

    def fields_of(self, name: str) -> tuple[str, ...]:
        """Return what a column of this (folded) name is read as: mapped, else as it is called."""
        if name in self.columns:
            return self.columns[name]
        plain = name.replace(" ", "_")
        return (plain,) if plain in self.listed.columns and not self.is_left_out(name) else ()


def read_plain(table: Table) -> TableMapping | None:
    """Return what a [[csv]] table says: a file whose columns are called as the list calls them."""
    of = table.reference("table", "table", LISTS, required=True)
    file = table.text("file", required=True)
    attributes = _attributes(table, of)
    table.finish()
    return TableMapping(table, of, file, attributes=attributes) if file and of else None


def read_mapping(table: Table) -> TableMapping | None:
    """Return what a [[table]] says, None when it can't be understood."""
    before = table.noted
    of = table.reference("of", "list", LISTS, required=True)
    file = table.text("file", required=True)
    if not of:
        return None
    known = (*LISTS[of].columns, *((QUANTITY,) if LISTS[of].numbered else ()))
    mapping = TableMapping(
        table,
        of,
        file,
        sheet=table.text("sheet"),
        header=table.count("header"),
        columns=_columns(table, known),
        leave_out=tuple(folded(one) for one in table.some("leave_out")),
        leave_out_rows=_patterns(table.table("leave_out_rows")),
        values={name: Template(text) for name, text in _texts(table.table("values"), known).items()},
        words=_words(table.table("words"), known),
        units=_texts(table.table("units"), known),
        decimal=_decimal(table),
        number=_number(table, known),
        make_ids=table.flag("make_ids"),
        repeats=_choice(table, "repeats", "one"),
        merged=_choice(table, "merged", "fill"),
        ends=_ends(table, of),
        attributes=_attributes(table, of),
        keep=_keep(table, of),
    )
    table.finish()
    for name in mapping.leave_out:
        if name in mapping.columns or name in mapping.attributes:
            table.note("leave_out", "contradiction", f"{name} is to be read, and left out")
    return mapping if file and table.noted == before else None


def _columns(table: Table, known: Sequence[str]) -> dict[str, tuple[str, ...]]:
    below = table.table("columns")
    found: dict[str, tuple[str, ...]] = {}
    taken: dict[str, str] = {}
    for name in below.values if below is not None else ():
        assert below is not None
        fields = below.some(name)
        for one in fields:
            if one not in known:
                below.note(name, UNKNOWN, no_such(f"column of {table.text('of')}", one, known))
            elif one in taken:
                below.note(name, "duplicate", f"{one} is read from '{taken[one]}' already")
            taken[one] = name
        found[folded(name)] = fields
    return found


def _texts(below: Table | None, known: Sequence[str]) -> dict[str, str]:
    found = {}
    for name in below.values if below is not None else ():
        assert below is not None
        text = below.text(name)
        if name not in known:
            below.note(name, UNKNOWN, no_such("column", name, known))
        found[name] = text
    return found


def _words(below: Table | None, known: Sequence[str]) -> dict[str, dict[str, str]]:
    found = {}
    for name in below.values if below is not None else ():
        assert below is not None
        words = below.table(name)
        if name not in known:
            below.note(name, UNKNOWN, no_such("column", name, known))
        if words is not None:
            found[name] = {folded(word): words.text(word) for word in words.values}
    return found


def _patterns(below: Table | None) -> dict[str, tuple[str, ...]]:
    if below is None:
        return {}
    return {folded(name): tuple(folded(one) for one in _some(below, name)) for name in below.values}


def _some(below: Fields, name: str) -> tuple[str, ...]:
    """Return one text or a list of texts, blank ones too: they stand for blank cells."""
    value = below.get(name)
    values = value if isinstance(value, list) else [value]
    if not all(isinstance(one, str) for one in values):
        below.wrong(name, "a text or a list of texts", value)
        return ()
    return tuple(values)


def _decimal(table: Table) -> str:
    value = table.text("decimal")
    if value and value not in (",", "."):
        table.note("decimal", "wrong-type", f'expected "," or ".", found \'{value}\'')
        return ""
    return value


def _choice(table: Table, name: str, word: str) -> bool:
    value = table.text(name)
    if value and value != word:
        table.note(name, UNKNOWN, f"expected \"{word}\", or nothing, found '{value}'")
    return value == word


def _attributes(table: Table, of: str) -> dict[str, str]:
    """Return the columns that are free attributes, as they are compared, each with the attribute's name."""
    found: dict[str, str] = {}
    for name in table.words("attributes"):
        column = folded(name)
        if not is_line(name.strip()):
            table.note("attributes", "bad-name", f"expected the name of a column, found {name!r}")
        elif of and not LISTS[of].attributed:
            table.note("attributes", "unexpected", f"rows of {of} have no attributes")
        elif of and column in LISTS[of].columns:
            table.note("attributes", "duplicate", f"{name} has a meaning of its own in rows of {of}")
        else:
            found[column] = name.strip()
    return found


def _keep(table: Table, of: str) -> bool:
    keep = _choice(table, "keep", "attributes")
    if keep and not LISTS[of].attributed:
        table.note("keep", "unexpected", f"rows of {of} have no attributes")
    return keep


def _ends(table: Table, of: str) -> str:
    value = table.text("ends")
    if value and of != "wires":
        table.note("ends", "unexpected", "only wires have ends to be made")
    return value


def _number(table: Table, known: Sequence[str]) -> Template | None:
    text = table.text(NUMBER)
    if not text:
        return None
    template = Template(text)
    numbers = [name for name in template.names if _NUMBER.fullmatch(name)]
    if len(numbers) != 1:
        table.note(NUMBER, "number", "expected one {n} (or {n:02}, to two digits) in it, such as {part}-{n}")
    for name in template.names:
        if name not in known and name not in numbers:
            table.note(NUMBER, UNKNOWN, no_such("column", name, known))
    return template
