"""Rows of CSV that couldn't be taken, written out again with the reasons, to be mended and fed again."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from typing import TextIO

from cfgtrack.files.formula import guarded
from cfgtrack.files.incoming import COLUMNS, WHY
from cfgtrack.files.sheet import delimiter_of
from cfgtrack.model.trouble import Problem


def why(problems: Sequence[Problem]) -> str:
    """Return the reasons in one text."""
    return "; ".join(dict.fromkeys(problem.sentence for problem in problems))


def write_rejected_rows(
    lines: Iterator[str], out: TextIO, where: str, reasons: Mapping[str, Sequence[Problem]]
) -> None:
    """Write the header and the rows that `reasons` names, by their place, with a last column `why`.

    A file with a bad header is copied; so is what follows a row that is no CSV.
    """
    kept = _Remembering(lines)
    before = 0
    for line in kept:
        if line.removeprefix("\ufeff").strip():
            break
        before += 1
    else:
        return
    first = kept.last.removeprefix("\ufeff")
    writer = csv.writer(out, delimiter=delimiter_of(first, COLUMNS))
    reader = csv.reader(kept.again(first), delimiter=delimiter_of(first, COLUMNS), strict=True)
    header: list[str] = []
    try:
        for number, cells in enumerate(reader, before + 1):
            found = reasons.get(f"{where} row {number}")
            if not header:
                if found:
                    break
                header = cells
                writer.writerow(_told(cells, header, WHY))
            elif found:
                writer.writerow(_told(cells, header, why(found)))
            kept.read.clear()
        else:
            return
    except (csv.Error, UnicodeDecodeError):
        pass
    out.writelines(kept.read)
    try:
        out.writelines(kept)
    except UnicodeDecodeError:
        return


def _told(cells: list[str], header: list[str], reasons: str) -> list[str]:
    """Return a row with its reasons in the last column, without an older `why`.

    A row that is too short or too long stays so: fed again unmended, it must not pass.
    """
    if len(cells) < len(header):
        return [cell if cell.startswith("'") else guarded(cell) for cell in cells]
    old = [i for i, name in enumerate(header) if name.strip().casefold() == WHY]
    # What is guarded already begins with an apostrophe, and is left as it stands.
    told = (cell if cell.startswith("'") else guarded(cell) for i, cell in enumerate(cells) if i not in old)
    return [*told, guarded(reasons)]


class _Remembering:
    """Lines of a stream that remembers what it has given since `read` was last cleared."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines
        self.read: list[str] = []
        self.last = ""

    def __iter__(self) -> Iterator[str]:
        for line in self._lines:
            self.last = line
            self.read.append(line)
            yield line

    def again(self, line: str) -> Iterator[str]:
        """Yield a line that was given already, then the others."""
        yield line
        yield from self
