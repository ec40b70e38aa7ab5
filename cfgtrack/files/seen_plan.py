"""Which revision of a plan a console has seen last of each journal, in a file of the user's own.

It is a courtesy: where the file can't be read or written, nothing was seen, and nobody is kept from recording.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from pathlib import Path

MOST_BYTES = 1_000_000
"""So large a file is read: the events of some thousand places."""

_PRIVATE = 0o600


def seen_plan(file: Path, place: str) -> str | None:
    """Return the event that adopted what was seen last of the journal in a place, None where nobody knows."""
    return _all(file).get(place)


def keep_seen_plan(file: Path, place: str, event: str) -> None:
    """Remember it, where that can be done."""
    seen = _all(file)
    if seen.get(place) == event:
        return
    text = json.dumps({**seen, place: event}, ensure_ascii=False, indent=1)
    part = file.with_name(f".{file.name}-{os.getpid()}.part")
    with suppress(OSError):
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        try:
            part.touch(_PRIVATE)
            part.write_text(text, encoding="utf-8", errors="surrogatepass")
            part.replace(file)
        finally:
            part.unlink(missing_ok=True)


def _all(file: Path) -> dict[str, str]:
    try:
        if file.stat().st_size > MOST_BYTES:
            return {}
        found = json.loads(file.read_text(encoding="utf-8", errors="surrogatepass"))
    except (OSError, ValueError, RecursionError):
        return {}
    pairs = found.items() if isinstance(found, dict) else ()
    return {place: event for place, event in pairs if isinstance(event, str)}
