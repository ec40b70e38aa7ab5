"""Many proposals checked at once, by whatever executor is handed in: for a notebook, or a cluster."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

from cfgtrack.analysis.campaign import Campaign, Tell, run
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.check import Checked, check


def check_each(
    asking: Asking,
    proposals: Sequence[Path | str],
    *,
    rules: Sequence[Path] = (),
    executor: Executor | None = None,
    tell: Tell | None = None,
) -> Campaign[Checked]:
    """Check each of several sequence files or single actions, as `check` does; an interrupt keeps those that are done.

    The journal is looked at once by the console; whoever does the work opens it for itself. Without a time every
    one would be of another present: the first look settles it for all of them.
    """
    with asking.read() as journal:
        moment = asking.moment(journal)
    alone = replace(asking, console=None, at=moment.at, known_at=moment.known, settled=True)
    return run(_check, [(alone, one, tuple(rules)) for one in proposals], executor=executor, tell=tell)


def _check(piece: tuple[Asking, Path | str, tuple[Path, ...]]) -> Checked:
    asking, proposal, rules = piece
    return check(asking, proposal, rules=rules)
