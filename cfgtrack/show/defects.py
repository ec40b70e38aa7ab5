"""What can't be done, as text: a table wherever a thing is told of, and the mark beside a status, in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cfgtrack.model.defect import Defect
from cfgtrack.model.time import format_instant
from cfgtrack.show.tables import count, indented, table

DEFECTS = "What can't be done, until it is rectified"
"""The title of the table."""

DEFECT = "DEFECT"
"""The word that marks one."""


def defect_table(defects: Sequence[Defect]) -> str:
    """Return a row a defect: of what, what it bars, why, since when, who says so, and what lifts it."""
    rows = [
        [
            one.thing,
            one.barred,
            one.why,
            format_instant(one.since),
            one.by,
            one.event,
            one.lifted_by,
        ]
        for one in defects
    ]
    return table(["of", "barred", "why", "since", "by", "event", "lifted by"], rows)


def marks(defects: Iterable[Defect]) -> list[str]:
    """Return the mark of each defect: ``DEFECT no open: seized``; ``DEFECT: missing`` where nothing can be done."""
    return [
        f"{DEFECT} {one.barred}: {one.cause}" if one.bars else f"{DEFECT}: {one.cause}" for one in defects
    ]


def standing_line(defects: Sequence[Defect]) -> str:
    """Return in a line which defects stand: ``1 defect stands: BOX-1:J seized (no demate)``; "" for none."""
    told = (
        f"{one.thing}{f' to {one.mate}' if one.mate else ''} {one.why}"
        + (f" (no {one.bars})" if one.bars else "")
        for one in defects
    )
    stand = "stands" if len(defects) == 1 else "stand"
    return indented(f"{count(len(defects), 'defect')} {stand}: {'; '.join(told)}") if defects else ""
