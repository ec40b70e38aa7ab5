"""Marks of locks, tags and defects beside a status, in tables and pictures alike: in words, never by colour alone."""

from __future__ import annotations

from collections.abc import Sequence

from cfgtrack.model.defect import Defect
from cfgtrack.model.lock import Device
from cfgtrack.show.defects import marks


def with_locks(status: str, devices: Sequence[Device], defects: Sequence[Defect] = ()) -> str:
    """Return a status with whose locks, and whose tags, are on it: ``off LOCKED by ANN and BEN, TAGGED by ANN``.

    And with what can't be done: ``shut DEFECT no open: seized``.
    """
    said = [
        f"{what} by {' and '.join(holders)}"
        for what, is_tag in (("LOCKED", False), ("TAGGED", True))
        if (holders := [one.holder for one in devices if one.is_tag == is_tag])
    ]
    return " ".join([status, ", ".join([*said, *marks(defects)])]).rstrip()
