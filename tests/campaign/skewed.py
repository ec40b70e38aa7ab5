"""Consoles whose clocks are wrong, taking turns at one journal: what becomes of `known`, and who is told.

    python -m tests.campaign --only clocks --seed 1

What is expected is worked out here from three numbers - what the clock says, when the last event became known, what
the plant allows - and from nothing of the program. In a file a clock that is further ahead than allowed is refused,
before anything is written, with the size of the jump, unless its day is accepted, which is marked; one that is behind
is told and marked, and `known` goes on from the last write. Where it is from before what is recorded nobody knows when
something happened: that is asked, and then it is as any that is behind. A server stamps for itself, whatever the
consoles say. And whatever somebody was told is recorded, everybody sees as known now.
"""

from __future__ import annotations

import random
import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from cfgtrack.model.time import DAY, HOUR, MINUTE, SECOND, format_instant, parse_instant
from tests.campaign.outcome import Lost, Outcome, Wrong, chance_of
from tests.cli import world
from tests.cli.conftest import Answer, Command

ALLOWED = HOUR
SKEWS = (
    0, 0, 0, -500 * DAY, -3 * DAY, -HOUR, -5 * MINUTE, -2 * SECOND, 2 * SECOND, 5 * MINUTE, 50 * MINUTE, 3 * HOUR,
    40 * DAY, 500 * DAY,
)  # fmt: skip
"""How far the consoles' clocks are off."""
HANDOVER = parse_instant("2031-05-01T08:00:00Z")
"""When the record begins: the instant of the plant's initial configuration."""
PLANT = world.PLANT + '\n[[setting]]\nid = "clock-ahead"\nvalue = "1 h"\n'


def clocks(folder: Path, rounds: int, seed: int, url: str = "") -> Outcome:
    """Have consoles with wrong clocks record in turn, so many times; at the server's `url`, or in a file."""
    outcome = Outcome(f"skewed clocks, {'postgresql' if url else 'sqlite'}")
    chance = chance_of(seed, "clocks")
    with _as_it_is():
        consoles = _Consoles(folder, url)
        for n in range(rounds):
            skew = chance.choice(SKEWS)
            with outcome.case(f"round {n}, a clock that is {skew / HOUR:+.4g} h off"):
                outcome.became(consoles.round(n, skew, chance))
        if consoles.right("audit").status:
            outcome.became("unnoticed", "the audit at the end isn't sound")
    return outcome


@contextmanager
def _as_it_is() -> Iterator[None]:
    """Have clocks be judged as they are outside the tests."""
    import pytest

    from tests.clocks import as_it_is

    with pytest.MonkeyPatch.context() as patch:
        as_it_is(patch)
        yield


class _Consoles:
    def __init__(self, folder: Path, url: str) -> None:
        self.folder = folder
        self.url = url
        self.served = bool(url)
        # A server's clock can't be set: there the true time is the machine's.
        self.now = self._machine() if self.served else parse_instant("2031-05-01T09:00:00Z")
        self.right = self._at(0)
        plant = folder / "plant.toml"
        plant.write_text(PLANT)
        self._ok(self.right("load", plant, "--by", "survey", "--sure"))

    @staticmethod
    def _machine() -> int:
        return time.time_ns() // 1_000

    def _at(self, skew: int) -> Command:
        """Return a console whose clock is so far off; each has its own memory of heads."""
        name = self.folder / f"console{skew}"
        name.mkdir(exist_ok=True)
        console = Command(name)
        console.db = self.url or self.folder / "plant.db"  # type: ignore[assignment]
        console.ticks = iter(lambda: self._machine() + skew if self.served else self.now + skew, None)
        return console

    @staticmethod
    def _ok(answer: Answer) -> Answer:
        if answer.status not in (0, 3) or "BEWARE" in answer.err:
            raise Wrong(f"ends in {answer.status}: {answer.err[:300]}")
        return answer

    def _last(self) -> tuple[int, int, int, str]:
        """Return number, known and happened of the last event, and its content."""
        sql = "SELECT number, known, happened, body FROM event ORDER BY number DESC LIMIT 1"
        if self.served:
            import psycopg

            with psycopg.connect(self.url) as connection:
                row = connection.execute(sql.encode()).fetchone()
        else:
            with closing(sqlite3.connect(self.folder / "plant.db")) as opened:
                row = opened.execute(sql).fetchone()
        assert row is not None
        return row[0], row[1], row[2], row[3]

    def round(self, n: int, skew: int, chance: random.Random) -> str:
        """Let time pass, and one console record something."""
        self.now += chance.randrange(10 * MINUTE)
        number, last, *_ = self._last()
        console = self._at(skew)
        words = ("inspect", "PUMP-1", "--id", f"E{n}")
        before = self._machine()
        clock = before + skew if self.served else self.now + skew
        answer = console(*words)
        refused = not self.served and clock - last > ALLOWED
        if refused:
            self._expect_refused(answer, clock, last)
            if self._last()[0] != number:
                raise Wrong("it was refused, and something was written")
            if chance.random() < 0.8:
                return "refused"
            answer = console(*words, "--accept-clock", format_instant(clock)[:10])
        elif not self.served and (clock < HANDOVER or skew < 0):
            if answer.status == 2 and "say when it happened: " in answer.err:
                answer = console(*words, "--at", format_instant(self.now))
                if "unlikely-time" in answer.err:
                    answer = console(*words, "--at", format_instant(self.now), "--sure")
            elif clock < HANDOVER:
                raise Wrong(f"it isn't asked when it happened: {answer.status} {answer.err[:200]}")
        self._ok(answer)
        made, known, happened, body = self._last()
        if made != number + 1 or known <= last:
            raise Wrong(f"known {known} of number {made} after {last} of number {number}")
        if self.served:
            self._expect_the_servers(known, happened, before)
        else:
            self._expect_stamped(answer, clock, last, known, body, accepted=refused)
        self._expect_seen(f"E{n}", chance)
        return "found"

    def _expect_refused(self, answer: Answer, clock: int, last: int) -> None:
        days = f"{(clock - last) // DAY} d"
        if answer.status != 3 or "--accept-clock" not in answer.err:
            raise Wrong(f"a jump of {days} isn't refused: {answer.status} {answer.err[:200]}")
        if clock - last > 10 * DAY and days not in answer.err:
            raise Wrong(f"the jump of {days} isn't told: {answer.err[:300]}")

    def _expect_stamped(
        self, answer: Answer, clock: int, last: int, known: int, body: str, *, accepted: bool
    ) -> None:
        if known != max(clock, last + 1):
            raise Wrong(f"known {known}, by a clock of {clock} after {last}")
        behind = clock <= last - SECOND
        marked = re.search(r'"clock":(-?\d+)', body)
        if (accepted or behind) != (marked is not None):
            raise Wrong(f"a clock {clock - last} us off the last write: marked {marked and marked[1]}")
        if marked and int(marked[1]) != clock - last:
            raise Wrong(f"it is {clock - last} us off, and marked as {marked[1]}")
        if (accepted or behind) != ("clock:" in answer.err):
            raise Wrong(f"a clock {clock - last} us off the last write: told {answer.err[:200]!r}")

    def _expect_the_servers(self, known: int, happened: int, before: int) -> None:
        after = self._machine()
        for name, when in (("known", known), ("happened", happened)):
            if not before - SECOND <= when <= after + SECOND:
                raise Wrong(f"{name} {when} is not of the server's clock, {before} to {after}")

    def _expect_seen(self, event: str, chance: random.Random) -> None:
        for skew in (0, chance.choice(SKEWS)):
            console = self._at(skew)
            answer = self._ok(console("history", "PUMP-1"))
            if not re.search(rf"\b{event}\b", answer.out):
                raise Lost(f"{event} isn't seen as known now by a console {skew / HOUR:+.4g} h off")
