"""Every command that writes, broken off: killed at a random moment, or on a disk that is full.

    python -m tests.campaign --only kills-of-commands full-disk --seed 1

Afterwards all of it is there or nothing; what was acknowledged is; the audit finds nothing; no console says BEWARE; and
the same command goes through, or says that it was done.
"""

from __future__ import annotations

import os
import random
import resource
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from tests.campaign.commands import Console, Step, in_child, seen, session
from tests.campaign.outcome import Lost, Outcome, Wrong, chance_of

GROWS = ("keys", "state/cfgtrack/heads.json")
"""What is made once more where it is asked for once more."""
OLDER = [("0001",)]
"""The revision of `old.db` before it is migrated, as `seen` gives it."""
PAGE = 4096


def writing(folder: Path) -> list[Step]:
    """Hold the session of all commands; return its steps that write."""
    return [step for step in session(folder) if step.writes]


def chosen(steps: list[Step], number: int, seed: int) -> list[Step]:
    """Return so many of the steps, in their order; all of them for 0."""
    if not number:
        return steps
    drawn = chance_of(seed, "steps").sample(range(len(steps)), number)
    return [steps[n] for n in sorted(drawn)]


# --- killed -----------------------------------------------------------------------------------------------------------


def kills_of_commands(steps: list[Step], times: int, seed: int) -> Outcome:
    """Kill each of some commands so many times, at random moments."""
    outcome = Outcome("kills of commands")
    for step in steps:
        whole = _undisturbed(step)
        for n in range(times):
            chance = chance_of(seed, step.number, n)
            with outcome.case(f"{step.command} {n}"), _folder() as folder:
                console = step.console(folder)
                child = in_child(console, step.said(folder))
                time.sleep(chance.uniform(0.0, 1.1 * whole))
                with suppress(ProcessLookupError):
                    os.kill(child.process, signal.SIGKILL)
                status, out, _ = child.end()
                acknowledged = status == step.status or bool(out)
                outcome.became(look(step, folder, acknowledged=acknowledged))
    return outcome


def _undisturbed(step: Step) -> float:
    """Return how long a step takes, in a process of its own; what it leaves is what the session had then."""
    with _folder() as folder:
        child = in_child(step.console(folder), step.said(folder))
        start = time.monotonic()
        status, *said = child.end()
        took = time.monotonic() - start
        assert status == step.status, (step.command, said)
        assert _is_after(step, seen(folder)), step.command
        return took


# --- no room ----------------------------------------------------------------------------------------------------------


def full_disk(steps: list[Step], times: int, seed: int, *, mounted: bool = False) -> Outcome:
    """Let each of some commands find no more room after so many bytes, drawn at random.

    By a limit on files (no root is needed, and root has it, too); `mounted`: on a file system that is full.
    """
    outcome = Outcome("full disk, mounted" if mounted else "full disk")
    for step in steps:
        for n in range(times):
            chance = chance_of(seed, step.number, n)
            with outcome.case(f"{step.command} {n}"), _small_disk() if mounted else _folder() as folder:
                console = step.console(folder)
                room = _room(step, chance)
                if mounted:
                    with _filled(folder.parent, leaving=room % (64 * PAGE)):
                        ended = in_child(console, step.said(folder)).end()
                else:
                    ended = in_child(console, step.said(folder), _limit(room)).end()
                outcome.became(_without_room(step, folder, *ended))
    return outcome


def _room(step: Step, chance: random.Random) -> int:
    """Return so much that it may or may not be enough for the largest file."""
    largest = max(path.stat().st_size for path in step.before.rglob("*") if path.is_file())
    return chance.choice(
        (chance.randrange(largest), chance.randrange(40 * PAGE), largest + chance.randrange(9 * PAGE))
    )


def _limit(room: int) -> Callable[[], None]:
    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    return limit


def _without_room(step: Step, folder: Path, status: int, out: str, err: str) -> str:
    if status < 0 or status == 1:
        raise RuntimeError(f"ends in {status}: {err[-300:]}")
    done = status == step.status
    if not done and not err.strip():
        raise Wrong(f"ends in {status} and says nothing")
    became = look(step, folder, acknowledged=done)
    if not done and became == "found" and "what was recorded before it is kept" not in err:
        raise Wrong(f"it was done, and says {err[:300]}")
    return became


@contextmanager
def _small_disk() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="cfgtrack-disk-") as name:
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "none", name], check=True)
        try:
            yield Path(name) / "session"
        finally:
            subprocess.run(["umount", name], check=True)


@contextmanager
def _filled(disk: Path, *, leaving: int) -> Iterator[None]:
    """Fill a disk up, but for so many bytes, and empty it again."""
    filler = disk / "filler"
    free = shutil.disk_usage(disk).free
    filler.write_bytes(bytes(max(0, free - leaving)))
    try:
        yield
    finally:
        filler.unlink()


def can_mount() -> bool:
    """Return whether this user may mount a file system."""
    try:
        with _small_disk():
            return True
    except (OSError, subprocess.CalledProcessError):
        return False


# --- afterwards -------------------------------------------------------------------------------------------------------


@contextmanager
def _folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="cfgtrack-broken-") as name:
        yield Path(name) / "session"


def look(step: Step, folder: Path, *, acknowledged: bool) -> str:
    """Return "found" where all of a step is there, "refused" where nothing is. Lost, or Wrong, for anything else."""
    now = seen(folder)
    done = _is_after(step, now)
    if not done and now != step.seen_before:
        raise Wrong(f"half of it is there: {_difference(step, now)}")
    if acknowledged and not done:
        raise Lost("it was acknowledged, and isn't there")
    console = Console(folder, step.number)
    _audit(console, folder, now)
    again = console(*step.said(folder))
    if again.status != step.status and not (done and again.status in (2, 3, 4)):
        raise Wrong(f"the same again ends in {again.status}: {again.err[:300]}")
    if "BEWARE" in again.err:
        raise Wrong(f"the same again says {again.err[:300]}")
    now = seen(folder)
    if not _is_after(step, now):
        raise Wrong(f"the same again leaves something else: {_difference(step, now)}")
    _audit(console, folder, now)
    return "found" if done else "refused"


def _audit(console: Console, folder: Path, now: dict[str, Any]) -> None:
    """Raise Wrong where a journal in a folder isn't sound; `now` is what was seen there. An older one has no audit."""
    for path in sorted(folder.glob("*.db")):
        held = now.get(path.name)
        if held and not (path.name == "old.db" and held[0] == OLDER):
            audited = console("audit", "--db", path)
            if audited.status:
                raise Wrong(f"the audit of {path.name} says {audited.out[:300]}{audited.err[:300]}")


def _is_after(step: Step, now: dict[str, Any]) -> bool:
    def fits(name: str) -> bool:
        wanted, there = step.seen_after.get(name), now.get(name)
        return there == wanted or (name in GROWS and (there or 0) >= (wanted or 0))

    return all(map(fits, now.keys() | step.seen_after.keys()))


def _difference(step: Step, now: dict[str, Any]) -> str:
    names = now.keys() | step.seen_after.keys()
    return ", ".join(sorted(n for n in names if now.get(n) != step.seen_after.get(n)))
