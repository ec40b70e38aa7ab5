"""Random histories with corrections, in a journal and on a page of plain code that says what must come of them.

A page is a value. Of each family of laws its own code tells what an event, in letters, makes of a page.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeVar

import pytest
from hypothesis import strategies as st

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import View
from cfgtrack.model.time import parse_instant
from cfgtrack.model.trouble import Refused
from cfgtrack.store.audit import audit
from cfgtrack.store.journal import Journal, open_journal
from cfgtrack.store.upkeep import rebuild
from cfgtrack.store.view import SqlView

START = parse_instant("2031-01-01T00:00:00Z")
NOW = START + 1_000_000

P = TypeVar("P")


def opened(url: str) -> Journal:
    """Return a journal of a fixed present."""
    return open_journal(url, clock=lambda: NOW)


def view_of(journal: Journal, at: int, known: int) -> View:
    """Return a configuration of which each thing is asked for by itself."""
    return SqlView(journal.database, journal.plant(), at, known)


@dataclass(frozen=True)
class Line:
    """One event as the page has it. `ended`: the line from which on it no longer counts.

    `wrote`: what it is recorded to have changed, beyond its words: which mate went, which defect was meant.
    """

    letters: str
    happened: int
    turn: int
    id: str
    known: int
    wrote: object
    ended: int = 10**9


@dataclass(frozen=True)
class Paged(Generic[P]):
    """The code of a page. `blank`: the page to begin with; `actions`: the letters of all that may be drawn.

    `step`: the page after an event, None where that is impossible; `changes`: what an event changes beyond its words.
    `said`: the action of letters, at a tick, by an id; `seen`: the page that a configuration amounts to.
    """

    blank: P
    actions: Sequence[str]
    step: Callable[[P, str], P | None]
    changes: Callable[[P, str], object]
    said: Callable[[str, int, str], Action]
    seen: Callable[[View], P]

    def replayed(self, lines: list[Line], at: int = 10**9, line: int = 10**8) -> P | None:
        """Return the page after all that counts, in the order of time; None where one of them can't have been so.

        Nor can one that would have changed something else than is recorded of it.
        """
        page: P | None = self.blank
        for one in sorted(lines, key=lambda one: (one.happened, one.turn)):
            if page is not None and one.known <= line < one.ended and one.happened <= at:
                page = self.step(page, one.letters) if one.wrote == self.changes(page, one.letters) else None
        return page

    def judges(self, data: st.DataObject, url: str, begin: Callable[[Journal], Any]) -> None:
        """Draw a history: what is taken, and what is so at any time as known at any time, is what the page says.

        A row is taken exactly where all that then counts, from the first to the last, is possible on the page.
        """
        with opened(url) as journal:
            begin(journal)
            lines: list[Line] = []
            known_at = [journal.moment()[1]]
            for number in range(1, data.draw(st.integers(4, 16)) + 1):
                action, ahead = self._drawn(data, number, lines, len(known_at))
                if self.replayed(ahead) is None:
                    with pytest.raises(Refused):
                        journal.record([action])
                    continue
                journal.record([action])
                lines = ahead
                known_at.append(journal.moment()[1])
            for tick in range(8):
                for line, known in enumerate(known_at):
                    expected = self.replayed(lines, tick, line)
                    assert self.seen(journal.configuration(START + tick, known)) == expected
                    assert self.seen(view_of(journal, START + tick, known)) == expected
            assert audit(journal.database).is_sound
        rebuild(url)
        with opened(url) as journal:
            assert audit(journal.database).is_sound
            assert self.seen(journal.configuration(NOW)) == self.replayed(lines)

    def _drawn(
        self, data: st.DataObject, number: int, lines: list[Line], known: int
    ) -> tuple[Action, list[Line]]:
        """Draw what is said next, something new or a correction; return it, and the lines once it is taken."""
        how = data.draw(st.sampled_from(["new", "new", "new", "supersede", "withdraw"]))
        counting = [one for one in lines if one.ended == 10**9]
        target = data.draw(st.sampled_from(counting)) if how != "new" and counting else None
        tick = data.draw(st.integers(1, 6))
        if target is not None and how == "supersede" and data.draw(st.booleans()):
            tick = target.happened
        ahead = [one if one is not target else replace(one, ended=known) for one in lines]
        if target is not None and how == "withdraw":
            gone = Action(f"w{number}", "withdraw", (), NOW, withdraws=target.id, reason="was not so")
            return gone, ahead
        there = self.replayed(lines, tick) or self.blank
        likely = [letters for letters in self.actions if self.step(there, letters) is not None]
        letters = data.draw(st.sampled_from([*likely, *likely, *self.actions]))
        action = self.said(letters, tick, f"n{number}")
        turn = 1000 + number
        if target is not None:
            action = replace(action, supersedes=target.id, reason="was otherwise")
            turn = target.turn if target.happened == tick else turn
        before = [one for one in ahead if (one.happened, one.turn) < (tick, turn)]
        wrote = self.changes(self.replayed(before) or self.blank, letters)
        return action, [*ahead, Line(letters, tick, turn, action.id, known, wrote)]
