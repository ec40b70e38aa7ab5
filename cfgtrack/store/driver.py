"""What the database drivers' errors mean to a person: what happened and what to do, and no SQL."""

from __future__ import annotations

from cfgtrack.model.trouble import NoAnswer, Problem

DAMAGED_NEXT = (
    "keep a copy of the file and of what stands beside it (-wal, -shm), restore the last backup under another name, and"
    " record again what came after it"
)
"""What to do where a file is damaged."""

_FULL = (
    "disk-full",
    "the disk that this file is on is full: nothing of this was recorded; make room there and do it again",
)

_SQLITE = {
    "SQLITE_BUSY": ("locked", "the database is locked by another writer: try again when it is done"),
    "SQLITE_LOCKED": ("locked", "the database is locked by another writer: try again when it is done"),
    "SQLITE_NOTADB": ("not-a-journal", "this file is not a database"),
    "SQLITE_CORRUPT": ("corrupt", f"the file is damaged: {DAMAGED_NEXT}"),
    "SQLITE_READONLY": ("read-only", "the database can't be written: the file or its folder is read-only"),
    "SQLITE_FULL": _FULL,
    "SQLITE_CANTOPEN": (
        "no-database",
        "the file can't be opened: does its folder exist, and may you write there?",
    ),
    # What was written but not synced may be found by whoever opens the file next.
    "SQLITE_IOERR_FSYNC": (
        "disk",
        "the disk failed to keep what was written: this may be recorded or not; look before you do it again",
    ),
    "SQLITE_IOERR": ("disk", "the disk refused to read or write: nothing of this was recorded"),
    "SQLITE_PERM": ("permission", "the system doesn't permit to open this file"),
    "SQLITE_AUTH": ("permission", "the system doesn't permit to open this file"),
}

_POSTGRESQL = {
    "55P03": ("locked", "the database is locked by another writer: try again when it is done"),
    "40P01": ("locked", "another writer was in the way: try again"),
    "53100": (
        "disk-full",
        "the server's disk is full: nothing of this was recorded; make room and do it again",
    ),
    "25006": ("read-only", "the database can't be written: it was opened for reading only"),
    "3D000": ("no-database", "the server has no such database: create it first (createdb)"),
    "42P01": ("not-a-journal", "this database holds no journal"),
    "28P01": ("permission", "the server doesn't accept this user or password"),
    "28000": ("permission", "the server doesn't accept this user"),
    "42501": ("permission", "this user may not do that here"),
    "XX001": ("corrupt", "the server finds the data damaged: restore the last backup"),
    "XX002": ("corrupt", "the server finds an index damaged: have it rebuilt (REINDEX)"),
}

_OURS = "cfgtrack: "

_BY_THE_DRIVER = {
    "DataError": ("not-kept", "PostgreSQL keeps no text with a NUL character in it"),
    "ProgrammingError": (
        "no-database",
        "this is no address that PostgreSQL's driver takes: is an option of it mistyped?",
    ),
}

# A connection that is refused has no code, only the server's words.
_AT_THE_DOOR = (
    ("authentication failed", "28P01"),
    ("no pg_hba.conf entry", "28000"),
    ("role ", "28000"),
    ("database ", "3D000"),
)


def in_full(trouble: NoAnswer) -> NoAnswer:
    """Return what a disk's refusal means where it is full: SQLite doesn't always say so."""
    problem = trouble.problems[0]
    if (problem.code, problem.sentence) != _SQLITE["SQLITE_IOERR"]:
        return trouble
    return NoAnswer(Problem(problem.where, *_FULL))


def trouble_of(err: BaseException, where: str) -> NoAnswer:
    """Return the trouble that a driver's error stands for. A bug in our own SQL comes back as itself: raised."""
    found = _sqlite(err) or _postgresql(err)
    if found is None:
        raise err
    return NoAnswer(Problem(where, *found))


def _sqlite(err: BaseException) -> tuple[str, str] | None:
    if isinstance(err, UnicodeDecodeError) or "Could not decode to UTF-8" in str(err):
        return _SQLITE["SQLITE_CORRUPT"]
    if "no such table" in str(err):
        return "not-a-journal", "this database holds no journal"
    name = getattr(err, "sqlite_errorname", None)
    if isinstance(name, str):
        return next((said for code, said in _SQLITE.items() if name.startswith(code)), None)
    return None


def _postgresql(err: BaseException) -> tuple[str, str] | None:
    state = getattr(err, "sqlstate", "no driver error")
    # What the driver refuses by itself has no state: a text that no server keeps, an address that is none.
    if state is None and (said := _BY_THE_DRIVER.get(type(err).__name__)):
        return said
    if state is None and (refused := next((s for t, s in _AT_THE_DOOR if t in str(err)), None)):
        state = refused
    if state is None or str(state).startswith(("08", "57")):
        return "no-server", "the database server doesn't answer: is it running, and is this its address?"
    if state == "42501" and str(err).startswith(_OURS):
        # What the journal's own functions on the server say no to.
        return "not-allowed", str(err).splitlines()[0].removeprefix(_OURS)
    return _POSTGRESQL.get(str(state))
