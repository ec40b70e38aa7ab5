"""What things are called on the drawing: aliases, beside the ids, and what somebody means by a name.

An alias is any text without control characters that is more than wildcards: ``=A1+K1``, ``P-101/A #2``. That of a unit,
place or part stands where its id might, that of a port or node after its owner, by whatever name that is told:
``PUMP-1:Vorlauf``, ``Kühlpumpe 1:F1``. An id is always meant first. What is recorded and judged is the id alone.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from cfgtrack.model.unknown import ANYTHING

if TYPE_CHECKING:
    from cfgtrack.model.part import Part
    from cfgtrack.model.plant import Plant

_FORBIDDEN = frozenset(("Cc", "Cs", "Zl", "Zp"))
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""What turns the direction of a text about: one name would look like another."""

FILLERS = frozenset(("to", "on", "onto", "at", "from", "with", "and", "in", "into", "by", "is"))
"""The words of a phrase that only make it readable."""

IN_PHRASES = FILLERS | {"facing"}
"""What can be no alias of a unit, place or part, as no phrase could name it so."""

_SIGNS = frozenset("*?[]")
"""What patterns are made of besides names."""


def folded(alias: str) -> str:
    """Return an alias as it is compared: the letters of a script may be written in several ways (NFC)."""
    return alias if alias.isascii() else unicodedata.normalize("NFC", alias)


def is_alias(text: str) -> bool:
    """Return whether a text may be an alias: a line of text that isn't made of the signs of patterns alone.

    >>> is_alias("=A1 + K#1/2"), is_alias("two\\nlines"), is_alias("*")
    (True, False, False)
    """
    return is_line(text) and not _SIGNS.issuperset(text)


def is_line(text: str) -> bool:
    """Return whether a text is one line as it looks: not blank, no control character or break, no blanks around it."""
    return (
        bool(text)
        and text == text.strip()
        and _TURNING.isdisjoint(text)
        and not any(unicodedata.category(letter) in _FORBIDDEN for letter in text)
    )


class Names:
    """What the things of a plant are called besides their ids."""

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        owners = (thing for table in (plant.units, plant.places) for thing in table.values() if thing.aliases)
        people = (
            (one.place, (one.id,)) for one in plant.people.values() if one.place and one.id != one.place
        )
        self.owners = by_alias([*((thing.id, thing.aliases) for thing in owners), *people])
        """Alias to the ids of the units and places that have it; a person's id to the place that moves which he is."""
        self.parts = by_alias((part.id, part.aliases) for part in plant.parts.values() if part.aliases)
        """Alias to the ids of the parts that have it."""
        found = {part.id: aliases_in(part) for part in plant.parts.values()}
        self._inside = {part: names for part, names in found.items() if names}
        self._meant: dict[tuple[str, tuple[str, ...]], tuple[str, ...]] = {}

    def __bool__(self) -> bool:
        """Whether anything has an alias."""
        return bool(self.owners or self.parts or self._inside)

    def inside(self, owner: str) -> Mapping[str, tuple[str, ...]]:
        """Return alias to the names of the ports and nodes of a unit or place that have it."""
        return self._inside.get(self._plant.part_of(owner).id, {})

    def meant(self, text: str, wanted: Collection[str]) -> tuple[str, ...]:
        """Return the addresses that a text may mean, of the sorts that are `wanted`: one if it is an id."""
        if self._plant.sort_of(text) in wanted:
            return (text,)
        if not self:
            return ()
        key = (text, tuple(wanted))
        found = self._meant.get(key)
        if found is None:
            sort_of = self._plant.sort_of
            there = dict.fromkeys(a for a in self._called(folded(text)) if sort_of(a) in wanted)
            found = self._meant[key] = tuple(there)
        return found

    def _called(self, text: str) -> Iterator[str]:
        yield from self.owners.get(text, ())
        yield from self.parts.get(text, ())
        for owner, name in self.split(text):
            if self._plant.sort_of(f"{owner}:{name}"):
                yield f"{owner}:{name}"
            else:
                yield from (f"{owner}:{one}" for one in self.inside(owner).get(name, ()))

    def split(self, text: str) -> Iterator[tuple[str, str]]:
        """Yield every unit or place that a text may begin with, and what then follows: an alias may have colons."""
        at = text.find(":")
        while at >= 0:
            before, after = text[:at], text[at + 1 :]
            if self._plant.has_owner(before):
                yield before, after
            else:
                yield from ((owner, after) for owner in self.owners.get(folded(before), ()))
            at = text.find(":", at + 1)


def by_alias(called: Iterable[tuple[str, Iterable[str]]]) -> dict[str, tuple[str, ...]]:
    """Return alias to the names that have it, in their order."""
    found: dict[str, tuple[str, ...]] = {}
    for name, aliases in called:
        for alias in dict.fromkeys(map(folded, aliases)):
            found[alias] = (*found.get(alias, ()), name)
    return found


def aliases_in(part: Part) -> dict[str, tuple[str, ...]]:
    """Return alias to the names of the ports, contacts and nodes of a part that have it.

    A contact may be told by an alias of its own, of its shell, or of both.
    """
    things: list[Any] = [*part.ports.values(), *part.nodes.values()]
    called = [(thing.name, thing.aliases) for thing in things if thing.aliases]
    for port in part.ports.values():
        for contact in port.contacts.values():
            shells, names = (port.name, *port.aliases), (contact.name, *contact.aliases)
            told = [f"{shell}:{name}" for shell in shells for name in names]
            if len(told) > 1:
                called.append((told[0], tuple(told[1:])))
    return by_alias(called)


class Clash(NamedTuple):
    """An alias by which nobody can tell which of two things is meant, and the sort and id of the item that has it.

    `inside`: the name of the port, contact or node of a part that has it.
    """

    sort: str
    id: str
    sentence: str
    inside: str = ""


def clashes(plant: Plant) -> Iterator[Clash]:
    """Yield every alias that two things have, or one has and another as its id, address or name."""
    names = plant.names
    if not names:
        return
    things: list[tuple[str, Mapping[str, Any]]] = [
        ("unit", plant.units),
        ("place", plant.places),
        ("part", plant.parts),
    ]
    for sort, table in things:
        for thing in table.values():
            for alias in map(folded, thing.aliases):
                other = _other(plant, thing.id, alias)
                if other:
                    yield Clash(sort, thing.id, f"the alias {alias} is {other} already")
    for part in plant.parts.values():
        yield from _inside(part)


def _other(plant: Plant, own: str, alias: str) -> str:
    """Return what else an alias means, "" when nothing does."""
    other = next((address for address in plant.names.meant(alias, ANYTHING) if address != own), "")
    if not other:
        return ""
    what = plant.sort_of(other)
    return f"the {'address' if ':' in other else 'id'} of a {what}" if other == alias else f"that of {other}"


def _inside(part: Part) -> Iterator[Clash]:
    for alias, names in aliases_in(part).items():
        also = [one for one in (*part.ports, *part.nodes) if one == alias and one not in names]
        if also:
            sentence = f"{names[0]}: the alias {alias} is the name of another port or node already"
            yield Clash("part", part.id, sentence, names[0])
        elif names[1:]:
            sentence = f"{names[1]}: the alias {alias} is that of {names[0]} already"
            yield Clash("part", part.id, sentence, names[1])
