"""Which hardware is defined, and what would a definition change?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer, Moment
from cfgtrack.files.definition import read_definition
from cfgtrack.model.plant import Plant
from cfgtrack.store.journal import Journal
from cfgtrack.store.loading import LoadReport


@dataclass(frozen=True, slots=True)
class Loaded(Answer):
    """What a load changed; with `dry_run` what it would change."""

    report: LoadReport
    dry_run: bool

    def data(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        report = self.report
        load = {
            "event": None if report.entry is None else report.entry.event.id,
            "added": [{"sort": sort, "id": name} for sort, name in report.added],
            "changed": [
                {"sort": c.sort, "id": c.id, "fields": [field._asdict() for field in c.fields]}
                for c in report.changed
            ],
            "same": report.same,
            "missing": [{"sort": sort, "id": name} for sort, name in report.missing],
            "initial": {"recorded": report.initial.recorded, "repeated": report.initial.repeated},
        }
        return {"dry_run": self.dry_run, "load": load}


def load(asking: Asking, files: Sequence[Path]) -> Loaded:
    """Load a hardware definition from files, into a new database where there is none. BadInput with every problem."""
    definition = read_definition(list(files))
    with _journal(asking) as journal:
        report = journal.load(definition, by=asking.by, recorder=asking.recorder, dry_run=asking.dry_run)
        return Loaded(Moment(*journal.moment()), report, asking.dry_run)


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
    """The plant as it was defined by then."""

    plant: Plant

    def data(self) -> dict[str, Any]:
        """Return how much is defined as a JSON object."""
        plant = self.plant
        kinds = (port.kind for owner in plant.owners() for port in plant.part_of(owner).ports.values())
        counts = {
            "media": sorted(plant.media),
            "kinds": len(plant.kinds),
            "parts": len(plant.parts),
            "units": len(plant.units),
            "places": len(plant.places),
            "ports": dict(sorted(Counter(kinds).items())),
        }
        return {"plant": counts}


def defined(asking: Asking) -> Defined:
    """Return the plant as it was defined."""
    with asking.read() as journal:
        moment = asking.moment(journal)
        return Defined(moment, journal.plant(moment.known))
