"""A check that can be relied on later: kept with all that it stood on; and what of that is another one since."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar

from cfgtrack import __version__
from cfgtrack.analysis.comparison import ALL_MARGINS, Comparison, compared
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.check import Checked, check, judged
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past, kept_texts, rules_to_judge_by
from cfgtrack.answers.proposing import all_revisions, proposed
from cfgtrack.answers.record import new_id, write
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model import action as ac
from cfgtrack.model.action import Action
from cfgtrack.model.event import Entry, LogLine
from cfgtrack.model.kept import KeptCheck, kept_check_of, rules_digest
from cfgtrack.model.plan import MOST_NAME, digest_of
from cfgtrack.model.plant import owner_of
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, Misput, NoAnswer, Problem, Trouble
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.store.journal import Journal
from cfgtrack.store.proof import head_as_known

LEFT = "left"
"""What a check of what is left of the plan in force is kept under, where no name is said."""


def check_and_keep(asking: Asking, path: Path | None = None, *, name: str | None = None) -> Checked:
    """Check a sequence file, or what is left of the plan in force, by the rules kept, and keep what comes of it.

    It is kept in the journal, under a name, else the file's.

    Misput where the asking is for what was known at another time: what is kept stands on all that is known.
    """
    if asking.known_at is not None:
        raise Misput("What is kept stands on all that is known: leave out --known-at.")
    text = _what_is_left(asking) if path is None else path.read_text(encoding="utf-8")
    checked = check(replace(asking, by=None), path)
    if path is None and _what_is_left(asking) != text:
        raise BadInput(Problem("plan", "changed", "something was done while it was checked: check it again"))
    if path is not None and path.read_text(encoding="utf-8") != text:
        raise BadInput(Problem(str(path), "changed", "it was changed while it was checked: check it again"))
    report, moment = checked.check, checked.moment
    assert moment.known is not None
    starts = [outing.start for outing in report.outings[:1] if outing.start is not None]
    relied = {
        approval.event
        for finding in report.excused
        if finding.approved is not None
        for approval in finding.approved.running
    }
    with asking.write() as journal:
        head = head_as_known(journal.database, moment.known)
        body: dict[str, Any] = {
            "name": (name or (LEFT if path is None else path.stem))[:MOST_NAME],
            "text": text,
            "sha256": digest_of(text),
            "verdict": str(report.verdict),
            "said_for": report.said_for,
            "at": moment.at,
            "known": moment.known,
            "until": starts[0] if starts else None,
            "findings": list(dict.fromkeys(code for f in report.counted for code in f.fingerprints)),
            "approvals": sorted(relied),
            "head": {"size": head.size, "root": head.root.hex()},
            "rules": rules_digest(kept_texts(journal, moment.known)),
            "tool": __version__,
        }
        by = asking.doer(journal.plant())
        action = Action(
            new_id(), ac.KEEP_CHECK, (), journal.present, body=body, by=by, recorder=asking.recorder
        )
        entry = write(asking, journal, action)
    return replace(checked, kept=kept_check_of(entry))


def _what_is_left(asking: Asking) -> str:
    """Return what is left of the plan in force, as a file."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        return sequence_text(proposed(past, None).sequence)


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is otherwise than when a check was kept: a code, the event that made it so, and a sentence."""

    code: str
    event: str | None
    sentence: str


@dataclass(frozen=True, slots=True)
class KeptStanding:
    """A check that is kept, and what of what it stood on is otherwise. `again`: the later one of the same name."""

    told: ClassVar[tuple[str, ...]] = ("stale",)

    check: KeptCheck
    changes: tuple[Change, ...]
    again: str | None = None

    @property
    def stale(self) -> bool:
        """Whether it can no longer be relied on as it stands."""
        return bool(self.changes)


@dataclass(frozen=True, slots=True)
class ChecksAnswer(Answer):
    """The checks that are kept, the last first. `file`: with which file their texts were compared, None for none."""

    checks: tuple[KeptStanding, ...]
    file: str | None = None

    @property
    def is_any_stale(self) -> bool:
        """Whether any that is the last of its name is stale."""
        return any(one.stale and one.again is None for one in self.checks)


def checks(asking: Asking, said: str | None = None, *, file: Path | None = None) -> ChecksAnswer:
    """Return every check that is kept, or those that are `said` (a name, an event, the beginning of a digest).

    Where a `file` is named: those that are `said`, else those of its name, and whether it still holds their text.
    Each with all that changed since, of what it depended on: where that isn't sure, any event counts. NoAnswer for
    none.
    """
    text = None if file is None else file.read_text(encoding="utf-8")
    said = file.stem if said is None and file is not None else said
    with asking.read() as journal:
        moment = asking.moment(journal)
        past = Past(journal, moment, strict=False)
        found = kept_checks(journal, moment.known)
        last = {one.name: one.event for one in found}
        chosen = [one for one in found if said is None or one.is_meant(said)]
        if said is not None and not chosen:
            raise NoAnswer(
                Problem(said, UNKNOWN, no_such("kept check", said, dict.fromkeys(c.name for c in found)))
            )
        told = (
            KeptStanding(
                one,
                (*_of_file(one, file, text), *_changes(past, one)),
                None if last[one.name] == one.event else last[one.name],
            )
            for one in reversed(chosen)
        )
        return ChecksAnswer(moment, tuple(told), None if file is None else str(file))


def _of_file(kept: KeptCheck, file: Path | None, text: str | None) -> Iterator[Change]:
    """Yield that a file holds another text than the one that was checked."""
    if text is not None and digest_of(text) != kept.sha256:
        sentence = f"{file} holds another text than the one that was checked (sha256 {digest_of(text)})"
        yield Change("file", None, sentence)


def kept_checks(journal: Journal, known: int | None = None) -> list[KeptCheck]:
    """Return every check that is kept and was not withdrawn, in the order in which they became known."""
    entries = sorted(journal.of_action(ac.KEEP_CHECK, known=known), key=lambda entry: entry.number)
    return [kept for entry in entries if (kept := kept_check_of(entry)) is not None]


# --- what changed -------------------------------------------------------------------------------------------------


def _changes(past: Past, kept: KeptCheck) -> Iterator[Change]:
    """Yield what is otherwise than when a check was kept."""
    journal, at = past.journal, past.moment.at
    if kept.tool != __version__:
        yield Change("tool", None, f"it was judged by cfgtrack {kept.tool}, and this is {__version__}")
    if rules_digest(kept_texts(journal, past.moment.known)) != kept.rules:
        yield Change("rules", _last_rules(journal, kept), "the rules that are kept are others")
    plan: Proposal | None = None
    try:
        plan = parse_sequence(kept.text, past.plant, name=kept.name)
    except Trouble as err:
        yield Change(
            "unreadable", None, f"it can't be read for the plant as it is: {err.problems[0].sentence}"
        )
    yield from _of_events(past, kept, plan)
    yield from _of_approvals(past, kept)
    if kept.until is None and at > kept.at:
        text = (
            f"it says no start, so it was judged as beginning at {format_instant(kept.at)}, which has passed"
        )
        yield Change("passed", None, text)
    elif kept.until is not None and at > kept.until and not _has_begun(past, plan):
        yield Change("passed", None, f"it should have begun at {format_instant(kept.until)}")


def _has_begun(past: Past, plan: Proposal | None) -> bool:
    return plan is not None and bool(plan.outings) and plan.outings[0].id in past.begun


def _last_rules(journal: Journal, kept: KeptCheck) -> str | None:
    """Return the last load of rules since."""
    since = [known for known, _ in journal.rules_loads() if known > kept.known]
    defined = {entry.known: entry.event.id for entry in journal.log_of(ac.DEFINE)}
    return defined.get(since[-1]) if since else None


_TELLS = {ac.DEFINE: "definition", ac.REVISE: "definition", ac.RETIRE: "definition"}
_ASIDE = frozenset({ac.KEEP_CHECK, ac.ADOPT, ac.ABANDON, ac.SKIP, ac.EXPLAIN, ac.APPROVE, ac.ACKNOWLEDGE})
"""What changes no configuration, nor what was ever judged; rulings are looked at by what they name."""


def _of_events(past: Past, kept: KeptCheck, plan: Proposal | None) -> Iterator[Change]:
    """Yield what has become known since that it may depend on: all that happened, save notes on other things."""
    journal = past.journal
    owners = None if plan is None else _owners(past, plan)
    rules = {known for known, _ in journal.rules_loads(past.moment.known)}
    lines: list[LogLine] = [
        line
        for line in journal.log(known=past.moment.known)
        if line.entry.known > kept.known or _came_after(line, kept, past.moment.at)
    ]
    for entry, _ in lines:
        event = entry.event
        if entry.known in rules and event.action == ac.DEFINE:
            continue
        if event.supersedes or event.withdraws:
            what = f"{event.action} {' '.join(event.subjects)}".strip()
            target = event.supersedes or event.withdraws or ""
            if not _is_aside(journal, target):
                yield Change("corrected", event.id, f"event {target} is told otherwise: {what}")
        elif event.action in _TELLS:
            yield Change(_TELLS[event.action], event.id, f"the definition is another one: {event.action}")
        elif event.action in _ASIDE:
            yield from _ruling(kept, entry)
        elif event.action in ac.NOTES and owners is not None and not _notes_on(past, event.subjects, owners):
            continue
        else:
            about = event.subjects or filter(None, (event.outing,))
            what = " ".join([event.action, *about])
            yield Change("event", event.id, f"{what} (happened {format_instant(event.happened)})")


def _came_after(line: LogLine, kept: KeptCheck, at: int) -> bool:
    """Return whether something that was known when a check was kept came after what it was asked for, and by now is.

    It was asked as of a moment before that, so it was judged without it.
    """
    event = line.entry.event
    is_of_records = event.withdraws or event.action in ac.BOOK_ACTIONS or event.action in _TELLS
    return not is_of_records and line.corrected_by is None and kept.at < event.happened <= at


def _is_aside(journal: Journal, event_id: str) -> bool:
    entry = journal.entry(event_id)
    return entry is not None and entry.event.action in _ASIDE


def _ruling(kept: KeptCheck, entry: Entry) -> Iterator[Change]:
    """Yield that what it counted was approved or acknowledged since."""
    event = entry.event
    named = {*(event.acknowledges or "").split(), *((event.body or {}).get("fingerprints") or ())}
    if event.action in (ac.APPROVE, ac.ACKNOWLEDGE) and named & {*kept.findings}:
        yield Change("ruling", event.id, f"{event.action} is of what it found")


def _of_approvals(past: Past, kept: KeptCheck) -> Iterator[Change]:
    """Yield the approvals on which it rested that were taken back, or have run out."""
    held = {variance.id: variance for variance in past.variances}
    for name in kept.approvals:
        variance = held.get(name)
        if variance is None:
            yield Change("approval", name, f"approval {name}, on which it rests, counts no longer")
        elif variance.withdrawal is not None:
            by = variance.withdrawal.event
            yield Change("approval", by, f"approval {name}, on which it rests, was taken back")
        elif variance.end is not None and variance.end <= past.moment.at:
            yield Change("approval", name, f"approval {name} ran out at {format_instant(variance.end)}")


def _owners(past: Past, plan: Proposal) -> set[str]:
    """Return the units, places and people that a plan has to do with, and those of which the rules ask something."""
    actions = [step.action for step in plan.steps]
    named = {owner_of(s) for one in actions for s in (*one.subjects, one.by, one.place) if s}
    watched = {owner_of(item) for rule in past.rules.rules for item in rule.watches(past.configuration)}
    return named | watched


def _notes_on(past: Past, subjects: Sequence[str], owners: set[str]) -> bool:
    """Return whether a note is on one of some owners, or on the part of one."""
    parts = {past.plant.part_of(owner).id for owner in owners if past.plant.has_owner(owner)}
    return any(owner_of(subject) in owners or subject in parts for subject in subjects)


# --- two revisions compared ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Side:
    """One of two revisions: what it is (a file, a kept check, a plan's revision), its sha256, what a check says.

    `judged`: of how many instances of rules it says that.
    """

    name: str
    sha256: str
    steps: int
    verdict: str
    said_for: str
    judged: int


@dataclass(frozen=True, slots=True)
class ComparedAnswer(Answer):
    """What differs between two revisions of a sequence, both judged from the same moment on."""

    before: Side
    after: Side
    comparison: Comparison

    @property
    def judged_nothing(self) -> str:
        """In which of the two nothing was judged: "A", "B", "both", "" for neither."""
        sides = [name for name, side in (("A", self.before), ("B", self.after)) if not side.judged]
        return "both" if len(sides) > 1 else "".join(sides)


def compare(asking: Asking, one: str, other: str) -> ComparedAnswer:
    """Compare two revisions of a sequence: files, kept checks, revisions of plans (a number, event, digest; `plan`).

    Both are judged by the rules kept, from the asking's moment on.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        rules = rules_to_judge_by(past)
        found = [_revision(past, said) for said in (one, other)]
        first, second = (parse_sequence(text, past.plant, name=name) for name, text in found)
        reports = [judged(past, rules, plan, margins=ALL_MARGINS) for plan in (first, second)]
        before, after = (
            Side(name, digest_of(text), len(plan.steps), str(report.verdict), report.said_for, report.judged)
            for (name, text), plan, report in zip(found, (first, second), reports, strict=True)
        )
        return ComparedAnswer(past.moment, before, after, compared(first, second, *reports))


def _revision(past: Past, said: str) -> tuple[str, str]:
    """Return what a revision is called, and its text. NoAnswer where nothing is called so."""
    if Path(said).is_file():
        return said, Path(said).read_text(encoding="utf-8")
    revisions = all_revisions(past.journal, past.moment)
    for revision in reversed(revisions):
        if (said == "plan" and revision.in_force) or revision.is_meant(said):
            return revision.called, revision.text
    kept = kept_checks(past.journal, past.moment.known)
    for check_ in reversed(kept):
        if check_.is_meant(said):
            return f"{check_.name}, kept in {check_.event}", check_.text
    known = dict.fromkeys([*(one.name for one in kept), *(str(one.number) for one in revisions)])
    raise NoAnswer(Problem(said, UNKNOWN, no_such("file, kept check or plan", said, known)))
