"""What a byte of an SQLite file is for, by the file format's own description (https://www.sqlite.org/fileformat2.html).

Independent of SQLite's library, so that "this byte is read by nobody" is not what the one says that was asked.
"""

from __future__ import annotations

from collections.abc import Iterator

_HEADER = {
    range(16): "magic", range(16, 18): "page size", range(18, 20): "journal mode", range(20, 21): "reserved space",
    range(21, 24): "payload fractions", range(24, 28): "change counter", range(28, 32): "size in pages",
    range(32, 40): "free pages", range(40, 44): "schema cookie", range(44, 48): "schema format",
    range(48, 52): "cache size", range(52, 56): "largest root", range(56, 60): "encoding",
    range(60, 64): "user version", range(64, 68): "vacuum mode", range(68, 72): "application id",
    range(72, 92): "reserved", range(92, 96): "valid for", range(96, 100): "version of the library",
}  # fmt: skip

READ_BY_NOBODY = {
    "change counter": "tells other connections to drop their caches; whatever it is, a new connection reads the file",
    "schema cookie": "tells statements to be prepared anew; a new connection has none",
    "cache size": "a hint how much to keep in memory",
    "user version": "a number for programs; this one has none",
    "application id": "a number for programs; this one has none",
    "valid for": "says whether `size in pages` counts; if it doesn't, the size of the file does, which is the same",
    "version of the library": "who wrote last",
    "size in pages": "counts only where `valid for` is the change counter; else the size of the file does",
    "unallocated": "between the pointers and the cells of a page: what was there was moved or was never written",
    "free block": "room in a page that a cell gave back",
    "free page": "a page that a table gave back, or the list of those",
    "divider": "a key in an inner page: it leads to the same leaf as long as it lies between the same two",
    "journal mode": "1 or 2, as the file was closed: whether the next one writes a log beside it",
    "spelling of a table": "capitals, blanks, names of constraints, whose index a table's own is: SQL reads the same",
    "mark of a checkpoint": "which rules it is of; with another mark it is nobody's, and what it told is judged anew",
    "end of overflow": "behind the end of a text on its last page",
}
"""What may be changed without anybody noticing, each with the reason why that changes nothing."""


class Pages:
    """A database file, page by page."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        size = int.from_bytes(raw[16:18], "big")
        self.size = 65_536 if size == 1 else size
        self.use: dict[int, str] = {}
        self._roles: dict[int, str] = {}
        self._overflow: dict[int, int] = {}
        self._walk_free()

    def _walk_free(self) -> None:
        trunk = self._number(32)
        while trunk:
            self._roles[trunk] = "free page"
            at = (trunk - 1) * self.size
            for n in range(self._number(at + 4)):
                self._roles[self._number(at + 8 + 4 * n)] = "free page"
            trunk = self._number(at)

    def _number(self, at: int, size: int = 4) -> int:
        return int.from_bytes(self.raw[at : at + size], "big")

    def what(self, byte: int) -> str:
        """Return what a byte is for: one of the words above, or "content", which is all that somebody reads."""
        if byte < 100:
            return next(name for where, name in _HEADER.items() if byte in where)
        page = byte // self.size + 1
        if page in self._roles:
            return self._roles[page]
        return next((name for name, where in self._unread(page) if byte in where), "content")

    def _unread(self, page: int) -> Iterator[tuple[str, range]]:
        start = (page - 1) * self.size
        head = start + (100 if page == 1 else 0)
        kind = self.raw[head]
        if kind not in (2, 5, 10, 13):
            yield "end of overflow", range(start + 4, start + self.size)
            return
        inner = kind in (2, 5)
        cells = self._number(head + 3, 2)
        pointers = head + (12 if inner else 8)
        content = self._number(head + 5, 2) or 65_536
        yield "unallocated", range(pointers + 2 * cells, start + content)
        block = self._number(head + 1, 2)
        while block:
            size = self._number(start + block + 2, 2)
            yield "free block", range(start + block, start + block + size)
            block = self._number(start + block, 2)
        if kind == 5:
            for n in range(cells):
                cell = start + self._number(pointers + 2 * n, 2)
                end = cell + 4
                while self.raw[end] & 0x80:
                    end += 1
                yield "divider", range(cell + 4, end + 1)
