"""`load` and `plant`: the hardware definition, in and counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import click

from cfgtrack.cli import session as s

if TYPE_CHECKING:
    from cfgtrack.model.plant import Plant
    from cfgtrack.store.journal import Journal
    from cfgtrack.store.loading import LoadReport


@s.command("load")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@s.authored
@s.dry_run
def load_command(session: s.Session, /, files: tuple[Path, ...]) -> None:
    """Load a hardware definition: media, kinds, parts, units, places and the initial configuration, from TOML.

    Makes the database when there is none. Loading the same again changes nothing. What the files no longer mention
    stays. With --dry-run: says what it would add and change, field by field.
    """
    from cfgtrack.files.definition import read_definition
    from cfgtrack.show.loading import load_text
    from cfgtrack.show.moment import Moment

    definition = read_definition(list(files))
    with _journal(session) as journal:
        report = journal.load(
            definition, by=session.by, recorder=session.recorded_by, dry_run=session.dry_run
        )
        moment = Moment(*journal.moment())
        session.answer(
            moment,
            lambda: load_text(report, moment, dry_run=session.dry_run),
            lambda: {"dry_run": session.dry_run, "load": load_json(report)},
        )


@contextmanager
def _journal(session: s.Session) -> Iterator[Journal]:
    """Open the journal to load into, made when it is missing: for a dry run only a passing one."""
    if session.dry_run and "://" not in session.database and not Path(session.database).exists():
        with TemporaryDirectory() as folder:
            session.db = str(Path(folder) / "journal.db")
            with session.write(create=True) as journal:
                yield journal
    else:
        with session.write(create=not session.dry_run) as journal:
            yield journal


def load_json(report: LoadReport) -> dict[str, Any]:
    """Return what a load did as a JSON object."""
    return {
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


@s.command("plant")
@s.asked_at
def plant_command(session: s.Session) -> None:
    """Count what is defined: parts, units, places, ports by kind, links by medium."""
    from cfgtrack.show.overview import overview_text

    with session.read() as journal:
        moment = session.moment(journal)
        plant = journal.plant(moment.known)
        session.answer(moment, lambda: overview_text(plant, moment), lambda: {"plant": _counts(plant)})


def _counts(plant: Plant) -> dict[str, Any]:
    ports = Counter(port.kind for owner in plant.owners() for port in plant.part_of(owner).ports.values())
    return {
        "media": sorted(plant.media),
        "kinds": len(plant.kinds),
        "parts": len(plant.parts),
        "units": len(plant.units),
        "places": len(plant.places),
        "ports": dict(sorted(ports.items())),
    }
