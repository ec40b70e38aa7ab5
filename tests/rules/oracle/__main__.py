"""Draw many cases from a seed, judge them plainly, hold the tool against that, and count what came up.

python -m tests.rules.oracle --seed 7 --cases 10000
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from random import Random

from tests.rules.oracle.agreement import differences
from tests.rules.oracle.census import WANTED, census
from tests.rules.oracle.worlds import Language, case


def main(arguments: list[str] | None = None) -> int:
    """Run and print: 1 where the tool and the plain reading differ, or what is wanted came up in too few cases."""
    parser = argparse.ArgumentParser(prog="python -m tests.rules.oracle")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--first", type=int, default=0, help="the first case, to look at one again")
    parser.add_argument("--plain", action="store_true", help="judge plainly alone, and count")
    parser.add_argument("--no-ages", action="store_true", help="say nothing of max_age and since")
    parser.add_argument("--no-sites", action="store_true", help="draw no sites and no doers")
    parser.add_argument("--apart", action="store_true", help="draw no two events at one instant")
    told = parser.parse_args(arguments)
    language = Language(ages=not told.no_ages, sites=not told.no_sites, apart=told.apart)
    counts: Counter[str] = Counter()
    differ = 0
    began = time.monotonic()
    for number in range(told.first, told.first + told.cases):
        drawn = case(Random(f"{told.seed}/{number}"), language)
        counts.update(census(drawn))
        found = [] if told.plain else differences(drawn)
        if found:
            differ += 1
            print(f"case {number} ({drawn.theme}):", *found, sep="\n  ", flush=True)
    print(f"seed {told.seed}, {told.cases} cases, {time.monotonic() - began:.0f} s")
    for name, count in sorted(counts.items()):
        print(f"{count:7d}  {100 * count / told.cases:5.1f} %  {name}")
    rare = [name for name in WANTED if counts[name] < told.cases / 20]
    print(f"under 5 %: {', '.join(rare) or 'nothing'}")
    print("judged plainly alone" if told.plain else f"{differ} cases differ")
    return 1 if differ or rare else 0


if __name__ == "__main__":
    sys.exit(main())
