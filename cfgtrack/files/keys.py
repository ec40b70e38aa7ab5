"""Private keys of people: each in a file of the user's own that nobody else may read. One is never written over."""

from __future__ import annotations

import os
import re
import stat
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cfgtrack.model.signature import KEY, Signer
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem

_HEAD = re.compile(rf"cfgtrack key of (\S+): ({KEY.pattern})\n")
_PRIVATE = 0o600


@dataclass(frozen=True, slots=True)
class KeyFile:
    """A key in a file: whose it is, its public half as a definition has it, and where the private one is kept."""

    person: str
    key: str
    file: str


def make_key(folder: Path, person: str) -> KeyFile:
    """Make a key for a person, in a file of mode 600. BadInput for no id, NoAnswer without the library."""
    from cfgtrack.files.fields import ID, ID_FORM

    if not ID.fullmatch(person):
        raise BadInput(Problem("PERSON", "bad-id", f"expected an id of {ID_FORM}, found '{person}'"))
    ed25519 = _library()
    private = ed25519.Ed25519PrivateKey.generate()
    from cryptography.hazmat.primitives import serialization as form

    text = private.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    key = _public(private)
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    path = folder / f"{person}-{key.partition(':')[2][:12]}.pem"
    # Nobody else may read it, from the first moment on.
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _PRIVATE)
    with os.fdopen(handle, "wb") as file:
        file.write(f"cfgtrack key of {person}: {key}\n".encode() + text)
        file.flush()
        os.fsync(handle)
    return KeyFile(person, key, str(path))


def keys_in(folder: Path) -> list[KeyFile]:
    """Return the keys that a folder holds, by person; none where there is no folder. Needs no library."""
    if not folder.is_dir():
        return []
    found = []
    for path in sorted(folder.glob("*.pem")):
        with path.open(encoding="utf-8", errors="replace") as file:
            head = _HEAD.match(file.readline(400))
        if head is not None:
            found.append(KeyFile(head[1], head[2], str(path)))
    return found


_OURS = re.compile(r"(.+)-[0-9a-f]{12}\.pem")
_END = b"-----END PRIVATE KEY-----"


def damaged_in(folder: Path) -> list[tuple[str, str]]:
    """Return the files of a folder that are called as a key that was made here and hold none, each after its person."""
    found = []
    for path in sorted(folder.glob("*.pem")) if folder.is_dir() else ():
        name = _OURS.fullmatch(path.name)
        if name is None:
            continue  # somebody's own
        text = path.read_bytes()
        head = _HEAD.match(text.partition(b"\n")[0].decode(errors="replace") + "\n")
        if head is None or not text.rstrip().endswith(_END):
            found.append((name[1], str(path)))
    return found


def signer_of(kept: KeyFile) -> Signer:
    """Return what signs with a kept key. BadInput where others may read it or it is damaged."""
    path = Path(kept.file)
    if sys.platform != "win32" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        sentence = "others may read this private key: `chmod 600` it, or make a new one and have that defined"
        raise BadInput(Problem(kept.file, "open-to-others", sentence))
    ed25519 = _library()
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        private = load_pem_private_key(path.read_bytes().partition(b"\n")[2], None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        private = None
    if not isinstance(private, ed25519.Ed25519PrivateKey) or _public(private) != kept.key:
        raise BadInput(Problem(kept.file, "not-a-key", f"this is not the private half of {kept.key}"))
    sign: Callable[[bytes], bytes] = private.sign
    return Signer(kept.person, kept.key, sign)


def _public(private: Any) -> str:
    return f"ed25519:{private.public_key().public_bytes_raw().hex()}"


def _library() -> Any:
    try:
        from cryptography.hazmat.primitives.asymmetric import ed25519
    except ImportError as err:
        sentence = "signing needs the library cryptography: install cfgtrack[sign]"
        raise NoAnswer(Problem("key", "no-library", sentence)) from err
    return ed25519
