"""Tree heads that somebody kept: what an option says of one, or the file that holds it."""

from __future__ import annotations

from pathlib import Path

from cfgtrack.files.source import decode
from cfgtrack.model.handover import SaidHead, said_head
from cfgtrack.model.trouble import BadInput, Problem, Problems

_MOST_BYTES = 1_000
"""A file that holds a head holds no more bytes than these before its end."""


def kept_head(said: str, option: str) -> SaidHead:
    """Return the head that an option says, as a text or as the name of a file. BadInput when it is neither."""
    path, problems = Path(said), Problems()
    try:
        is_there = path.exists()
    except (OSError, ValueError):
        is_there = False
    if is_there:
        if not path.is_file():
            raise BadInput(Problem(said, "not-a-file", "expected the file of a head, found something else"))
        with path.open("rb") as file:
            text = decode(file.read(_MOST_BYTES), said, problems)
        problems.raise_if_any()
        return said_head(text or "", said)
    if len(said.split()) == 1:
        sentence = "there is no such file, and it is no head: a head is a size, a blank and a root"
        raise BadInput(Problem(said, "no-such-file", sentence))
    return said_head(said, option)
