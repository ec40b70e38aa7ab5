"""Files that an answer is written to: never over the database, or over what is being read."""

from __future__ import annotations

import re
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cfgtrack.answers.asking import Asking


def written(
    asking: Asking,
    target: Path,
    *,
    earlier: re.Pattern[bytes] | None = None,
    read: Path | int | None = None,
) -> AbstractContextManager[Path]:
    """Return what writes a file: see `files.writer.replacing`. Spared: the database, and the file that is read."""
    from cfgtrack.files.writer import replacing

    return replacing(target, spared=_spared(asking, read), earlier=earlier)


def expect_writable(asking: Asking, target: Path, *, read: Path | int | None = None) -> None:
    """Raise what `written` would raise, before other work is done."""
    from cfgtrack.files import writer

    writer.expect_writable(target, spared=_spared(asking, read))


def _spared(asking: Asking, read: Path | int | None) -> dict[str, Path | int]:
    from cfgtrack.store.database import spared

    return {**({} if read is None else {"the file that is read": read}), **spared(asking.database)}
