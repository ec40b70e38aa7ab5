"""JSON Lines: one object a line, streamed."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from cfgtrack.files.sheet import looks_like
from cfgtrack.files.source import Spot, cut
from cfgtrack.files.strict_json import TooDeep, strict_json
from cfgtrack.model.trouble import Problems


class JsonLine(NamedTuple):
    """A line that isn't blank: where it stands, its text, and the object in it (None after noting that it's none)."""

    spot: Spot
    text: str
    data: dict[str, Any] | None


def read_objects(stream: Iterable[str], name: str, problems: Problems) -> Iterator[JsonLine]:
    """Yield the lines of a JSON Lines stream, noting those that hold no object."""
    number = 0
    is_first = True
    try:
        for number, line in enumerate(stream, 1):
            text = line.removeprefix("\ufeff").strip()
            if text:
                spot = Spot(f"{name}:{number}", cut(text))
                kind = _wrong_kind(text) if is_first else ""
                if kind:
                    problems.add(
                        spot.where,
                        "wrong-kind",
                        f"expected one JSON object a line, found {kind}",
                        row=spot.row,
                    )
                    return
                is_first = False
                yield JsonLine(spot, text, _object(text, spot, problems))
    except UnicodeDecodeError as err:
        sentence = f"expected UTF-8 text, found the byte 0x{err.object[err.start]:02x}"
        problems.add(f"{name}:{number + 1}", "not-text", sentence)


def _wrong_kind(first: str) -> str:
    """Return what the first line shows the stream to be, "" where it may be JSON Lines."""
    if first in ("{", "["):
        return "JSON on several lines"
    kind = looks_like(first)
    return "" if kind in ("", "JSON") else f"what looks like {kind}"


def _object(text: str, spot: Spot, problems: Problems) -> dict[str, Any] | None:
    try:
        data = strict_json(text)
    except json.JSONDecodeError as err:
        sentence = f"expected one JSON object a line: {err.msg[0].lower()}{err.msg[1:]} at column {err.colno}"
        problems.add(spot.where, "syntax", sentence, row=spot.row)
    except TooDeep as err:
        problems.add(spot.where, "depth", str(err), row=spot.row)
    except ValueError as err:
        problems.add(spot.where, "syntax", f"expected one JSON object a line: {err}", row=spot.row)
    else:
        if isinstance(data, dict):
            return data
        problems.add(spot.where, "wrong-type", "expected one JSON object a line", row=spot.row)
    return None
