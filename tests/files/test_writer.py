"""The one writer of files: all of the new, or all of the old."""

from __future__ import annotations

import errno
import os
import re
import signal
import sqlite3
import stat
import subprocess
import sys
from contextlib import nullcontext
from pathlib import Path

import pytest

from cfgtrack.files import writer
from cfgtrack.files.writer import expect_writable, replacing
from cfgtrack.model.trouble import BadInput


def test_the_new_takes_the_place_of_the_old(tmp_path: Path) -> None:
    """What is written stands under the name afterwards, with the old file's permissions, and nothing else is left."""
    target = tmp_path / "out.txt"
    target.write_text("old")
    target.chmod(0o640)
    with replacing(target) as file:
        file.write_text("new")
        assert target.read_text() == "old"
    assert target.read_text() == "new"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    assert list(tmp_path.iterdir()) == [target]


def test_a_new_file_is_its_owners_alone(tmp_path: Path) -> None:
    """A file that wasn't there can be read and written by its owner, and by nobody else whatever the umask leaves."""
    with replacing(tmp_path / "out.txt") as file:
        file.write_text("new")
    assert stat.S_IMODE((tmp_path / "out.txt").stat().st_mode) == 0o600


@pytest.mark.parametrize("there", [True, False], ids=["over an old one", "where there is none"])
def test_what_fails_half_way_changes_nothing(there: bool, tmp_path: Path) -> None:
    """After an exception in the middle the old file is whole, or there is still none; no part is left."""
    target = tmp_path / "out.txt"
    if there:
        target.write_text("old")

    def fail_half_way() -> None:
        with replacing(target) as file:
            file.write_text("half of the n")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fail_half_way()
    assert [path.read_text() for path in tmp_path.iterdir()] == (["old"] if there else [])


def test_killed_half_way(tmp_path: Path) -> None:
    """Killed in the middle of writing, the old file is whole."""
    target = tmp_path / "out.txt"
    target.write_text("old")
    program = (
        "import sys, time\nfrom pathlib import Path\nfrom cfgtrack.files.writer import replacing\n"
        "with replacing(Path(sys.argv[1])) as file:\n"
        "    file.write_text('half')\n    print('half', flush=True)\n    time.sleep(60)\n"
    )
    with subprocess.Popen([sys.executable, "-c", program, str(target)], stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"half\n"
        process.send_signal(signal.SIGKILL)
    assert target.read_text() == "old"


def test_it_is_on_the_disk_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is synced before it takes its name, and its folder afterwards."""
    target = tmp_path / "out.txt"
    seen: list[tuple[str, bool]] = []
    real = os.fsync

    def fsync(handle: int) -> None:
        kind = "folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file"
        seen.append((kind, target.exists()))
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    with replacing(target) as file:
        file.write_text("new")
    assert seen == [("file", False), ("folder", True)]


def linked(path: Path, kind: str) -> Path:
    """Return another name of a file."""
    if kind == "itself":
        return path
    if kind == "another path":
        return path.parent / "folder" / ".." / path.name
    other = path.with_name("other.svg")
    if kind == "hard link":
        os.link(path, other)
    elif kind == "link":
        other.symlink_to(path)
    else:
        other.symlink_to(path.with_name("between"))
        path.with_name("between").symlink_to(path)
    return other


@pytest.mark.parametrize("kind", ["itself", "another path", "link", "link to a link", "hard link"])
def test_what_is_spared_stays(kind: str, tmp_path: Path) -> None:
    """By whatever name or link: what is spared isn't written over."""
    (tmp_path / "folder").mkdir()
    rows = tmp_path / "rows.csv"
    rows.write_text("precious")
    target = linked(rows, kind)
    with (
        pytest.raises(BadInput, match="the rows that are read"),
        replacing(target, spared={"the rows that are read": rows}),
    ):
        pytest.fail("never begun")
    assert rows.read_text() == "precious"


def test_an_open_file_is_spared(tmp_path: Path) -> None:
    """What comes in over a file descriptor, as standard input does, isn't written over."""
    rows = tmp_path / "rows.csv"
    rows.write_text("precious")
    with rows.open() as stream, pytest.raises(BadInput), replacing(rows, spared={"it": stream.fileno()}):
        pytest.fail("never begun")
    read, write = os.pipe()
    with replacing(rows, spared={"a pipe": read}) as file:
        file.write_text("new")
    os.close(read)
    os.close(write)
    assert rows.read_text() == "new"


@pytest.mark.parametrize("suffix", writer.COMPANIONS)
def test_companions_of_a_database_are_spared(suffix: str, tmp_path: Path) -> None:
    """What belongs to a database is spared with it, there or not."""
    database = tmp_path / "plant.db"
    with (
        pytest.raises(BadInput),
        replacing(tmp_path / f"plant.db{suffix}", spared={"the database": database}),
    ):
        pytest.fail("never begun")
    assert list(tmp_path.iterdir()) == []


def test_no_database_is_written_over(tmp_path: Path) -> None:
    """Another database than the one that is asked stays, too."""
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE t (a)")
    connection.close()
    before = other.read_bytes()
    with pytest.raises(BadInput, match="this is a database"), replacing(other):
        pytest.fail("never begun")
    assert other.read_bytes() == before


def test_only_an_earlier_output_is_replaced(tmp_path: Path) -> None:
    """What doesn't begin as an output does is somebody's own file and stays; an empty one, or none, is nobody's."""
    target = tmp_path / "out.txt"
    earlier = re.compile(rb"made here")
    for before, replaced in ((None, True), ("", True), ("made here, by us", True), ("somebody's own", False)):
        if before is not None:
            target.write_text(before)
        with nullcontext() if replaced else pytest.raises(BadInput, match="another file"):
            expect_writable(target, earlier=earlier)
            with replacing(target, earlier=earlier) as file:
                file.write_text("made here, new")
        assert target.read_text() == ("made here, new" if replaced else before)
        target.unlink()


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    """What a link leads to is replaced, and the link still leads there."""
    target, link = tmp_path / "out.txt", tmp_path / "link"
    target.write_text("old")
    link.symlink_to(target)
    with replacing(link) as file:
        file.write_text("new")
    assert link.is_symlink()
    assert target.read_text() == "new"


def test_a_pipe_is_written_as_it_is(tmp_path: Path) -> None:
    """What is no file is neither replaced nor synced nor removed: what is written comes out at its other end."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    read = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    with replacing(pipe) as file:
        file.write_text("new")
    assert os.read(read, 10) == b"new"
    os.close(read)
    with pytest.raises(KeyError), replacing(pipe):
        raise KeyError
    assert pipe.is_fifo()


def test_a_pipe_that_only_has_a_number(tmp_path: Path) -> None:
    """What a shell gives as /dev/stdout or >(...) is written, too: its name leads to no file."""
    if not Path("/dev/fd").exists():
        pytest.skip("no /dev/fd here")
    read, write = os.pipe()
    with replacing(Path(f"/dev/fd/{write}")) as file:
        file.write_text("new")
    assert os.read(read, 10) == b"new"
    os.close(read)
    os.close(write)


def test_new_means_new(tmp_path: Path) -> None:
    """What must be new replaces nothing, not even what was made while it was being written."""
    target = tmp_path / "out.txt"

    def write() -> None:
        with replacing(target, new=True) as file:
            file.write_text("new")
            target.write_text("somebody else's")

    with pytest.raises(FileExistsError):
        write()
    assert [path.read_text() for path in tmp_path.iterdir()] == ["somebody else's"]
    target.unlink()
    with replacing(target, new=True) as file:
        file.write_text("new")
    assert [path.read_text() for path in tmp_path.iterdir()] == ["new"]


def test_what_may_not_be_written_is_told_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A read-only file, a read-only folder, no folder: told by name before anything is written."""
    target = tmp_path / "out.txt"
    target.write_text("old")
    for forbidden in (target, tmp_path):
        # Root may write everything, so the system's answer is given here.
        monkeypatch.setattr(os, "access", lambda path, mode, no=forbidden: Path(path) != no)
        with pytest.raises(PermissionError) as caught:
            expect_writable(target)
        assert caught.value.filename == str(target)
        with pytest.raises(PermissionError), replacing(target):
            pytest.fail("never begun")
    monkeypatch.undo()
    expect_writable(target)
    with pytest.raises(FileNotFoundError):
        expect_writable(tmp_path / "nowhere" / "out.txt")
    assert list(tmp_path.iterdir()) == [target]


def test_a_folder_that_cannot_be_synced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a folder can't be opened, as on some systems, the file is written all the same; a broken disk is told."""
    target = tmp_path / "out.txt"
    real = os.open
    for number, allowed in ((errno.EACCES, True), (errno.EIO, False)):

        def opened(path: Path, flags: int, *rest: int, number: int = number) -> int:
            if Path(path) == tmp_path:
                raise OSError(number, os.strerror(number), str(path))
            return real(path, flags, *rest)

        monkeypatch.setattr(os, "open", opened)
        with nullcontext() if allowed else pytest.raises(OSError, match="error"), replacing(target) as file:
            file.write_text(str(number))
        monkeypatch.undo()
    assert target.read_text() == str(errno.EIO)


def test_an_error_names_the_file_that_was_asked_for(tmp_path: Path) -> None:
    """Nobody knows the name of the part: an error names the target."""
    target = tmp_path / "nowhere" / "out.txt"
    with pytest.raises(FileNotFoundError) as caught, replacing(target):
        pytest.fail("never begun")
    assert caught.value.filename == str(target)
    with pytest.raises(OSError, match="No space left") as full, replacing(tmp_path / "out.txt"):
        raise OSError(28, "No space left on device")
    assert full.value.filename == str(tmp_path / "out.txt")
