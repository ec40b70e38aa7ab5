"""What people say of when something happened, held against the clock and the record before it is recorded.

What is hardly so is asked: whoever said it says it again, with `sure`. See `model/present.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from cfgtrack.answers.asking import Asking
from cfgtrack.model import action as ac
from cfgtrack.model.action import Action, Sourced
from cfgtrack.model.definition import Definition
from cfgtrack.model.present import NOTABLE, Hours, Record, blames_clock, doubts, now, outside, size_of, stamp
from cfgtrack.model.setting import HAPPENED_AHEAD, HAPPENED_LATE
from cfgtrack.model.time import format_instant, is_instant
from cfgtrack.model.trouble import Problem, Refused
from cfgtrack.store.journal import Journal

UNLIKELY = "unlikely-time"

_MOST_OPEN = 100_000
"""Of so many rows of outings that haven't ended it is remembered when they happened, to hold them against the end."""


def expect_timely(asking: Asking, journal: Journal, actions: Iterable[Action]) -> None:
    """Raise Refused where the time that is said of an action that isn't recorded yet is hardly right.

    Not where the asking is sure. Where it says no time that is now, and only its outing may say otherwise.
    """
    if asking.sure:
        return
    new = [a for a in actions if journal.entry(a.id) is None and (asking.at is not None or _outing(a))]
    if not new:
        return
    record, hours = _record(journal), journal.hours() if any(map(_outing, new)) else {}
    problems = [
        Problem("--at", UNLIKELY, asked(why))
        for action in new
        for why in (
            *(_doubts(journal, record, action) if asking.at is not None else ()),
            *_outside(action, hours),
        )
    ]
    if problems:
        raise Refused(problems)


def clock_notes(journal: Journal, *, is_now: bool = False) -> Iterator[str]:
    """Yield what is to be told of the clocks by which something was just recorded, which may have happened now."""
    off = journal.clock_off()
    own, present = journal.clocks()
    whose = "this one" if own == present else "the server's"
    if off is not None and off[0] < 0:
        yield _behind(whose, *off, is_now=is_now)
    elif off is not None:
        yield (
            f"clock: {whose} says {format_instant(sum(off))}, {size_of(off[0])} after the last entry was recorded:"
            " what is recorded now is marked"
        )
    if abs(own - present) > NOTABLE:
        yield (
            f"clock: this console's says {format_instant(own)}, the server's {format_instant(present)}: one of them is"
            " wrong. What is recorded goes by the server's."
        )


def slow_clock(journal: Journal) -> Iterator[str]:
    """Yield what is to be told beside the trouble that something now has met, where the clock is behind."""
    last = journal.recorded_last()
    if last is not None and stamp(journal.present, last, most=0).off < 0:
        yield _behind("this one", journal.present - last, last, is_now=True)


def _behind(whose: str, off: int, last: int, *, is_now: bool) -> str:
    taken = (
        " It is taken to have happened when this clock says: if not, correct it with --at." if is_now else ""
    )
    return (
        f"clock: {whose} says {format_instant(last + off)}; the last entry was recorded {size_of(off)} later,"
        " by another clock or before it was set back: one of them is wrong. What is recorded now comes after that, and"
        f" is marked.{taken}"
    )


def asked(why: str) -> str:
    """Return what is asked where a time is hardly right."""
    return f"{why}: if that is so, say --sure"


def expect_begun(asking: Asking, journal: Journal, definition: Definition) -> None:
    """Raise Refused for an initial configuration of the future that isn't recorded yet, unless the asking is sure."""
    last = max(definition.initial, key=lambda action: action.happened, default=None)
    if last is None or asking.sure:
        return
    here, by = _now(journal)
    record = Record(here, definition.plant().span(HAPPENED_AHEAD), 0, by=by)
    for why in doubts(last.happened, record):
        if journal.entry(last.id) is None:
            raise Refused(Problem(definition.origins.get(("initial", ""), "initial"), UNLIKELY, asked(why)))


def _now(journal: Journal) -> tuple[int, str]:
    """Return what is now, and by which clock where that isn't this one."""
    here, present = now(journal.present, journal.written()), journal.present
    return (
        here,
        f"the last write's; this clock says {format_instant(present)}" if here - present > NOTABLE else "",
    )


def _record(journal: Journal) -> Record:
    """Return what a time is held against in a journal as it is now."""
    plant, written = journal.plant(), journal.recorded_last() or 0
    here, by = _now(journal)
    ahead = plant.span(HAPPENED_AHEAD)
    # What is done to the record, to correct it, say, is done when it is found out: that is nothing to be late for.
    last = journal.last_done(written, here + ahead)
    return Record(here, ahead, plant.span(HAPPENED_LATE), last, journal.handover(), by)


def _doubts(journal: Journal, record: Record, action: Action) -> Iterator[str]:
    """Yield why the time of an action is hardly right."""
    if action.supersedes:
        # What is corrected may be as old as it is: of that time nobody is surprised.
        old = journal.entry(action.supersedes)
        if old is not None and old.event.happened == action.happened:
            return
        if old is not None and record.last is not None:
            record = replace(record, last=min(record.last, old.event.happened))
        if blames_clock(action.reason):
            # How far a clock was off nobody is surprised at, who says that it was.
            record = replace(record, last=None)
    yield from doubts(action.happened, record)


def _outing(action: Action) -> str:
    """Return the outing whose hours an action should be in, "" for none."""
    return "" if action.action in (ac.BEGIN, *ac.BOOK_ACTIONS) else action.outing or ""


def _outside(action: Action, hours: dict[str, Hours]) -> Iterator[str]:
    """Yield why an action is hardly of its outing."""
    found = hours.get(_outing(action))
    if found is not None:
        # Where it ends again it has been going on.
        yield from outside(action.happened, replace(found, ended=None) if action.action == ac.END else found)


class TimelyRows:
    """Holds the times of rows, as they come, against a journal as it was before them.

    An outing may begin and end in the rows themselves, in any order: what that makes unlikely of rows that have passed
    is `late`; of rows that are read twice it is foreseen, and none is late.
    """

    def __init__(self, journal: Journal) -> None:
        self.late: list[Problem] = []
        self._journal = journal
        self._known = journal.recorded_last() or 0
        self._record = record = _record(journal)
        self._first = max(
            -(2**63) if record.handover is None else record.handover,
            -(2**63) if record.last is None else record.last - record.late,
        )
        self._hours = journal.hours()
        self._open: dict[str, list[tuple[str, str, int]]] = {}
        self._remembered = 0
        self._is_foreseen = False

    def foresee(self, rows: Iterable[Sourced]) -> None:
        """Take in when outings begin and end in the rows, before any of them is looked at."""
        marks = [
            action
            for _, action in rows
            if action.outing and action.action in (ac.BEGIN, ac.END) and is_instant(action.happened)
        ]
        for action in sorted(marks, key=lambda action: action.happened):
            self._note(action.action, action.outing or "", action.happened)
        self._is_foreseen = True

    def problem(self, row: Sourced) -> Problem | None:
        """Return what is unlikely of a row's time, None where nothing is, or where it is recorded already."""
        where, action = row
        if not is_instant(action.happened) or action.initial or action.action in ac.DEFINITIONS:
            return None  # the gate says more of the one, and the other is not taken from rows
        is_plain = self._first <= action.happened <= self._record.now + self._record.ahead
        if is_plain and not action.outing:
            return None
        if action.outing and not self._is_foreseen:
            self._note(action.action, action.outing, action.happened)
        doubted = () if is_plain else _doubts(self._journal, self._record, action)
        why = "; ".join((*doubted, *_outside(action, self._hours)))
        if why:
            return Problem(where, UNLIKELY, asked(why)) if self._is_new(action.id) else None
        outing = _outing(action)
        if outing and not self._is_foreseen and self._remembered < _MOST_OPEN:
            hours = self._hours.get(outing)
            if hours is None or hours.ended is None:
                self._open.setdefault(outing, []).append((where, action.id, action.happened))
                self._remembered += 1
        return None

    def _is_new(self, event_id: str) -> bool:
        found = self._journal.entry(event_id)
        return found is None or found.known > self._known

    def _note(self, action: str, outing: str, at: int) -> None:
        """Take in that an outing begins or ends in a row, and look again at its rows that have passed."""
        before = self._hours.get(outing)
        if action == ac.BEGIN:
            self._hours[outing] = (before or Hours(outing, at)).begun(at)
        elif action == ac.END and before is not None:
            self._hours[outing] = before.over(at)
        hours = self._hours.get(outing)
        if hours is None or hours == before:
            return
        still = []
        for where, name, happened in self._open.pop(outing, []):
            why = "; ".join(outside(happened, hours))
            if not why:
                still.append((where, name, happened))
            elif self._is_new(name):
                self.late.append(Problem(where, UNLIKELY, asked(why)))
        if hours.ended is None:
            self._open[outing] = still
        else:
            self._remembered -= len(still)
