"""What became of a campaign: one row of one table, whatever was done to what."""

from __future__ import annotations

import gc
import random
import traceback
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

COUNTED = ("tried", "refused", "found", "harmless", "unnoticed", "lost", "crashed")


class Wrong(Exception):
    """Something of a case isn't as it must be."""


class Lost(Wrong):
    """What was acknowledged is gone, or isn't seen by somebody."""


@dataclass
class Outcome:
    """How many cases of a campaign were tried, and what became of each of them.

    `refused`: told why, and nothing was changed. `found`: noticed by who has to notice it; or taken, or broken off, and
    all that is asked afterwards agrees. `harmless`: it changed nothing that anybody reads, for a reason that is listed.
    `unnoticed`, `lost` (acknowledged, and gone) and `crashed` have to be zero. `told`: those that went wrong, with what
    repeats them, and a campaign that shows nothing as a whole; `notes`: what else there is to say.
    """

    name: str
    tried: int = 0
    refused: int = 0
    found: int = 0
    harmless: int = 0
    unnoticed: int = 0
    lost: int = 0
    crashed: int = 0
    told: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Return whether something was tried, each case ended well, and nothing is told that went wrong."""
        ended_well = self.refused + self.found + self.harmless
        return bool(self.tried) and not self.told and self.tried == ended_well

    def became(self, what: str, case: str = "") -> None:
        """Count a case that ended as one of `COUNTED`; `case` is told where that is wrong."""
        self.tried += 1
        if self.tried % 50 == 0:
            # A command leaves what it holds to the end of its process: here that is far.
            gc.unfreeze()
            gc.collect()
        setattr(self, what, getattr(self, what) + 1)
        if what in ("unnoticed", "lost", "crashed"):
            self.told.append(f"{self.name}: {what}: {case}")

    @contextmanager
    def case(self, case: str) -> Iterator[None]:
        """Count what goes wrong in a case; one that ends well says itself what it became."""
        try:
            yield
        except Lost as lost:
            self.became("lost", f"{case}: {lost}")
        except Wrong as wrong:
            self.became("unnoticed", f"{case}: {wrong}")
        except KeyboardInterrupt:
            raise
        except BaseException as err:  # noqa: BLE001 - whatever it is, it is told
            self.fell(err, case)

    def fell(self, err: BaseException, case: str) -> None:
        """Count a case that crashed, with where it did."""
        last = (traceback.extract_tb(err.__traceback__) or [traceback.FrameSummary("", 0, "")])[-1]
        self.became("crashed", f"{case}: {err!r:.200} ({last.filename}:{last.lineno})")


def chance_of(seed: int, *case: object) -> random.Random:
    """Return the chance of one case: the same for the same seed and case, whatever comes before it."""
    return random.Random(" ".join(map(str, (seed, *case))))


def table(outcomes: Iterable[Outcome]) -> list[str]:
    """Return the table of campaigns, as lines."""
    rows = list(outcomes)
    wide = max([len("campaign"), *(len(one.name) for one in rows)])
    lines = [" ".join([f"{'campaign':{wide}}", *(f"{name:>9}" for name in COUNTED)])]
    lines += [
        " ".join([f"{one.name:{wide}}", *(f"{getattr(one, name):>9}" for name in COUNTED)]) for one in rows
    ]
    return lines
