"""Which hardware is defined, and what would a definition change?"""

from __future__ import annotations

import gc
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, ClassVar

from cfgtrack.analysis.redefinition import Redefinition
from cfgtrack.analysis.vetting import Vetted
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.consequence import Consequence, Standing
from cfgtrack.answers.moment import Answer, now_of
from cfgtrack.answers.redefining import Redefining, needless, reason_of
from cfgtrack.answers.timely import clock_notes, expect_begun
from cfgtrack.files.definition import read_definition
from cfgtrack.files.fingerprint import fingerprint_of
from cfgtrack.model.definition import Definition
from cfgtrack.model.plant import Plant
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, Misput, Problem, Trouble
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.store.journal import Journal
from cfgtrack.store.loading import Effect, LoadReport


@dataclass(frozen=True, slots=True)
class Loaded(Answer):
    """What a load changed; with `dry_run` what it would change.

    `redefinition` is what that means for what counts; None where nothing was defined before, or nothing changes.
    `vetted` is what looks wrong then, by check: in the plant and its rules, or in rules; nothing where nothing changes.
    `findings` are what the past as it now stands breaks and hadn't, `started` the clocks that run and hadn't: of
    hardware that was loaded, where something was defined and judged before.
    """

    dry_run: bool
    load: LoadReport
    redefinition: Redefinition | None = None
    vetted: tuple[Vetted, ...] = ()
    findings: tuple[Finding, ...] = ()
    started: tuple[Clock, ...] = ()


def load(
    asking: Asking,
    files: Sequence[Path],
    *,
    effective: str | int | None = None,
    reason: str | None = None,
    corrects: str | None = None,
    back: Sequence[str] = (),
    accept: str | None = None,
    keys_lost: str | None = None,
) -> Loaded:
    """Load a hardware definition from files, into a new database where there is none. BadInput with every problem.

    What differs is so from the date that is `effective` on, for a `reason`; without one as if it always had been.
    Refused where what is recorded would be impossible. `corrects` is the id of an earlier revision that this one is
    told instead of; `back` are retired units, by any name, that are of the plant again. Misput for a date without a
    reason, or the other way round.

    Where less is guarded by a catastrophic or critical rule than before, or a joint that is made no longer fits,
    nothing is written unless `accept` says why. Files that are byte for byte those of the last load, with nothing
    defined otherwise since, aren't read again. `keys_lost` is why nobody signs keys that are loaded where all must be
    signed: nothing else is loaded with it, and every history and audit tells it. Refused where somebody can sign.
    """
    if keys_lost is not None and not keys_lost.strip():
        raise Misput("--keys-lost needs a reason.")
    if effective is not None and reason is None:
        reason = keys_lost
    if (effective is None) != (reason is None):
        raise Misput("Say both from when on it is so (--effective DATE) and why (--reason TEXT), or neither.")
    if corrects is not None and effective is None:
        raise Misput("--corrects goes with --effective: from when on is it so really?")
    if back and effective is None:
        raise Misput("--back goes with --effective: from when on is it of the plant again?")
    accept = reason_of(accept)
    again = _loaded_again(asking, files) if effective is None else None
    if again is not None:
        return replace(again, notes=needless(accept, again.load))
    with _no_collection():
        definition = read_definition(list(files), may_fit_ill=True)
        with _journal(asking) as journal:
            effect = None
            if effective is not None and reason is not None:
                at = effect_at(asking, journal, effective, option="--effective")
                units = definition.plant()
                effect = Effect(at, reason, corrects, tuple(dict.fromkeys(map(units.resolve, back))))
            return _loaded(asking, journal, definition, effect, accept, keys_lost)


def _loaded(
    asking: Asking,
    journal: Journal,
    definition: Definition,
    effect: Effect | None,
    accept: str | None,
    keys_lost: str | None,
) -> Loaded:
    expect_begun(asking, journal, definition)
    judge = Redefining(definition)
    standing = None if asking.dry_run else Standing(journal, *journal.moment())
    report = journal.load(
        definition,
        by=asking.doer(definition.plant()),
        recorder=asking.recorder,
        effect=effect,
        dry_run=asking.dry_run,
        judge=judge,
        accept=accept,
        keys_lost=keys_lost,
    )
    written = [*report.entries, *report.found]
    found = Consequence()
    # What no rule can be judged by is told already.
    if standing is not None and written and judge.found is not None and not judge.found.unfit:
        found = standing.changed_by(written, clocks=True)
    retired = [name for _, name in report.retired[:_MOST]]
    notes = (
        *definition.notes,
        *(f"note: unit {name} is in the files and retired: it stays so (--back {name})" for name in retired),
        *(f"warning: {sentence}" for sentence in judge.warnings[:_MOST]),
        *needless(accept, report),
        *(_KEYS_LOST if keys_lost is not None and report.entries else ()),
        *clock_notes(journal),
    )
    moment = now_of(journal)
    return Loaded(
        moment,
        asking.dry_run,
        report,
        judge.found,
        judge.vetted,
        found.findings,
        found.started,
        notes=notes,
    )


_KEYS_LOST = (
    "warning: nobody has signed this: `history` and every `audit` say so from now on; tell those whose keys they are",
)

_MOST = 12
"""So many of a sort are told one by one."""


def effect_at(asking: Asking, journal: Journal, given: str | int, *, option: str) -> int:
    """Return a date of effect. BadInput for one that is still to come: who knows what will be then?"""
    at = asking.instant(journal, given, option=option)
    if at > max(journal.present, journal.moment()[0]):
        sentence = f"{format_instant(at)} is still to come: what is recorded of the hardware has happened"
        raise BadInput(Problem(option, "later", sentence))
    return at


def _loaded_again(asking: Asking, files: Sequence[Path]) -> Loaded | None:
    """Return what came of the same files when they were loaded last, None where they are others, or nobody can tell."""
    if "://" not in asking.database and not Path(asking.database).exists():
        return None
    try:
        with asking.write() as journal:
            report = journal.loaded_again(partial(fingerprint_of, files))
            return None if report is None else Loaded(now_of(journal), asking.dry_run, report)
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
        moment = asking.recorded(journal)
        plant = journal.plant(moment.at, moment.known)
    kinds = (port.kind for owner in plant.owners() for port in plant.part_of(owner).ports.values())
    counts = {name: len(getattr(plant, name)) for name in ("kinds", "parts", "units", "places")}
    ports = dict(sorted(Counter(kinds).items()))
    return Defined(moment, plant, {"media": sorted(plant.media), **counts, "ports": ports})
