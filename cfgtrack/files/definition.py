"""Reads a hardware definition: TOML files and the CSV files that they name.

Everything is checked against everything, and every error of every file is told at once: the definition is
whole, or there is none.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, cast

from cfgtrack.files.fields import Fields, Ids, id_of
from cfgtrack.files.fingerprint import Fingerprint
from cfgtrack.files.gather import Gathered, ReadRaw
from cfgtrack.files.initial import read_initial
from cfgtrack.files.kinds import read_kind, read_medium
from cfgtrack.files.parts import Known, PartRows, read_part
from cfgtrack.files.people import names_nothing, read_permission, read_person, shared
from cfgtrack.files.places import circles, read_place, read_setting, read_unit
from cfgtrack.files.source import Document, Spot, in_order, parse_toml, read_document, read_named, read_raw
from cfgtrack.files.table import Table
from cfgtrack.folders import top_folder
from cfgtrack.model.action import Action
from cfgtrack.model.definition import SORTS, Definition
from cfgtrack.model.kind import Medium
from cfgtrack.model.naming import Clash, clashes, folded
from cfgtrack.model.part import Part
from cfgtrack.model.people import Permission, Person
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.trouble import BadInput, Problem, Problems


def read_definition(
    paths: Sequence[Path], base: Definition | None = None, *, may_fit_ill: bool = False
) -> Definition:
    """Read definition files on top of `base` (None: the shipped media and kinds) into one definition.

    An item of a file replaces the item of `base` with the same id. Raises BadInput with every problem of
    every file, in the order of the files and their lines. With `may_fit_ill` initial joints that don't fit are no
    problem by themselves, but `Definition.unfit`: whoever knows what is made has to judge them.
    """
    problems, fingerprint = Problems(), Fingerprint()
    read = fingerprint.reading(read_raw)
    documents = [document for path in paths if (document := read_document(path, problems, read)) is not None]
    order = [str(path) for path in paths]
    named = fingerprint.reading(read_named)
    found = _definition(
        documents, base if base is not None else shipped(), named, problems, order, may_fit_ill=may_fit_ill
    )
    return found if base is not None else replace(found, fingerprint=fingerprint.text())


def parse_definition(
    texts: Mapping[str, str],
    base: Definition | None = None,
    *,
    sheets: Mapping[str, str | bytes] | None = None,
) -> Definition:
    """Read a definition from texts by file name. `sheets` are the tables that they name: CSV, or a workbook's bytes.

    Raises BadInput as `read_definition` does.
    """
    problems = Problems()
    found = [parse_toml(name, text, problems) for name, text in texts.items()]
    documents = [document for document in found if document is not None]

    def read(path: Path, problems: Problems) -> bytes | None:
        found = (sheets or {}).get(str(path))
        if found is None:
            problems.add(str(path), "no-such-file", "there is no such file")
        return found.encode("utf-8", "surrogatepass") if isinstance(found, str) else found

    return _definition(documents, base if base is not None else shipped(), read, problems, list(texts))


@cache
def shipped() -> Definition:
    """Return the media and kinds that ship with cfgtrack."""
    file = top_folder("shared") / "kinds.toml"
    return parse_definition({file.name: file.read_text(encoding="utf-8")}, Definition())


def _definition(
    documents: Iterable[Document],
    base: Definition,
    read: ReadRaw,
    problems: Problems,
    order: list[str],
    *,
    may_fit_ill: bool = False,
) -> Definition:
    gathered = Gathered(problems, unread=list(problems.found))
    for document in documents:
        gathered.document(document, read)
    before = len(problems)
    items = _Items(gathered, base)
    for sort in SORTS:
        items.read(sort)
    items.check_owners()
    items.check_rows()
    items.check_sites()
    items.check_aliases()
    items.check_people()
    initial, unfit = read_initial(gathered.initial, items.definition(), items.declared, problems)
    if unfit and (problems or not may_fit_ill):
        problems.found.extend(problem for each in unfit.values() for problem in each)
    if problems:
        found = problems.found
        if gathered.unread:
            found = _without_what_follows(found[:before], found[before:], gathered.unread[0])
        raise BadInput(in_order(found, order))
    return replace(items.definition(initial), unfit=unfit)


def _without_what_follows(first: list[Problem], later: list[Problem], unread: Problem) -> list[Problem]:
    """Leave out things that nobody defines: they may stand in what couldn't be read. That problem says how many."""
    kept = [problem for problem in later if not problem.thing]
    number = len(later) - len(kept)
    if not number:
        return first + kept
    names = "1 name that" if number == 1 else f"{number} names that"
    told = replace(unread, sentence=f"{unread.sentence}; so {names} may stand there can't be looked up")
    return [told if problem == unread else problem for problem in first] + kept


class _Items:
    """Turns what was gathered into items, sort by sort, each against all that is declared."""

    def __init__(self, gathered: Gathered, base: Definition) -> None:
        self.gathered = gathered
        self.base = base
        self.built: dict[str, dict[str, Any]] = {}
        for sort in SORTS:
            named = gathered.named[sort]
            self.built[sort] = {name: one for name, one in base.items(sort).items() if name not in named}
        self.broken: set[str] = set()
        self.ids = {sort: self._ids(sort) for sort in SORTS}
        rows, gathered.part_rows = gathered.part_rows, {}
        for name, of_part in rows.items():
            gathered.part_rows.setdefault(id_of(name, self.ids["part"]), PartRows()).add(of_part)

    def _ids(self, sort: str) -> Ids:
        named = self.gathered.named[sort]
        ids = Ids({**self.base.items(sort), **named})
        kept = {n: one for n, one in self.base.items(sort).items() if n not in named}
        aliases = {
            **{name: getattr(one, "aliases", ()) for name, one in kept.items()},
            **{name: fields.said_aliases() for name, fields in named.items() if "aliases" in fields.values},
        }
        ids.called = {folded(alias): name for name, found in aliases.items() for alias in found}
        return ids

    def read(self, sort: str) -> None:
        """Read every item of a sort; those that don't hold together stay out."""
        for name, fields in self.gathered.named[sort].items():
            before = len(self.gathered.problems)
            item = self._item(sort, fields, name)
            if item is not None:
                self.built[sort][name] = item
            if sort == "part" and len(self.gathered.problems) > before:
                self.broken.add(name)
        for other, fields in self.gathered.nameless:
            if other == sort:
                self._item(sort, fields, "")

    def _item(self, sort: str, fields: Fields, name: str) -> Any:
        if sort == "medium":
            return read_medium(fields)
        if sort == "kind":
            return read_kind(cast("Table", fields), self.ids["medium"], self.ids["kind"])
        if sort == "part":
            known = Known(self.built["kind"], self.ids["kind"], self.ids["medium"], self.ids["place"])
            return read_part(fields, self.gathered.part_rows.get(name, PartRows()), known)
        if sort == "unit":
            return read_unit(fields, self.ids["part"], self.ids["place"])
        if sort == "setting":
            return read_setting(fields)
        if sort == "person":
            return read_person(fields, self.ids["place"])
        if sort == "permission":
            return read_permission(cast("Table", fields), self.ids["person"], self.ids["kind"])
        return read_place(fields, self.ids["part"], self.ids["place"])

    def check_owners(self) -> None:
        """Note places that stand in each other, and ids that `base` has given to the other sort of owner."""
        places: dict[str, Place] = self.built["place"]
        for circle in circles(places):
            fields = self.gathered.named["place"].get(circle[0])
            line = " in ".join([*circle, circle[0]])
            if fields is not None:
                fields.note("parent", "place-circle", f"these places stand in each other: {line}")
            for name in circle:
                del places[name]
        for sort, other in (("unit", "place"), ("place", "unit")):
            taken = self.base.items(other).keys() - self.gathered.named[other].keys()
            for name in sorted(self.gathered.named[sort].keys() & taken):
                fields = self.gathered.named[sort][name]
                fields.note("id", "duplicate", f"there is a {other} {name} already")

    def check_rows(self) -> None:
        """Note rows about parts that nobody defines in these files."""
        parts = self.gathered.named["part"]
        for name, rows in self.gathered.part_rows.items():
            if name not in parts:
                for row in rows.all():
                    row.fields(row.listing.mapping.of.removesuffix("s")).is_known("part", "part", name, parts)

    def check_sites(self) -> None:
        """Note ports whose own site is none, and people who operate what is no machine."""
        places: dict[str, Place] = self.built["place"]
        for name, fields in self.gathered.named["place"].items():
            machine = places[name].operates if name in places else ""
            if machine in places and not places[machine].mobile:
                fields.note("operates", "not-a-doer", f"{machine} doesn't move: it is no machine")
        for name, fields in self.gathered.named["part"].items():
            part: Part | None = self.built["part"].get(name)
            for port in part.ports.values() if part is not None else ():
                if port.site in places and not places[port.site].site:
                    sentence = f"{port.name}: {port.site} is no site: say `site = true` there"
                    fields.note("id", "not-a-site", sentence)

    def check_aliases(self) -> None:
        """Note aliases by which nobody can tell what is meant."""
        for clash in clashes(self.definition().plant()):
            fields = self.gathered.named[clash.sort].get(clash.id)
            spot = self._spot_inside(fields, clash) if clash.inside and fields is not None else None
            if spot is not None:
                label = f"part {clash.id}, aliases"
                self.gathered.problems.add(
                    spot.where, "duplicate", f"{label}: {clash.sentence}", row=spot.row
                )
            elif fields is not None:
                fields.note("aliases", "duplicate", clash.sentence)
            else:
                self.gathered.problems.add(clash.id, "duplicate", clash.sentence)

    def _spot_inside(self, fields: Fields, clash: Clash) -> Spot | None:
        """Return where the aliases of a port, contact or node of a part stand, in its table or in rows of lists."""
        rows = self.gathered.part_rows.get(clash.id, PartRows())
        for row in rows.all():
            shell = f"{row.text('port')}:" if row.listing.mapping.of == "contacts" else ""
            if shell + row.text("name") == clash.inside:
                return row.spot("aliases")
        for path, name in _named_inside(fields.values) if isinstance(fields, Table) else ():
            if name == clash.inside:
                return cast("Table", fields).element(*path, "aliases")
        return None

    def check_people(self) -> None:
        """Note people who stand for what can't be one, or for what is another one; permissions on nothing."""
        places: dict[str, Place] = self.built["place"]
        people: dict[str, Person] = self.built["person"]
        named = self.gathered.named
        for name, fields in named["person"].items():
            place = people[name].place if name in people else ""
            if place in places and not places[place].mobile:
                fields.note("place", "not-a-doer", f"{place} doesn't move: nobody is it")
        for what in ("place", "key", "user"):
            for name, other, value in shared(people, what):
                mine = name in named["person"]
                fields = named["person"][name if mine else other]
                fields.note(what, "duplicate", f"{value} is {other if mine else name}'s already")
        plant = self.definition().plant() if named["permission"] else Plant()
        for name, fields in named["permission"].items():
            found: Permission | None = self.built["permission"].get(name)
            if found is not None and names_nothing(plant, found.on):
                fields.note("on", "names-nothing", "nothing in the plant lies there")

    def declared(self, address: str) -> bool:
        """Return whether something of this address, or alias, may exist, though it may not hold together."""
        owner, colon, name = address.partition(":")
        while not any(owner in self.ids[sort] for sort in ("unit", "place")):
            means = [id_of(owner, self.ids[sort]) for sort in ("unit", "place")]
            if means != [owner, owner]:
                owner = next(one for one in means if one != owner)
            elif colon and ":" in name:
                more, colon, name = name.partition(":")
                owner = f"{owner}:{more}"
            elif colon:
                owner, colon, name = f"{owner}:{name}", "", ""
            else:
                return False
        for sort in ("unit", "place"):
            if owner in self.ids[sort]:
                item = self.built[sort].get(owner)
                if item is None:
                    return True
                return bool(colon) and (item.part in self.broken or item.part not in self.built["part"])
        return False

    def definition(self, initial: Sequence[Action] = ()) -> Definition:
        """Return what holds together as a definition, with the events of `initial` behind those of `base`."""
        ids = {event.id for event in initial}
        gathered = self.gathered
        origins = dict(self.base.origins)
        for sort in SORTS:
            origins.update({(sort, n): fields.spot().where for n, fields in gathered.named[sort].items()})
        media: dict[str, Medium] = self.built["medium"]
        parts: dict[str, Part] = self.built["part"]
        units: dict[str, Unit] = {n: u for n, u in self.built["unit"].items() if u.part in parts}
        places: dict[str, Place] = {
            n: p for n, p in self.built["place"].items() if not p.part or p.part in parts
        }
        return Definition(
            media=media,
            kinds=self.built["kind"],
            parts=parts,
            units=units,
            places=places,
            initial=(*(event for event in self.base.initial if event.id not in ids), *initial),
            title=gathered.title or self.base.title,
            origins=origins,
            notes=tuple(gathered.notes),
            settings=self.built["setting"],
            people=self.built["person"],
            permissions=self.built["permission"],
        )


def _named_inside(part: Mapping[str, Any]) -> Iterator[tuple[tuple[str, *tuple[str | int, ...]], str]]:
    """Yield the path of each port, contact and node in the table of a part, and its name."""
    for sort in ("port", "node"):
        for i, one in enumerate(part.get(sort, ())):
            yield (sort, i), one["name"]
            for j, contact in enumerate(one.get("contact", ())):
                yield (sort, i, "contact", j), f"{one['name']}:{contact['name']}"
