"""One table of a TOML document, read field by field, and the tables below it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from cfgtrack.files.fields import Fields, shown
from cfgtrack.files.lines import Keys
from cfgtrack.files.source import Document, Spot
from cfgtrack.model.trouble import Problems


class Table(Fields):
    """The fields of one table of a TOML document, which may hold further tables."""

    __slots__ = ("_path", "document")

    def __init__(
        self,
        document: Document,
        path: Keys,
        values: Mapping[str, Any],
        problems: Problems,
        *,
        label: str = "",
    ) -> None:
        super().__init__(
            values, lambda name: document.spot((*path, name) if name else path), problems, label=label
        )
        self.document = document
        self._path = path

    def element(self, name: str, *path: str | int) -> Spot:
        """Return where an element of the field `name` stands."""
        return self.document.spot((*self._path, name, *path))

    def note_element(self, path: Keys, code: str, sentence: str, *, thing: bool = False) -> None:
        """Note a problem of what stands at `path` below this table."""
        spot = self.document.spot((*self._path, *path))
        prefix = f"{self.label}, {path[0]}: " if self.label else f"{path[0]}: "
        self._problems.add(spot.where, code, prefix + sentence, row=spot.row, thing=thing)

    def table(self, name: str) -> Table | None:
        """Return the table that the field holds, None when it is not there."""
        value = self.get(name)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.wrong(name, "a table", value)
            return None
        return self._below((name,), value, name)

    def tables(self, name: str) -> Iterator[Table]:
        """Yield the tables of an array of tables."""
        value = self.get(name)
        if value is None:
            return
        if not isinstance(value, list):
            keys = [str(key) for key in self._path if isinstance(key, str)]
            self.wrong(name, f"tables, each under [[{'.'.join([*keys, name])}]]", value)
            return
        for i, one in enumerate(value):
            if isinstance(one, dict):
                yield self._below((name, i), one, f"{name} {i + 1}")
            else:
                self.note_element((name, i), "wrong-type", f"expected a table, found {shown(one)}")

    def _below(self, path: Keys, value: dict[str, Any], label: str) -> Table:
        label = f"{self.label}, {label}" if self.label else label
        return Table(self.document, (*self._path, *path), value, self._problems, label=label)
