"""Nothing is edited: what corrects, withdraws, explains or approves is an event of its own, with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.consequence import Consequence, Standing
from cfgtrack.answers.past import find_rule, kept_rules
from cfgtrack.answers.record import Recorded, new_id, recorded, said, said_time, write
from cfgtrack.files.phrase import split_phrase
from cfgtrack.model.action import APPROVE, EXPLAIN, WITHDRAW, Action
from cfgtrack.model.event import Event
from cfgtrack.model.trouble import BadInput, Misput, NoAnswer, Problem
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.store.journal import Journal


def correct(
    asking: Asking,
    target: str,
    words: Sequence[str],
    *,
    reason: str,
    event_id: str | None = None,
    basis: str | None = None,
    remark: str | None = None,
    others: Sequence[tuple[str, str]] = (),
) -> Recorded:
    """Correct a recorded event by what really happened. NoAnswer when it isn't recorded; as `record` else.

    What isn't said anew is taken from it: its time, its outing, who did it, how well it is known, its remark.
    `others` are more events, each with what really happened as one text: all are recorded as one, or none. The time,
    the basis and the remark are those of the first alone.
    """
    with asking.write() as journal:
        first = _correction(asking, journal, target, words, reason, event_id, basis, remark)
        then = replace(asking, at=None)
        more = (
            _correction(then, journal, name, _words(text), reason, event_id and f"{event_id}-{number}")
            for number, (name, text) in enumerate(others, start=2)
        )
        return _amended(asking, journal, [first, *more])


def _correction(
    asking: Asking,
    journal: Journal,
    target: str,
    words: Sequence[str],
    reason: str,
    event_id: str | None,
    basis: str | None = None,
    remark: str | None = None,
) -> Action:
    """Return the action that corrects an event."""
    old = _expect_event(journal, target)
    inside = replace(asking, outing=asking.outing or old.outing)
    happened = old.happened if asking.at is None else inside.instant(journal, asking.at, option="--at")
    told = {"outing": asking.outing, "basis": basis or old.basis, "remark": remark, "reason": reason}
    action = said(asking, journal, words, happened, event_id, **told, supersedes=target)
    taken_over = {name: getattr(action, name) or getattr(old, name) for name in ("by", "outing", "remark")}
    return replace(action, **taken_over)


def _words(text: str) -> list[str]:
    """Return the words of what really happened. BadInput for a quote that is never closed."""
    try:
        return split_phrase(text)
    except ValueError:
        sentence = "a quote is opened and never closed"
        raise BadInput(Problem("--and", "syntax", sentence, text)) from None


def withdraw(asking: Asking, target: str, *, reason: str, event_id: str | None = None) -> Recorded:
    """Withdraw a recorded event that did not happen. NoAnswer when it isn't recorded."""
    return _about(asking, WITHDRAW, target, event_id, withdraws=target, reason=reason)


def explain(asking: Asking, target: str, *, reason: str, event_id: str | None = None) -> Recorded:
    """Explain an as-found event that contradicted the record. NoAnswer when it isn't recorded."""
    return _about(asking, EXPLAIN, target, event_id, explains=target, reason=reason)


def _about(asking: Asking, action: str, target: str, event_id: str | None, **fields: str) -> Recorded:
    with asking.write() as journal:
        _expect_event(journal, target)
        return _on_the_record(asking, journal, action, event_id, **fields)


def approve(
    asking: Asking,
    subjects: Sequence[str],
    *,
    reason: str,
    rule: str | None = None,
    finding: str | None = None,
    start: str | int | None = None,
    end: str | int | None = None,
    event_id: str | None = None,
) -> Recorded:
    """Approve an exception to a rule or to one finding, for subjects and a span of time. NoAnswer for no such rule.

    Misput when nobody approves it, and when it ends before it starts.
    """
    if (rule is None) == (finding is None):
        raise Misput("Name the rule with --rule, or the finding with --finding.")
    if not asking.by:
        raise Misput("Say who approves with --by.")
    with asking.write() as journal:
        if rule is not None:
            find_rule(kept_rules(journal, None), rule)
        body: dict[str, Any] = {"rule": rule} if rule is not None else {"fingerprint": finding}
        for name, given, option in (("start", start, "--from"), ("end", end, "--until")):
            if given is not None:
                body[name] = asking.instant(journal, given, option=option)
        if "start" in body and body.get("end", body["start"] + 1) <= body["start"]:
            raise Misput("--until must be later than --from.")
        return _on_the_record(
            asking, journal, APPROVE, event_id, subjects=tuple(subjects), body=body, reason=reason
        )


def _expect_event(journal: Journal, event_id: str) -> Event:
    """Return the event with this id, in effect or not. NoAnswer when there is none."""
    entry = journal.entry(event_id)
    if entry is None:
        raise NoAnswer(Problem(event_id, UNKNOWN, no_such("event", event_id)))
    return entry.event


def _on_the_record(
    asking: Asking, journal: Journal, name: str, event_id: str | None, **fields: Any
) -> Recorded:
    """Record an action on the record itself: at the asking's time, else now, whatever the record says of the future."""
    told = said_time(asking, journal, event_id)
    happened = journal.present if told is None else told
    who = {"by": asking.by, "recorder": asking.recorder}
    action = Action(event_id or new_id(), name, happened=happened, **{"subjects": (), **who, **fields})
    return _amended(asking, journal, [action])


def _amended(asking: Asking, journal: Journal, actions: Sequence[Action]) -> Recorded:
    """Record actions that amend the record, as one. Of a correction, tell what it broke as the past now stands."""
    corrects = any(action.supersedes or action.withdraws for action in actions)
    # What can't be read is told before anything is written.
    standing = Standing(journal, *journal.moment()) if corrects and not asking.dry_run else None
    if any(action.supersedes for action in actions):
        entries = journal.correct(actions, dry_run=asking.dry_run)
    else:
        entries = [write(asking, journal, action) for action in actions]
    found = Consequence() if standing is None else standing.changed_by(entries)
    return recorded(asking, journal, entries, found)
