"""Processes: writers and servers killed at random moments, and many writers and readers at once.

python -m tests.campaign --only kills-of-writers kills-of-servers kills-of-creations kills-of-restores crowd
"""

import json
import os
import random
import select
import signal
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import asdict, dataclass
from functools import partial
from itertools import cycle
from pathlib import Path

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.upkeep import restore
from cfgtrack.model.action import Action
from cfgtrack.model.trouble import Refused, Trouble
from cfgtrack.store.archive import write_archive
from cfgtrack.store.audit import audit
from cfgtrack.store.database import Database
from cfgtrack.store.journal import create, open_journal, system_clock
from cfgtrack.store.migrations import revision_of
from tests.campaign.outcome import Outcome
from tests.store.conftest import Server
from tests.store.world import DEFINITION, START

BATCH = (("uncap", "X:F"), ("cap", "X:F"), ("uncap", "Y:F"), ("cap", "Y:F"))


@dataclass
class Kills:
    """What a campaign of kills found. `silent` (kills before any acknowledgement), `half_written` and `doubled`

    have to be zero.
    """

    kills: int = 0
    silent: int = 0
    acknowledged: int = 0
    found: int = 0
    only_kept: int = 0
    half_written: int = 0
    doubled: int = 0
    sound: bool = True

    @property
    def is_clean(self) -> bool:
        """Return whether every acknowledged event is there, whole and once, and nothing else is wrong."""
        wrong = self.silent or self.half_written or self.doubled
        return self.acknowledged == self.found and not wrong and self.sound

    def outcome(self, name: str) -> Outcome:
        """Return it as a row of the table: a case is a kill."""
        lost = self.acknowledged - self.found
        unnoticed = self.half_written + self.doubled + (not self.sound)
        found = self.kills if self.is_clean else 0
        return _row(self, name, self.kills, found=found, unnoticed=unnoticed, lost=lost, crashed=self.silent)


def batch(serial: int) -> list[Action]:
    """Return the four events of one transaction: they leave the plant as it was."""
    at = START + 10 * serial
    return [Action(f"k{serial}-{i}", action, (port,), at + i) for i, (action, port) in enumerate(BATCH)]


def kills(url: str, times: int, seed: int, kill: Callable[[], None] | None = None) -> Kills:
    """Kill a writer `times` times, at random moments; each one goes on where the last was cut off.

    Each has acknowledged something before it dies. With `kill`, that is called instead: it kills what serves the
    writer.
    """
    with open_journal(url, clock=system_clock) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
    chosen = random.Random(seed)
    result = Kills()
    acknowledged: list[int] = []
    following = 0
    for _ in range(times):
        done = _killed(partial(_write_on, url, following), chosen.uniform(0.0, 0.06), kill)
        acknowledged += done
        # The batch that was cut off is given again: kept or not, that must be harmless.
        following = done[-1] + 1 if done else following
        result.kills += 1
        result.silent += not done
    _look(url, acknowledged, result)
    return result


def server_kills(server: Server, times: int, seed: int) -> Kills:
    """Kill a PostgreSQL server under a writer `times` times: all of it, and one process of it, in turn."""
    url = server.fresh()
    ways: tuple[Callable[[], None], ...] = (server.kill, partial(server.kill_backend, url))
    turns = cycle(ways)

    def kill() -> None:
        next(turns)()

    return kills(url, times, seed, kill)


def _write_on(url: str, serial: int, ready: int) -> None:
    with open_journal(url, clock=system_clock) as journal:
        while True:
            journal.record(batch(serial))
            os.write(ready, f"{serial}\n".encode())
            serial += 1


def _killed(work: Callable[[int], None], after: float, kill: Callable[[], None] | None = None) -> list[int]:
    """Run `work` in a process of its own, kill it so many seconds after it first acknowledged something, and return

    all that it acknowledged: nothing when it ended before, or did nothing for a minute.
    """
    child, read = _forked(work)
    first = b""
    if select.select([read], [], [], 60)[0] and (first := os.read(read, 65536)):
        time.sleep(after)
        if kill is not None:
            kill()
    _end(child)
    with os.fdopen(read, "rb") as pipe:
        return [int(line) for line in (first + pipe.read()).split()]


def _forked(work: Callable[[int], None]) -> tuple[int, int]:
    """Run `work`, given where to write, in a process of its own. Return that and where to read."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            os.close(read)
            work(write)
            status = 0
        except Trouble:
            status = 3  # its server was killed
        finally:
            os._exit(status)  # at once: what the parent has open stays so, or its server would hear of it
    os.close(write)
    return child, read


def _end(child: int) -> int:
    """Kill a process, if it still runs, and return its exit status or, below zero, the signal that ended it."""
    os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _look(url: str, acknowledged: list[int], result: Kills) -> None:
    with open_journal(url, clock=system_clock) as journal:
        ids = [line.entry.event.id for line in journal.log()]
        result.sound = audit(journal.database).is_sound
    recorded = set(ids)
    result.doubled = len(ids) - len(recorded)
    result.acknowledged = len(BATCH) * len(acknowledged)
    result.found = sum(e.id in recorded for serial in acknowledged for e in batch(serial))
    serials = {i.partition("-")[0] for i in ids if i.startswith("k")}
    for serial in serials:
        whole = sum(f"{serial}-{i}" in recorded for i in range(len(BATCH)))
        result.half_written += len(BATCH) - whole
    result.only_kept = len(serials) - len(acknowledged)


@dataclass
class Creations:
    """What a campaign of kills during the making of a journal found. `failed` has to be zero.

    Of the kills, `early` came before there was a file, `cut_off` when it held no journal yet, `late` after that.
    """

    early: int = 0
    cut_off: int = 0
    late: int = 0
    failed: int = 0

    @property
    def is_clean(self) -> bool:
        """Return whether some were cut off in the middle, and all could be made after that."""
        return bool(self.cut_off) and not self.failed

    def outcome(self, name: str) -> Outcome:
        """Return it as a row of the table: refused is where no journal was there yet."""
        refused = self.early + self.cut_off - self.failed
        tried = self.early + self.cut_off + self.late
        return _row(self, name, tried, refused=refused, found=self.late, crashed=self.failed)


def creations(times: int, seed: int) -> Creations:
    """Kill the making of a journal (its migration) `times` times, and make it again."""
    chosen = random.Random(seed)
    result = Creations()
    with tempfile.TemporaryDirectory() as folder:
        create(str(Path(folder) / "warm.db"))
        start = time.monotonic()
        create(str(Path(folder) / "timed.db"))
        whole = time.monotonic() - start
        for i in range(times):
            url = str(Path(folder) / f"{i}.db")
            child, read = _forked(partial(_create, url))
            os.close(read)
            time.sleep(chosen.uniform(0.0, 1.5 * whole))
            _end(child)
            if not Path(url).exists():
                result.early += 1
            else:
                with closing(Database(url)) as left:
                    made = revision_of(left) is not None
                result.late += made
                result.cut_off += not made
            try:
                with open_journal(url, clock=system_clock, must_exist=False) as journal:
                    result.failed += not audit(journal.database).is_sound
            except Trouble:
                result.failed += 1
    return result


def _create(url: str, ready: int) -> None:
    del ready
    create(url)


@dataclass
class Restores:
    """What a campaign of kills during restores found. `blocked` and `half_there` have to be zero.

    Of the kills, `early` came while nothing was there yet, `late` when all was.
    """

    early: int = 0
    late: int = 0
    blocked: int = 0
    half_there: int = 0

    @property
    def is_clean(self) -> bool:
        """Return whether some were cut off, and the same restore went through after each."""
        return bool(self.early) and not self.blocked and not self.half_there

    def outcome(self, name: str) -> Outcome:
        """Return it as a row of the table: refused is where nothing was there yet."""
        refused = self.early - self.blocked - self.half_there
        return _row(
            self,
            name,
            self.early + self.late,
            refused=refused,
            found=self.late,
            unnoticed=self.half_there,
            crashed=self.blocked,
        )


def restores(times: int, seed: int, empty: Callable[[], str] | None = None) -> Restores:
    """Kill a restore `times` times, and do it again; with `empty`, into the database that each call of it gives.

    Half of them into a file that isn't there, half into an empty one.
    """
    chosen = random.Random(seed)
    result = Restores()
    with tempfile.TemporaryDirectory() as folder:
        archive, events = _archive(Path(folder))
        start = time.monotonic()
        child, read = _forked(
            partial(_restore, str(Path(folder) / "timed.db") if empty is None else empty(), archive)
        )
        os.close(read)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
        whole = time.monotonic() - start
        for i in range(times):
            url = str(Path(folder) / f"{i}.db") if empty is None else empty()
            if empty is None and i % 2:
                Path(url).touch()
            child, read = _forked(partial(_restore, url, archive))
            os.close(read)
            time.sleep(chosen.uniform(0.0, 1.5 * whole))
            _end(child)
            try:
                with open_journal(url, clock=system_clock) as journal:
                    there = len(list(journal.log()))
                    result.half_there += there != events or not audit(journal.database).is_sound
                    result.late += 1
            except Trouble:
                result.early += 1
                try:
                    result.half_there += restore(Asking(url), archive).events != events
                except Trouble:
                    result.blocked += 1
    return result


def _archive(folder: Path) -> tuple[Path, int]:
    """Return an archive, and how many events are in it: enough that its restore takes some time."""
    url = str(folder / "whole.db")
    with open_journal(url, clock=system_clock, must_exist=False) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        for start in range(0, 300, 50):
            journal.record([event for serial in range(start, start + 50) for event in batch(serial)])
        events = len(list(journal.log()))
        path = folder / "whole.jsonl"
        path.write_text("".join(write_archive(journal.database)), encoding="utf-8")
    return path, events


def _restore(url: str, archive: Path, ready: int) -> None:
    del ready
    restore(Asking(url), archive)


@dataclass
class Crowd:
    """What many at once did. `lost`, `changed_answers` and `troubles` have to be zero."""

    accepted: int = 0
    refused: int = 0
    answers: int = 0
    slowest: float = 0.0
    changed_answers: int = 0
    troubles: int = 0
    lost: int = 0
    sound: bool = True

    @property
    def is_clean(self) -> bool:
        """Return whether nothing was lost, changed or in anybody's way."""
        return not self.lost and not self.changed_answers and not self.troubles and self.sound

    def outcome(self, name: str) -> Outcome:
        """Return it as a row of the table: found is what was accepted and is there, and every unchanged answer."""
        unnoticed = self.changed_answers + (not self.sound)
        tried = self.accepted + self.refused + self.answers + self.troubles
        return _row(
            self,
            name,
            tried,
            refused=self.refused,
            found=self.accepted + self.answers - self.changed_answers - self.lost,
            unnoticed=unnoticed,
            lost=self.lost,
            crashed=self.troubles,
        )


def _row(of: "Kills | Creations | Restores | Crowd", name: str, tried: int, **counted: int) -> Outcome:
    told = [] if of.is_clean else [f"{name}: not clean: {asdict(of)}"]
    row = Outcome(name, tried, told=told, notes=[f"{name}: {asdict(of)}"])
    for what, number in counted.items():
        setattr(row, what, number)
    return row


def crowd(url: str, writers: int, readers: int, seconds: float) -> Crowd:
    """Let so many record conflicting things and so many ask, all at once."""
    with open_journal(url, clock=system_clock) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
    end = time.monotonic() + seconds
    children = [_started(partial(_writer, url, n, end)) for n in range(writers)]
    children += [_started(partial(_reader, url, n, end)) for n in range(readers)]
    result = Crowd()
    accepted: list[str] = []
    for child, pipe in children:
        with os.fdopen(pipe) as source:
            told = json.loads(source.read() or '{"troubles": 1}')
        os.waitpid(child, 0)
        accepted += told.pop("ids", [])
        result.slowest = max(result.slowest, told.pop("slowest", 0.0))
        for name, value in told.items():
            setattr(result, name, getattr(result, name) + value)
    result.accepted = len(accepted)
    with open_journal(url, clock=system_clock) as journal:
        ids = [line.entry.event.id for line in journal.log()]
        result.lost = len(set(accepted) - set(ids)) + len(ids) - len(set(ids))
        result.sound = audit(journal.database).is_sound
    return result


def _started(work: Callable[[], dict[str, object]]) -> tuple[int, int]:
    def tell(write: int) -> None:
        with os.fdopen(write, "w") as pipe:
            json.dump(work(), pipe)

    return _forked(tell)


def _writer(url: str, n: int, end: float) -> dict[str, object]:
    chosen = random.Random(n)
    told: dict[str, object] = {"ids": (ids := []), "refused": 0, "troubles": 0}
    refused = troubles = serial = 0
    with open_journal(url, clock=system_clock) as journal:
        while time.monotonic() < end:
            serial += 1
            port = chosen.choice(["X:F", "Y:F", "Z:F"])
            event = Action(f"w{n}-{serial}", chosen.choice(["cap", "uncap"]), (port,), system_clock())
            try:
                journal.record([event])
                ids.append(event.id)
            except Refused:
                refused += 1
            except Trouble:
                troubles += 1
    return {**told, "refused": refused, "troubles": troubles}


def _reader(url: str, n: int, end: float) -> dict[str, object]:
    chosen = random.Random(n)
    kept: dict[tuple[int, int], list[tuple[str, object]]] = {}
    answers = changed = 0
    slowest = 0.0
    with open_journal(url, clock=system_clock, read_only=True) as journal:
        while time.monotonic() < end:
            moment = chosen.choice(list(kept)) if kept and chosen.random() < 0.5 else journal.moment()
            start = time.monotonic()
            found = sorted(journal.configuration(*moment).touched())
            slowest = max(slowest, time.monotonic() - start)
            answers += 1
            changed += kept.setdefault(moment, found) != found  # type: ignore[arg-type]
            if len(kept) > 50:
                kept.clear()
    return {"answers": answers, "changed_answers": changed, "slowest": slowest}
