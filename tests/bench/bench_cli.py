"""What a command costs from the shell, as a ratio to `python -c "import click"` in the same run.

Commands are taken turn by turn, so that whatever else the machine does weighs on all of them alike; the median counts.
"""

import statistics
import subprocess
import sys
import tempfile
import time
import tomllib
from datetime import timedelta
from pathlib import Path

from tabulate import tabulate

ROUNDS = 21
DEMO = Path(__file__).parent.parent.parent / "demo"
PROMISES = tomllib.loads((DEMO / "promises.toml").read_text(encoding="utf-8"))["bench"]
CFGTRACK = (sys.executable, "-m", "cfgtrack")
FLOOR = (sys.executable, "-c", "import click")


def run(*words: str, database: str) -> float:
    """Run a command on a database; return the seconds it took. It may say no (3), but not fail."""
    begun = time.perf_counter()
    done = subprocess.run(words, check=False, capture_output=True, text=True, env={"CFGTRACK_DB": database})
    took = time.perf_counter() - begun
    assert done.returncode in (0, 3), done.stderr
    return took


def main() -> None:
    """Measure and print the table."""
    with tempfile.TemporaryDirectory() as folder:
        database = f"{folder}/bench.db"
        for words in (
            ("load", f"{DEMO}/hardware.toml", "--by", "bench"),
            ("rules", "load", f"{DEMO}/rules.toml", "--by", "bench"),
            ("import", f"{DEMO}/as-run.csv"),
        ):
            run(*CFGTRACK, *words, database=database)
        taken: dict[str, list[float]] = {}
        for round_ in range(ROUNDS):
            at = (PROMISES["day"] + timedelta(hours=round_)).isoformat()
            action = ("uncap", "cap")[round_ % 2]
            commands: dict[str, tuple[str, ...]] = {
                'python -c "import click"': FLOOR,
                "cfgtrack --version": (*CFGTRACK, "--version"),
                "cfgtrack record": (
                    *CFGTRACK,
                    "record",
                    action,
                    PROMISES["port"],
                    "--at",
                    at,
                    "--by",
                    "bench",
                ),
                "cfgtrack state UNIT": (*CFGTRACK, "state", PROMISES["unit"]),
            }
            for name, command in commands.items():
                taken.setdefault(name, []).append(run(*command, database=database))
    floor = statistics.median(taken['python -c "import click"'])
    rows = [
        (name, f"{statistics.median(t) * 1000:.0f}", f"{statistics.median(t) / floor:.1f}x")
        for name, t in taken.items()
    ]
    print("Commands from the shell, on the demo's database")
    print(tabulate(rows, headers=["command", "median ms", "ratio"], disable_numparse=True))


if __name__ == "__main__":
    main()
