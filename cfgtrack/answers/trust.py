"""Why can the record be believed? Audits, tree heads, and proofs for somebody without the database."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TextIO

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.console import Forgotten
from cfgtrack.answers.moment import Answer, Moment, now_of
from cfgtrack.answers.past import Past, first_wrong_memory
from cfgtrack.files.source import decode
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, Misput, Problem, Problems, Trouble
from cfgtrack.store import audit as store
from cfgtrack.store import proof
from cfgtrack.store.audit import Fault
from cfgtrack.store.journal import Journal
from cfgtrack.store.proof import Head, current_head, prove_consistency, signed_in, verify_proof

_MOST_OF_A_HEAD = 1_000
"""A file that holds a head holds no more bytes than these before its end."""


@dataclass(frozen=True, slots=True)
class Audited(Answer):
    """What an audit found: see `AuditReport`. There is a head to keep only of a journal that is sound."""

    sound: bool
    events: int
    head: Head | None
    faults: tuple[Fault, ...]
    signed: int
    doubts: tuple[Fault, ...]
    logins: int
    roles: bool


def audit(asking: Asking, *, kept: str | None = None, state: bool = True) -> Audited:
    """Compute everything anew, the derived states too with `state`, and compare; also with a head that was `kept`.

    `kept` is the text of a head, or the name of a file that holds it; BadInput when it is neither.
    """
    head = None if kept is None else _read_head(kept)
    with asking.read() as journal:
        report = store.audit(journal.database, kept=head, state=state)
        # A journal that isn't sound may not be able to tell its last event.
        moment = asking.recorded(journal) if report.is_sound else Moment(journal.present)
        if state and report.is_sound:
            report.faults.extend(_remembered(journal))
    sound = report.is_sound
    return Audited(
        moment,
        sound,
        report.events,
        report.head if sound else None,
        tuple(report.faults),
        report.signed,
        tuple(report.doubts),
        report.logins,
        report.roles,
    )


def _remembered(journal: Journal) -> Iterator[Fault]:
    """Yield a fault for the first checkpoint that isn't what judging the journal from its beginning gives."""
    past = Past(journal, now_of(journal), strict=False)
    try:
        fault = first_wrong_memory(past)
    except Trouble as err:
        # Rules that no longer fit the plant: nobody goes on from what they remember.
        if any(problem.code == "corrupt" for problem in err.problems):
            yield Fault("state", "what the rules remember can't be read")
        return
    if fault is not None:
        sentence = f"what the rules remember at {format_instant(fault)} is not what the journal gives"
        yield Fault("state", sentence)


@dataclass(frozen=True, slots=True)
class Headed(Answer):
    """The tree head: what stands for everything recorded so far."""

    head: Head


def head(asking: Asking) -> Headed:
    """Return the tree head."""
    with asking.read() as journal:
        moment = asking.recorded(journal)
        return Headed(moment, current_head(journal.database))


def forget(asking: Asking, *, reason: str) -> Forgotten:
    """Have the console forget what it has seen of the journal, and of what stood here; Misput without a reason."""
    if not reason.strip():
        raise Misput("Say why with --reason.")
    if asking.console is None:
        raise Misput("There is no console that remembers anything.")
    with replace(asking, console=None).read() as journal:
        return asking.console.forget(journal, reason, journal.present)


def prove(asking: Asking, event_id: str) -> dict[str, Any]:
    """Return a proof, as JSON has it, that an event is in the journal. NoAnswer when it isn't."""
    with asking.read() as journal:
        return proof.prove(journal.database, event_id)


def prove_growth(asking: Asking, kept: str) -> dict[str, Any]:
    """Return a proof, as JSON has it, that the journal only grew since a head that was `kept`: see `audit`."""
    with asking.read() as journal:
        return prove_consistency(journal.database, _read_head(kept))


@dataclass(frozen=True, slots=True)
class SignedBy:
    """Who signed, and with which public key."""

    by: str
    key: str


@dataclass(frozen=True, slots=True)
class Verified:
    """A proof that is good, the head that it is of, and whether that is the one that was kept: None, if none was.

    `signed`: who signed the event, and with which key, None where nobody did. Whose key it is, the plant says.
    """

    head: Head
    is_kept: bool | None
    signed: SignedBy | None = None
    verified: bool = field(default=True, init=False)


def verify(proof: TextIO, *, kept: str | None = None) -> Verified:
    """Verify a proof, without any database. BadInput for a bad one. With `kept` (see `audit`): is it of that head?"""
    try:
        data = json.load(proof)
    except (ValueError, RecursionError) as err:
        raise BadInput(Problem(proof.name, "syntax", f"expected a proof as JSON: {err}")) from None
    head = verify_proof(data)
    found = signed_in(data)
    signed = None if found is None else SignedBy(found.by, found.key)
    if kept is None:
        return Verified(head, None, signed)
    wanted = _read_head(kept)
    return Verified(head, (wanted.size, wanted.root) == (head.size, head.root), signed)


def _read_head(kept: str) -> Head:
    """Return the head that an option gives, as a text or as a file. BadInput when it is neither."""
    path = Path(kept)
    if not path.is_file():
        return Head.parse(kept)
    problems = Problems()
    with path.open("rb") as file:
        text = decode(file.read(_MOST_OF_A_HEAD), kept, problems)
    problems.raise_if_any()
    return Head.parse((text or "").strip())
