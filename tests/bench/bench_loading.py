"""How fast a definition is loaded, as ratios to reading the same rows with `csv` and inserting them plainly.

    python -m tests.bench.bench_loading [--ports N] [--times N]

The list is of ports, a hundred a part, each with a title of its own, of some forty sorts of connector in three loops;
one unit a part. The floor reads the same files, and inserts their rows into tables with a key, in one durable
transaction. By turns, in processor time and by the clock; the median of the ratios counts, for other work on the
machine shifts both alike.
"""

import argparse
import csv
import gc
import random
import shutil
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.hardware import load
from cfgtrack.files.definition import shipped
from cfgtrack.store.journal import create

PORTS_OF_A_PART = 100
LISTS = ("parts", "ports", "units")
COLUMNS = ("part", "name", "kind", "size", "keying", "gender", "loop", "tags", "cycles", "title")
SORTS = [
    (kind, size, keying, gender, cycles)
    for kind, sizes, keyings, genders, cycles in (
        ("valved-disconnect", ("1/2 in", "3/4 in", "DN25"), ("", "A"), ("plug", "socket"), "250"),
        ("electrical-connector", ("10", "12", "16", "20"), ("N", "A", "B"), ("plug", "socket"), "500"),
        ("bolt", ("M6", "M8", "M12"), ("",), ("",), "20"),
        ("valve", ("DN15", "DN25"), ("",), ("",), ""),
    )
    for size in sizes
    for keying in keyings
    for gender in genders
]


def write_lists(folder: Path, ports: int) -> Path:
    """Write a definition of so many ports, and return its file."""
    chance = random.Random(1)
    parts = [f"PN-{i:05d}" for i in range(ports // PORTS_OF_A_PART)]
    rows: dict[str, list[list[str]]] = {
        "parts": [["id", "title"], *([part, f"part {part}"] for part in parts)],
        "units": [["id", "part"], *([f"U-{part}", part] for part in parts)],
        "ports": [list(COLUMNS)],
    }
    for part in parts:
        loop = chance.choice(("", "EAST", "WEST"))
        for number in range(1, PORTS_OF_A_PART + 1):
            kind, size, keying, gender, cycles = chance.choice(SORTS)
            title = f"{kind} {number} of {part}, drawing {chance.randrange(10**6)}"
            tags = chance.choice(("", "supply", "return"))
            row = [part, f"P{number}", kind, size, keying, gender, loop, tags, cycles, title]
            rows["ports"].append(row)
    for name, found in rows.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(found)
    plant = folder / "plant.toml"
    plant.write_text("".join(f'[[table]]\nfile = "{name}.csv"\nof = "{name}"\n' for name in LISTS))
    return plant


def insert_plainly(folder: Path, database: Path) -> None:
    """Read the same rows with `csv`, and insert them."""
    with closing(sqlite3.connect(database)) as plain:
        plain.execute("PRAGMA journal_mode = WAL")
        plain.execute("PRAGMA synchronous = FULL")
        for name in LISTS:
            with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
                rows = csv.reader(file)
                header = next(rows)
                key = "part, name" if name == "ports" else "id"
                plain.execute(f"CREATE TABLE {name} ({', '.join(header)}, PRIMARY KEY ({key}))")
                marks = ", ".join("?" * len(header))
                plain.executemany(f"INSERT INTO {name} VALUES ({marks})", rows)
        plain.commit()


def timed(what: Callable[[], object]) -> tuple[float, float]:
    """Return how long `what` takes: seconds of the processor, and by the clock."""
    gc.collect()
    processor, clock = time.process_time(), time.perf_counter()
    what()
    return time.process_time() - processor, time.perf_counter() - clock


def measure(ports: int, times: int) -> dict[str, list[tuple[float, float]]]:
    """Return what each takes, so many times by turns."""
    found: dict[str, list[tuple[float, float]]] = {"plain": [], "load": [], "again": []}
    with tempfile.TemporaryDirectory(prefix="cfgtrack-bench-") as name:
        folder = Path(name)
        plant = write_lists(folder, ports)
        pattern = folder / "pattern.db"
        create(str(pattern))
        shipped()
        for turn in range(times):
            mine = folder / f"journal-{turn}.db"
            shutil.copy(pattern, mine)
            asking = Asking(str(mine))
            plain = folder / f"plain-{turn}.db"
            found["plain"].append(timed(lambda plain=plain: insert_plainly(folder, plain)))  # type: ignore[misc]
            found["load"].append(timed(lambda asking=asking: load(asking, [plant])))  # type: ignore[misc]
            found["again"].append(timed(lambda asking=asking: load(asking, [plant])))  # type: ignore[misc]
    return found


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--ports", type=int, default=100_000)
    parser.add_argument("--times", type=int, default=5)
    chosen = parser.parse_args()
    gc.set_threshold(50_000, 20, 20)  # as the command does (cli/main.py)
    found = measure(chosen.ports, chosen.times)
    print(f"{chosen.ports} ports from a list; the floor: read with csv, and inserted plainly")
    print(f"{'what':<28} {'processor':>10} {'floor':>8} {'ratio':>7} {'clock':>10} {'floor':>8} {'ratio':>7}")
    for what, name in (("loaded", "load"), ("loaded again, unchanged", "again")):
        line = f"{what:<28}"
        for i, width in ((0, 10), (1, 10)):
            mine = [one[i] for one in found[name]]
            floor = [one[i] for one in found["plain"]]
            ratio = statistics.median(a / b for a, b in zip(mine, floor, strict=True))
            line += f" {statistics.median(mine):>{width - 1}.3f}s {statistics.median(floor):>7.3f}s {ratio:>6.2f}x"
        print(line)


if __name__ == "__main__":
    main()
