"""Consoles whose clocks differ, on both databases, against a page of plain code. A server's clock is its own here."""

from __future__ import annotations

import shutil
import time
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.action import Action
from cfgtrack.model.time import DAY, HOUR, SECOND
from cfgtrack.model.trouble import Refused
from cfgtrack.store.audit import audit
from cfgtrack.store.journal import Journal, open_journal
from tests.clocks import as_it_is
from tests.store.conftest import FreshUrl
from tests.store.world import DEFINITION

NOON = 1_935_403_200_000_000
MOST = 27 * DAY
"""So far a clock may be ahead of the last write where the plant doesn't say; written down here a second time."""

CONSOLES = 3
_skew = st.sampled_from([0, 1, SECOND - 1, SECOND, HOUR, 20 * DAY, 27 * DAY, 28 * DAY, 400 * DAY])
skews = st.builds(lambda size, sign: size * sign, _skew, st.sampled_from([1, -1]))
steps = st.lists(
    st.tuples(
        st.integers(0, CONSOLES - 1),
        st.sampled_from([0, 1, SECOND, HOUR, 10 * DAY]),
        st.none() | skews,
        st.booleans(),
        st.integers(1, 3),
    ),
    min_size=1,
    max_size=12,
)
"""Who writes, how much later that is, what he sets his clock off by before it, whether he names its day, how many."""


def remark(name: str, at: int) -> Action:
    """Return a remark that no two others are."""
    return Action(name, "remark", ("X",), at, remark=name)


def day(clock: int) -> str:
    """Return the day of a clock, as anybody would."""
    return time.strftime("%Y-%m-%d", time.gmtime(clock // SECOND))


def opened(url: str, clock: int, accepts: str | None = None) -> Journal:
    """Open a journal at a console whose clock stands still."""
    return open_journal(url, clock=lambda: clock, now=clock, accepts=accepts)


def known_now(url: str, clock: int) -> list[str]:
    """Return what a console sees when its user asks what is known now; at a time that he names, stamps say."""
    with opened(url, clock) as journal:
        log = [line.entry for line in journal.log(known=journal.moment()[1])]
        by_now = [entry.event.id for entry in log if entry.known <= clock]
        assert [line.entry.event.id for line in journal.log(known=clock)] == by_now
        return [entry.event.id for entry in log]


CLOSE = 121 * SECOND
"""By less nobody is told that clocks differ."""


@given(steps, st.lists(skews, min_size=CONSOLES, max_size=CONSOLES), st.sets(st.integers(0, 12)))
def test_no_now_is_wrong_in_silence(
    pattern: Path,
    tmp_path_factory: pytest.TempPathFactory,
    plan: list[tuple[int, int, int | None, bool, int]],
    off: list[int],
    blamed: set[int],
) -> None:
    """Told nothing, who asks is answered for what his clock says; a right one so for the true now, whatever others did.

    A wrong one is so answered only where a clock that is as wrong was the last to write. Where the record is further
    ahead of a clock than the plant allows, by what counts of it, nothing is answered; else its size is told.
    """
    url = str(tmp_path_factory.mktemp("now") / "journal.db")
    shutil.copy(pattern, url)
    with pytest.MonkeyPatch.context() as patch:
        as_it_is(patch)
        true, last = NOON, 0
        with opened(url, true) as journal:
            journal.load(DEFINITION, by=None, recorder=None)
            last = journal.recorded_last() or 0
        counted = [(last, True)]  # what each write's clock said, and whether it counts
        off = [*off]
        for number, (who, later, skew, names_it, _) in enumerate(plan):
            true += later
            off[who] = off[who] if skew is None else skew
            clock = true + off[who]
            with opened(url, clock, day(clock) if names_it else None) as journal:
                try:
                    journal.record([remark(f"e{number}", true)])
                except Refused:
                    continue
            marked = clock - last > MOST or clock - last <= -SECOND
            said = clock if clock > last or marked else last + 1
            last = max(clock, last + 1)
            counted.append((said, counted[-1][1] or marked))
            if number in blamed:
                with opened(url, true) as journal:
                    reason = "wrong clock: so it was"
                    taken = Action(f"w{number}", "withdraw", (), true, withdraws=f"e{number}", reason=reason)
                    try:
                        journal.record([taken])
                    except Refused:
                        continue  # a jump of the right clock, that nobody accepts here
                counted[-1] = (counted[-1][0], False)
                marked = true - last > MOST or true - last <= -SECOND
                counted.append((true if true > last or marked else last + 1, marked))
                last = max(true, last + 1)
            latest = max(said for said, counts in counted if counts)
            for mine in {0, -9000 * DAY, *off}:
                with opened(url, true + mine) as journal:
                    now, _ = journal.now()
                ahead = latest - (true + mine)
                if abs(ahead - MOST) > CLOSE:
                    assert now.is_unsure == (ahead > MOST)
                assert abs(now.at - max(true + mine, latest)) <= CLOSE
                if not now.is_unsure and not now.time_note:
                    assert abs(now.at - (true + mine)) <= CLOSE
                    assert mine <= MOST or counted[-1][0] >= true + mine - MOST - CLOSE


@given(steps, st.lists(skews, min_size=CONSOLES, max_size=CONSOLES))
def test_consoles_whose_clocks_differ(
    pattern: Path,
    tmp_path_factory: pytest.TempPathFactory,
    plan: list[tuple[int, int, int | None, bool, int]],
    off: list[int],
) -> None:
    """In a file: only a jump that nobody named is refused; nothing acknowledged is hidden; each mark is right."""
    url = str(tmp_path_factory.mktemp("clocks") / "journal.db")
    shutil.copy(pattern, url)
    with pytest.MonkeyPatch.context() as patch:
        as_it_is(patch)
        true, last, told = NOON, 0, list[tuple[str, int, int]]()
        with opened(url, true) as journal:
            journal.load(DEFINITION, by=None, recorder=None)
            last = journal.recorded_last() or 0
        off = [*off]
        for number, (who, later, skew, names_it, many) in enumerate(plan):
            true += later
            off[who] = off[who] if skew is None else skew
            clock = true + off[who]
            written = [f"e{number}-{n}" for n in range(many)]
            refused = False
            with opened(url, clock, day(clock) if names_it else None) as journal:
                try:
                    journal.record([remark(name, true) for name in written])
                except Refused as err:
                    refused = err.problems[0].code == "clock-ahead"
            # What should be so, in plain words.
            assert refused == (clock - last > MOST and not names_it)
            if not refused:
                mark = clock - last if clock - last > MOST or clock - last <= -SECOND else 0
                first = clock if clock > last else last + 1
                told += [(name, first + n, mark) for n, name in enumerate(written)]
                last = first + many - 1
            for each in range(CONSOLES):
                seen = known_now(url, true + off[each])
                assert [name for name, _, _ in told] == [name for name in seen if name.startswith("e")]
        with opened(url, true) as journal, closing(journal.database):
            log = [line.entry for line in journal.log()]
            mine = [entry for entry in log if entry.event.id.startswith("e")]
            assert [(e.event.id, e.known, e.event.clock) for e in mine] == told
            known = [entry.known for entry in log]
            assert known == sorted(set(known))
            report = audit(journal.database)
            assert report.is_sound, report.faults
            marked = {name for name, _, mark in told if mark}
            assert {one.event for one in report.doubts} <= marked
            assert bool(report.doubts) == bool(marked)


@pytest.fixture
def served(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """A journal on a server, whose clock is its own."""
    as_it_is(monkeypatch)
    url = str(request.getfixturevalue("server").fresh())
    with open_journal(url, clock=lambda: 0) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
    return url


def test_a_server_has_the_clock(served: str) -> None:
    """Consoles hours and years off: `known` is the server's for all, nobody is refused, nothing is hidden or marked."""
    before = time.time_ns() // 1000
    skews = [0, -HOUR, HOUR, -400 * DAY, 400 * DAY, -before, 10**15]
    for number, skew in enumerate(skews):
        clock = time.time_ns() // 1000 + skew
        with opened(served, clock) as journal:
            journal.record([remark(f"e{number}", NOON)])
            assert abs(journal.present - time.time_ns() // 1000) < 60 * SECOND
        for other in skews:
            seen = known_now(served, time.time_ns() // 1000 + other)
            assert seen[-number - 1 :] == [f"e{n}" for n in range(number + 1)]
    with opened(served, 0) as journal:
        entries = [line.entry for line in journal.log()]
        assert all(before - 60 * SECOND < e.known < time.time_ns() // 1000 + 60 * SECOND for e in entries)
        assert [e.known for e in entries] == sorted({e.known for e in entries})
        assert not any(e.event.clock for e in entries)


def test_a_server_whose_clock_was_wrong(served: str) -> None:
    """A server's clock that is behind its last write, or far ahead, stops nobody: it is marked, known goes on."""
    now = time.time_ns() // 1000
    for number, last in enumerate((now + HOUR, now - 40 * DAY)):
        with opened(served, 0) as journal:
            known = _pretend(journal, last)
            journal.record([remark(f"w{number}", NOON)])
            entry = journal.entry(f"w{number}")
            assert entry is not None
            off, mark = time.time_ns() // 1000 - last, entry.event.clock
            assert abs(mark - off) < 60 * SECOND
            assert entry.known == (known + 1 if off < 0 else last + mark)
            assert journal.clock_off() == (mark, last)


def _pretend(journal: Journal, known: int) -> int:
    """Have the last event have become known at another time, as if the server's clock had been wrong then."""
    database = journal.database
    database.execute("ALTER TABLE event DISABLE TRIGGER USER")
    database.execute("UPDATE event SET known = known - :by", {"by": 2 * 365 * DAY})
    last = database.row("SELECT max(number) FROM event")
    assert last is not None
    database.execute(
        "UPDATE event SET known = :known WHERE number = :last", {"known": known, "last": last[0]}
    )
    database.execute("ALTER TABLE event ENABLE TRIGGER USER")
    return known


def test_now_is_not_before_what_is_written(fresh_url: FreshUrl) -> None:
    """On both databases: now is the larger of the clock and the last write; what lies further ahead isn't now."""
    url = fresh_url()
    with opened(url, NOON) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([remark("e1", NOON + HOUR)])
        written = journal.recorded_last()
    with opened(url, NOON - 5 * HOUR) as journal:
        # The tests' plants take what happens a hundred years ahead as happening about now.
        assert journal.moment() == (NOON + HOUR, written)
    with pytest.MonkeyPatch.context() as patch:
        from cfgtrack.model.setting import HAPPENED_AHEAD, SETTINGS

        patch.setitem(SETTINGS, HAPPENED_AHEAD, ("30 min",))
        with opened(url, NOON - 5 * HOUR) as journal:
            assert journal.moment() == (written, written)
            assert journal.later(*journal.moment()) == NOON + HOUR
        with opened(url, NOON + HOUR // 2) as journal:
            assert journal.moment()[0] == NOON + HOUR
