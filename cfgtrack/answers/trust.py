"""Why can the record be believed? Audits, tree heads, and proofs for somebody without the database."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, ClassVar, TextIO

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.console import Forgotten
from cfgtrack.answers.moment import Answer, Moment, now_of
from cfgtrack.answers.past import Past, first_wrong_memory, kept_texts
from cfgtrack.files.kept_head import kept_head
from cfgtrack.files.strict_json import strict_json
from cfgtrack.model.event import Entry
from cfgtrack.model.handover import SaidHead, TreeHead
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, Misput, Problem, Trouble, recorded_by
from cfgtrack.store import audit as store
from cfgtrack.store import proof
from cfgtrack.store.audit import Fault
from cfgtrack.store.definitions import last_load
from cfgtrack.store.journal import Journal
from cfgtrack.store.loading import RULES
from cfgtrack.store.proof import Head, current_head, prove_consistency, signed_in, verify_proof


@dataclass(frozen=True, slots=True)
class Audited(Answer):
    """What an audit found: see `AuditReport`, and the head that was kept. One to keep is only of what is sound."""

    sound: bool
    events: int
    head: Head | None
    faults: tuple[Fault, ...]
    signed: int
    doubts: tuple[Fault, ...]
    logins: int
    roles: bool
    kept: SaidHead | None


def audit(asking: Asking, *, kept: str | None = None, state: bool = True) -> Audited:
    """Compute everything anew, the derived states too with `state`, and compare; also with a head that was `kept`.

    What the console remembers of the journal counts as well: what isn't what it has seen is not sound.

    `kept` is the text of a head, in full or in short, or the name of a file that holds it; BadInput when it is neither.
    """
    head = None if kept is None else kept_head(kept, "--kept")
    with asking.read() as journal:
        report = store.audit(journal.database, kept=head, state=state)
        # A journal that isn't sound may not be able to tell its last event.
        moment = asking.recorded(journal) if report.is_sound else Moment(journal.present)
        if state and report.is_sound:
            report.faults.extend(_remembered(journal))
            report.doubts.extend(_rules_unread(journal))
        doubted = [] if asking.console is None else asking.console.doubted
        # Of itself it may be sound all the same: an older copy is, and one that was forged throughout.
        report.faults.extend(Fault(one.code, one.sentence) for one in doubted)
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
        head,
    )


def _rules_unread(journal: Journal) -> Iterator[Fault]:
    """Yield a doubt for every rules file that is kept and can't be read: the tool keeps none, plain SQL may have."""
    from cfgtrack.files.rules import parse_rules

    for name, text in kept_texts(journal).items():
        try:
            parse_rules({name: text})
        except BadInput as err:
            number, event, login = last_load(journal.database, RULES, name)
            why = err.problems[0].sentence
            sentence = f"the rules file {name} of event {event}{recorded_by(login)} can't be read: {why}"
            yield Fault("rules", sentence, number, event)


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
        return prove_consistency(journal.database, kept_head(kept, "--kept"))


@dataclass(frozen=True, slots=True)
class SignedBy:
    """Who signed, and with which public key."""

    by: str
    key: str


@dataclass(frozen=True, slots=True)
class Verified:
    """What a proof proves: of one event, its `entry`; of growth, the head that was `first`. `head` is where it leads.

    `is_kept`: whether that, or the first, is the head that was `kept`, None if none was. Only then is it `verified`:
    else it agrees with itself, as anybody's does who makes a journal of his own. `signed`: who signed the event, and
    with which key, None where nobody did. Whose key it is, the plant says.
    """

    told: ClassVar[tuple[str, ...]] = ("verified",)

    head: TreeHead
    first: TreeHead | None
    entry: Entry | None
    is_kept: bool | None
    kept: SaidHead | None
    signed: SignedBy | None

    @property
    def verified(self) -> bool:
        """Return whether it is of the journal of the head that was kept."""
        return self.is_kept is True


MOST_OF_A_PROOF = 16_000_000
"""A proof has no more characters than these: an event, and a hash for each time that the journal doubled."""


def verify(proof: TextIO, *, kept: str | None = None) -> Verified:
    """Verify a proof, without any database. BadInput for a bad one. With `kept` (see `audit`): is it of that head?"""
    try:
        text = proof.read(MOST_OF_A_PROOF + 1)
        if len(text) > MOST_OF_A_PROOF:
            raise BadInput(
                Problem(proof.name, "too-large", f"expected at most {MOST_OF_A_PROOF // 1_000_000} MB")
            )
        data = strict_json(text)
    except ValueError as err:
        raise BadInput(Problem(proof.name, "syntax", f"expected a proof as JSON: {err}")) from None
    found, by = verify_proof(data), signed_in(data)
    signed = None if by is None else SignedBy(by.by, by.key)
    wanted = None if kept is None else kept_head(kept, "--kept")
    heads = [head for head in (found.head, found.first) if head is not None]
    is_kept = None if wanted is None else any(wanted.is_of(head.size, head.root) for head in heads)
    return Verified(found.head, found.first, found.entry, is_kept, wanted, signed)
