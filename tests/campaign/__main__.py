"""Campaigns: all that is done to the tool, its files and its journals to see what it takes, from one seed.

    python -m tests.campaign --seed 1                                  a small run of each
    python -m tests.campaign --seed 1 --size full                      all cases: more than half an hour
    python -m tests.campaign --seed 1 --only flips tampering           some of them
    python -m tests.campaign --only hostile --cases 500 --kind lines   one kind of hostile input
    python -m tests.campaign --only hostile --first 417 --cases 1      one case again

Ends with 1 where something crashed, was lost, or went unnoticed. The ordinary run does the small one.
"""

from __future__ import annotations

import argparse
import sys

from tests.campaign.campaigns import CAMPAIGNS, FULL, SMALL, Ground, run
from tests.campaign.outcome import Outcome, table
from tests.clocks import take_any_time


def main() -> None:
    """Read the arguments, run, and print the table."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.campaign", description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--size", choices=(SMALL, FULL), default=SMALL)
    parser.add_argument("--only", nargs="+", choices=[*CAMPAIGNS], default=[*CAMPAIGNS], metavar="NAME",
                        help=", ".join(CAMPAIGNS))  # fmt: skip
    parser.add_argument("--cases", type=int, help="so many cases of each; else as the size says")
    parser.add_argument("--kind", default="", help="of hostile input, one kind")
    parser.add_argument("--first", type=int, default=0, help="of hostile input, the number of the first case")
    chosen = parser.parse_args()
    take_any_time()  # as in the tests: what is recorded is of 2031, and a server's clock isn't
    ground = Ground(chosen.seed, chosen.size, chosen.cases, chosen.kind, chosen.first)
    done: list[Outcome] = []
    for outcome in run(ground, chosen.only):
        done.append(outcome)
        for line in [*outcome.told[:40], *outcome.notes]:
            print("  " + ascii(line)[1:-1], flush=True)
    print(f"seed {chosen.seed}, {chosen.size}")
    print("\n".join(table(done)))
    sys.exit(not all(one.is_clean for one in done))


if __name__ == "__main__":
    main()
