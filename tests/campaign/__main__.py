"""Hostile input, and what became of it.

    python -m tests.abuse --seed 1 --cases 20000              of every kind in turn
    python -m tests.abuse --seed 1 --cases 500 --only lines   of one kind
    python -m tests.abuse --seed 1 --first 417 --cases 1      one case again

Ends with 1 where a case crashed or went unnoticed. The ordinary run does a few: `tests/abuse/test_abuse.py`.
"""

from __future__ import annotations

import argparse
import sys

from tests.campaign.hostile import run


def main() -> None:
    """Read the arguments, run, and say what became of the cases."""
    parser = argparse.ArgumentParser(prog="python -m tests.abuse", description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=1_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--only", default="", help="one kind of input")
    chosen = parser.parse_args()
    report = run(chosen.seed, chosen.cases, only=chosen.only, first=chosen.first)
    for line in report.told[:40]:
        print(ascii(line)[1:-1])
    print(
        f"seed {chosen.seed}: tried {report.tried}, refused {report.refused}, found {report.found},"
        f" unnoticed {report.unnoticed}, crashed {report.crashed}"
    )
    sys.exit(not report.is_clean)


if __name__ == "__main__":
    main()
