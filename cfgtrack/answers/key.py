"""Which keys can be signed with here?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cfgtrack.answers.asking import Asking
from cfgtrack.files.keys import KeyFile, damaged_in, keys_in, make_key
from cfgtrack.model.trouble import Misput


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys that are kept here, and the files of those that are damaged."""

    keys: tuple[KeyFile, ...]
    damaged: tuple[str, ...]


def new(asking: Asking, person: str) -> KeyFile:
    """Make a key for a person. BadInput for what is no id, NoAnswer without the library."""
    return make_key(_folder(asking), person)


def kept(asking: Asking) -> Keys:
    """Return the keys that are kept here."""
    folder = _folder(asking)
    damaged = tuple(file for _, file in damaged_in(folder))
    return Keys(tuple(one for one in keys_in(folder) if one.file not in damaged), damaged)


def _folder(asking: Asking) -> Path:
    if asking.console is None:
        raise Misput("There is no console that keeps keys.")
    return asking.console.keys
