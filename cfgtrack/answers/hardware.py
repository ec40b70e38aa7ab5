"""Which hardware is defined, and what would a definition change?"""

from __future__ import annotations

import gc
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, ClassVar

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer, Moment
from cfgtrack.files.definition import read_definition
from cfgtrack.files.fingerprint import fingerprint_of
from cfgtrack.model.definition import Definition
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import Trouble
from cfgtrack.store.journal import Journal
from cfgtrack.store.loading import LoadReport


@dataclass(frozen=True, slots=True)
class Loaded(Answer):
    """What a load changed; with `dry_run` what it would change."""

    dry_run: bool
    load: LoadReport


def load(asking: Asking, files: Sequence[Path]) -> Loaded:
    """Load a hardware definition from files, into a new database where there is none. BadInput with every problem.

    Files that are byte for byte those of the last load, with nothing defined otherwise since, aren't read again.
    """
    again = _loaded_again(asking, files)
    if again is not None:
        return again
    with _no_collection():
        definition = read_definition(list(files))
        with _journal(asking) as journal:
            return _loaded(asking, journal, definition)


def _loaded(asking: Asking, journal: Journal, definition: Definition) -> Loaded:
    report = journal.load(definition, by=asking.by, recorder=asking.recorder, dry_run=asking.dry_run)
    return Loaded(Moment(*journal.moment()), asking.dry_run, report, notes=definition.notes)


def _loaded_again(asking: Asking, files: Sequence[Path]) -> Loaded | None:
    """Return what came of the same files when they were loaded last, None where they are others, or nobody can tell."""
    if "://" not in asking.database and not Path(asking.database).exists():
        return None
    fingerprint = fingerprint_of(files)
    if fingerprint is None:
        return None
    try:
        with asking.write() as journal:
            report = journal.loaded_again(fingerprint)
            return None if report is None else Loaded(Moment(*journal.moment()), asking.dry_run, report)
    except Trouble:  # it is told by whoever opens the journal to write
        return None


@contextmanager
def _no_collection() -> Iterator[None]:
    """Leave cycles alone meanwhile: what is read makes none, and looking for them takes as long as reading."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@contextmanager
def _journal(asking: Asking) -> Iterator[Journal]:
    """Open the journal to load into, made when it is missing: for a dry run only a passing one."""
    if asking.dry_run and "://" not in asking.database and not Path(asking.database).exists():
        with TemporaryDirectory() as folder:
            passing = replace(asking, database=str(Path(folder) / "journal.db"))
            with passing.write(create=True) as journal:
                yield journal
    else:
        with asking.write(create=not asking.dry_run) as journal:
            yield journal


@dataclass(frozen=True, slots=True)
class Defined(Answer):
    """The plant as it was defined by then: itself, and counted."""

    untold: ClassVar[tuple[str, ...]] = (*Answer.untold, "definition")

    definition: Plant
    plant: Mapping[str, Any]


def defined(asking: Asking) -> Defined:
    """Return the plant as it was defined."""
    with asking.read() as journal:
        moment = asking.moment(journal)
        plant = journal.plant(moment.known)
    kinds = (port.kind for owner in plant.owners() for port in plant.part_of(owner).ports.values())
    counts = {name: len(getattr(plant, name)) for name in ("kinds", "parts", "units", "places")}
    ports = dict(sorted(Counter(kinds).items()))
    return Defined(moment, plant, {"media": sorted(plant.media), **counts, "ports": ports})
