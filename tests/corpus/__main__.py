"""Writes every answer of this checkout into text files: what to compare before and after a change that means to change none.

    python -m tests.corpus FOLDER                  all of it, on two processes
    python -m tests.corpus FOLDER --histories 60   fewer random histories
    python -m tests.corpus FOLDER --only demo      only the parts whose name begins so

Run it on the version before and on the version after, each from its own checkout, and compare with `diff -r`. The
same version writes the same bytes.
"""

from __future__ import annotations

import argparse
import shutil
import time
from collections import Counter
from collections.abc import Iterator
from multiprocessing import get_context
from pathlib import Path

from tests.corpus import given
from tests.corpus.histories import tell_history
from tests.corpus.laws import PAIRS
from tests.corpus.transcript import Transcript, fix_surroundings

HISTORIES = 500


def parts(histories: int) -> Iterator[str]:
    """Yield the name of every part of the corpus."""
    yield from given.PARTS
    yield from (f"histories/{number:04}" for number in range(histories))


def tell(job: tuple[str, Path]) -> tuple[str, float, Counter[str]]:
    """Write one part of the corpus into a file."""
    name, folder = job
    began = time.monotonic()
    with Transcript() as transcript:
        if name in given.PARTS:
            given.PARTS[name](transcript)
        else:
            tell_history(transcript, int(name.rpartition("/")[2]))
    file = folder / f"{name}.txt"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(transcript.text(), encoding="utf-8")
    return name, time.monotonic() - began, transcript.tally


def main() -> None:
    """Write the corpus, then say what it covers."""
    parser = argparse.ArgumentParser(prog="python -m tests.corpus", description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="where the answers go; what an earlier run left there goes first")
    parser.add_argument("--only", default="", help="only the parts whose name begins so")
    parser.add_argument("--histories", type=int, default=HISTORIES, help="so many random histories")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    told = parser.parse_args()
    fix_surroundings()
    for name in ("given", "histories"):
        shutil.rmtree(told.folder / name, ignore_errors=True)
    folder = told.folder.absolute()
    names = [name for name in parts(told.histories) if name.startswith(told.only)]
    tally: Counter[str] = Counter()
    with get_context("fork").Pool(told.jobs) as pool:
        for name, seconds, counted in pool.imap_unordered(tell, [(name, folder) for name in names]):
            tally.update(counted)
            if seconds > 20:
                print(f"{name}: {seconds:.0f} s")
    report(tally)


def report(tally: Counter[str]) -> None:
    """Print what was seen: breaches by mode and condition, and everything else that was counted."""
    seen = {f"{mode}.{condition}": tally.pop(f"breach {mode}.{condition}", 0) for mode, condition in PAIRS}
    print(f"{sum(seen.values())} breaches of {sum(map(bool, seen.values()))} of {len(seen)} pairs of mode and condition")
    few = [f"{pair} {number}" for pair, number in seen.items() if number < 5]
    print("  fewer than 5:", ", ".join(few) or "none")
    for name, number in sorted(tally.items()):
        print(f"{number:8} {name}")


if __name__ == "__main__":
    main()
