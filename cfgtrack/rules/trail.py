"""A trail of what was overwritten, so that the engine can step back exactly as far as it stepped forward."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, MutableMapping
from typing import Any

_ABSENT = object()


class Trail:
    """Write to dictionaries and attributes through it; `back` undoes every write since a `mark`, last first.

    What was dropped comes back as the last of its table: whoever asks for an order sorts, or sets another table.
    """

    __slots__ = ("_log", "keeping")

    def __init__(self) -> None:
        self._log: list[tuple[Any, Any, Any]] = []
        self.keeping = False

    def mark(self) -> int:
        """Start (or go on) keeping the trail; return the point to come back to."""
        self.keeping = True
        return len(self._log)

    def set(self, table: MutableMapping[Any, Any], key: Any, value: Any) -> None:
        """Set table[key]."""
        if self.keeping:
            self._log.append((table, key, table.get(key, _ABSENT)))
        table[key] = value

    def fill(self, table: MutableMapping[Any, Any], keys: Collection[Any], value: Any) -> None:
        """Set table[key] for each of several keys."""
        if self.keeping:
            before = {key: table[key] for key in keys if key in table} if table else {}
            self._log.append((None, _refill, (table, keys, before)))
        table.update(dict.fromkeys(keys, value))

    def drop(self, table: MutableMapping[Any, Any], key: Any) -> None:
        """Delete table[key] where there is one."""
        old = table.pop(key, _ABSENT)
        if self.keeping and old is not _ABSENT:
            self._log.append((table, key, old))

    def assign(self, owner: object, name: str, value: object) -> None:
        """Set an attribute."""
        if self.keeping:
            self._log.append((None, setattr, (owner, name, getattr(owner, name))))
        setattr(owner, name, value)

    def on_back(self, undo: Callable[..., object], *arguments: Any) -> None:
        """Have `undo(*arguments)` called on the way back."""
        if self.keeping:
            self._log.append((None, undo, arguments))

    def back(self, mark: int) -> None:
        """Undo everything since `mark`."""
        log = self._log
        while len(log) > mark:
            table, key, old = log.pop()
            if table is None:
                key(*old)
            elif old is _ABSENT:
                table.pop(key, None)
            else:
                table[key] = old


def _refill(table: MutableMapping[Any, Any], keys: Iterable[Any], before: Mapping[Any, Any]) -> None:
    for key in keys:
        if key in before:
            table[key] = before[key]
        else:
            table.pop(key, None)  # it may be named twice
