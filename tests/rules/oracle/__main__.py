"""Draw many cases from a seed, judge them plainly, hold the engine against that, and count what came up.

python -m tests.rules.oracle --seed 7 --cases 10000
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from random import Random

from tests.rules.oracle.census import census
from tests.rules.oracle.worlds import Language, case


def main(arguments: list[str] | None = None) -> int:
    """Run and print; 1 where the engine and the plain reading differ."""
    parser = argparse.ArgumentParser(prog="python -m tests.rules.oracle", description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--plain", action="store_true", help="judge plainly alone, and count")
    told = parser.parse_args(arguments)
    counts: Counter[str] = Counter()
    began = time.monotonic()
    for number in range(told.cases):
        drawn = case(Random(f"{told.seed}/{number}"), Language())
        counts.update(census(drawn))
    print(f"seed {told.seed}, {told.cases} cases, {time.monotonic() - began:.0f} s")
    for name, count in sorted(counts.items()):
        print(f"{count:7d}  {100 * count / told.cases:5.1f} %  {name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
