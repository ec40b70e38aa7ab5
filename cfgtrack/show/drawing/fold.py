"""A sheet with boxes that are alike drawn as one."""

from __future__ import annotations
from collections.abc import Mapping
from cfgtrack.show.drawing.sheet import Sheet


def folded(sheet: Sheet, parts: Mapping[str, str]) -> Sheet:
    return sheet
