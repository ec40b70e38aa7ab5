"""Keys are made here, kept here, and sign what is recorded here."""

from __future__ import annotations

import base64
import stat
from pathlib import Path

import pytest

from cfgtrack.model.time import SECOND, format_instant, parse_instant
from tests.cli import world
from tests.cli.conftest import Command

AT = "2031-05-01T10:00:00Z"


@pytest.fixture
def keys(empty: Command) -> Path:
    """Where a user keeps his keys: he has none yet."""
    return empty.config / "cfgtrack" / "keys"


def _plant(*people: tuple[str, str], unsigned: str = "refused") -> str:
    text = world.PLANT
    for name, key in people:
        text += f'\n[[person]]\nid = "{name}"\n' + (f'key = "{key}"\n' if key else "")
    return text + f'\n[[setting]]\nid = "unsigned-events"\nvalue = "{unsigned}"\n'


def _loaded(command: Command, *people: tuple[str, str], unsigned: str = "refused") -> None:
    command.ok("load", command.file("plant.toml", _plant(*people, unsigned=unsigned)), "--by", "survey")


def test_a_key_is_the_users_alone_and_never_written_over(empty: Command, keys: Path) -> None:
    """Each is made anew, in a file of mode 600 in a folder of mode 700; a second one leaves the first alone."""
    first, second = (empty.json_of("key", "new", "ANN") for _ in range(2))
    assert first["key"] != second["key"]
    files = sorted(keys.iterdir())
    assert [str(path) for path in files] == sorted((first["file"], second["file"]))
    assert {stat.S_IMODE(path.stat().st_mode) for path in files} == {0o600}
    assert stat.S_IMODE(keys.stat().st_mode) == 0o700
    assert {one["key"] for one in empty.json_of("key", "list")["keys"]} == {first["key"], second["key"]}
    assert empty("key", "new", "../ANN").status == 2
    assert len(list(keys.iterdir())) == 2


def test_what_is_recorded_is_signed_by_the_key_that_the_plant_knows(empty: Command) -> None:
    """Without a word; and the history, its JSON, the proof and the audit say by whom."""
    key = empty.json_of("key", "new", "ANN")["key"]
    empty.ok("key", "new", "ANN")  # one that nobody knows
    _loaded(empty, ("ANN", key))
    empty.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1", "--by", "BO")
    assert "signed ANN" in " ".join(empty.ok("history", "PUMP-1:F2").split())
    assert empty.json_of("history", "PUMP-1:F2")["history"][-1]["signed"] == {"by": "ANN", "key": key}
    proof = empty.file("proof.json", empty.ok("prove", "E1"))
    assert f"signed by ANN with {key}" in empty.ok("verify", proof, "--kept", empty.ok("head"))
    assert "1 of them is signed" in empty.ok("audit")


def test_without_a_key_nothing_is_recorded_in_a_strict_plant(empty: Command) -> None:
    """The refusal says what to do; and reading needs no key."""
    _loaded(empty, ("ANN", ""))
    answer = empty("cap", "PUMP-1:F2", "--at", AT)
    assert answer.status == 3
    assert "unsigned" in answer.err
    assert "cfgtrack key new" in answer.err
    assert empty("state").status == 0


def test_of_several_keys_somebody_says_which(empty: Command) -> None:
    """With two people's keys here nobody guesses whose is meant; one that isn't here, or not known, is refused."""
    ann, bo = (empty.json_of("key", "new", name)["key"] for name in ("ANN", "BO"))
    empty.ok("key", "new", "CY")
    _loaded(empty, ("ANN", ann), ("BO", bo), ("CY", ""), unsigned="allowed")
    answer = empty("cap", "PUMP-1:F2", "--at", AT)
    assert answer.status == 0
    assert "not signed" in answer.err
    empty.ok("uncap", "PUMP-1:F2", "--at", AT, "--sign", "BO")
    assert empty.json_of("history", "PUMP-1:F2")["history"][-1]["signed"]["by"] == "BO"
    for name in ("CY", "DEE"):
        answer = empty("cap", "PUMP-1:F2", "--at", AT, "--sign", name)
        assert (answer.status, answer.out) == (2, "")
        assert "no-key" in answer.err


@pytest.mark.parametrize("damage", ["open", "cut", "other"])
def test_a_key_that_is_not_as_it_was_made_signs_nothing(damage: str, empty: Command) -> None:
    """One that others may read, is damaged, or isn't the private half of what it says, is refused."""
    made, other = (empty.json_of("key", "new", name) for name in ("ANN", "BO"))
    file = Path(made["file"])
    lines = file.read_text().splitlines(keepends=True)
    if damage == "open":
        file.chmod(0o644)
    elif damage == "cut":
        file.write_text("".join(lines[:2]))
    else:
        file.write_text(lines[0] + "".join(Path(other["file"]).read_text().splitlines(keepends=True)[1:]))
    empty.ok("load", empty.file("plant.toml", _plant(("ANN", made["key"]))))
    answer = empty("cap", "PUMP-1:F2", "--at", AT)
    assert (answer.status, answer.out) == (2, "")
    assert str(file) in answer.err


@pytest.mark.parametrize("damage", ["head", "cut", "empty", "bytes"])
def test_a_damaged_key_is_told_as_one(damage: str, empty: Command, keys: Path) -> None:
    """It isn't taken for one that was never there: the list names it, and so does whoever wants to sign with it."""
    made = empty.json_of("key", "new", "ANN")
    file = Path(made["file"])
    _loaded(empty, ("ANN", made["key"]))
    whole = file.read_bytes()
    file.write_bytes({"head": b"x" + whole, "cut": whole[:40], "empty": b"", "bytes": b"\xff" * 100}[damage])
    listed = empty.ok("key", "list")
    assert f"{file}: damaged" in listed
    assert empty.json_of("key", "list")["damaged"] == [str(file)]
    for words in (("--sign", "ANN"), ()):
        answer = empty("cap", "PUMP-1:F2", "--at", AT, *words)
        assert answer.status in (2, 3), answer
        assert f"{file}" in answer.err
        assert "damaged" in answer.err
    assert keys in file.parents
    # Somebody's own file is not ours to judge.
    (keys / "notes.pem").write_text("-----BEGIN CERTIFICATE-----\n")
    assert "notes" not in empty.ok("key", "list")


def _lost(empty: Command, keys: Path) -> tuple[str, str]:
    """A strict plant in which nobody has his key any more, and ANN a new one that isn't defined; the old one's text."""
    old = empty.json_of("key", "new", "ANN")
    _loaded(empty, ("ANN", old["key"]))
    empty.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    for path in keys.iterdir():
        path.unlink()
    return old["key"], empty.json_of("key", "new", "ANN")["key"]


def test_keys_that_are_lost_are_replaced_and_every_audit_says_so(empty: Command, keys: Path) -> None:
    """Nobody can sign: new keys come in unsigned for a reason, work from then on, and history and audit tell it."""
    _, new = _lost(empty, keys)
    file = empty.file("plant.toml", _plant(("ANN", new)))
    refused = empty("load", file)
    assert refused.status == 3
    assert "--keys-lost REASON" in refused.err
    since = format_instant(parse_instant(empty.json_of("history")["history"][-1]["known"]) + SECOND)
    told = empty("load", file, "--keys-lost", "the shed burned down", "--effective", since)
    assert told.status == 0
    assert "nobody has signed this" in told.err
    empty.ok("uncap", "PUMP-1:F2", "--at", AT, "--id", "E2")
    lines = empty.json_of("history")["history"]
    assert lines[-1]["signed"]["key"] == new
    assert lines[-2]["body"]["keys_lost"] == "the shed burned down"
    assert "SIGNED BY NOBODY" in empty.ok("history")
    audited = empty.json_of("audit")
    assert audited["sound"]
    assert [doubt["code"] for doubt in audited["doubts"]] == ["keys-lost"]
    assert "brings keys of ANN" in audited["doubts"][0]["sentence"]
    # An archive keeps it, and is told the same of.
    empty.ok("export", "--form", "archive", "-o", empty.folder / "all.jsonl")
    empty.ok("--db", empty.folder / "new.db", "restore", empty.folder / "all.jsonl")
    assert "keys-lost" in empty.ok("--db", empty.folder / "new.db", "audit")


@pytest.mark.parametrize("also", ["setting", "person", "unit", "initial", "role"])
def test_with_lost_keys_nothing_but_keys_comes_in(also: str, empty: Command, keys: Path) -> None:
    """What else the files say is refused, and nothing is written: neither the setting, nor people, nor hardware."""
    _, new = _lost(empty, keys)
    text = _plant(("ANN", new), unsigned="allowed" if also == "setting" else "refused")
    text += {"person": '[[person]]\nid = "EVE"\n', "unit": '[[unit]]\nid = "PUMP-9"\npart = "pump"\n'}.get(
        also, ""
    )
    if also == "role":
        text = text.replace('id = "ANN"\n', 'id = "ANN"\nroles = ["administer"]\n')
    if also == "initial":
        text += '[initial]\n"PUMP-1:F2" = "capped"\n' if "[initial]" not in text else ""
        text = text.replace("[initial]\n", '[initial]\n"PUMP-2:F2" = "capped"\n', 1)
    before = empty.ok("head")
    answer = empty("load", empty.file("plant.toml", text), "--keys-lost", "so I say")
    assert answer.status in (2, 3), answer.out
    assert answer.out == ""
    assert empty.ok("head") == before


def test_who_can_sign_has_lost_nothing(empty: Command) -> None:
    """Where a key is here that the plant knows, or none is asked for, keys aren't lost."""
    old, new = (empty.json_of("key", "new", "ANN")["key"] for _ in range(2))
    _loaded(empty, ("ANN", old))
    file = empty.file("plant.toml", _plant(("ANN", new)))
    answer = empty("load", file, "--keys-lost", "so I say")
    assert (answer.status, answer.out) == (3, "")
    assert "needless" in answer.err
    assert empty("load", file, "--keys-lost", " ").status == 2
    empty.ok("load", file)
    empty.ok("load", empty.file("plant.toml", _plant(("ANN", new), unsigned="allowed")))
    answer = empty(
        "load", empty.file("plant.toml", _plant(("ANN", old), unsigned="allowed")), "--keys-lost", "x"
    )
    assert "needless" in answer.err


def test_with_roles_only_who_administers_replaces_lost_keys(empty: Command, keys: Path) -> None:
    """In a file he says who he is, as ever; whoever hasn't the role is refused."""
    old = empty.json_of("key", "new", "ANN")["key"]
    roles = '\n[[person]]\nid = "{}"\nroles = ["{}"]\n'.format
    people = (
        roles("ADA", "administer")
        + roles("BO", "record")
        + f'\n[[person]]\nid = "ANN"\nroles = ["record"]\nkey = "{old}"\n'
    )
    file = empty.file("plant.toml", _plant() + people)
    empty.ok("load", file)
    for path in keys.iterdir():
        path.unlink()
    new = empty.json_of("key", "new", "ANN")["key"]
    file.write_text(file.read_text().replace(old, new))
    for who in ("BO", "NOBODY"):
        answer = empty("load", file, "--keys-lost", "burned", "--recorder", who)
        assert (answer.status, answer.out) == (3, "")
        assert "not-allowed" in answer.err
        assert "ADA could" in answer.err
    empty.ok("load", file, "--keys-lost", "burned", "--recorder", "ADA")
    assert empty.ok("audit").startswith("sound")


def test_nobody_calls_a_change_lost_keys(empty: Command, keys: Path) -> None:
    """Whoever writes the file and marks an unsigned load of other things so is found by the audit, as ever."""
    import json

    from cfgtrack.store.canonical import canonical_json
    from cfgtrack.store.loading import texts_hash
    from tests.store.forging import heads_anew, leaves_anew, unguarded

    _, new = _lost(empty, keys)
    empty.ok("load", empty.file("plant.toml", _plant(("ANN", new))), "--keys-lost", "burned")
    with unguarded(empty.db) as connection:
        number, body = connection.execute("SELECT number, body FROM event ORDER BY number DESC").fetchone()
        [(person,)] = connection.execute("SELECT body FROM item WHERE load = ?", (number,))
        other = canonical_json({**json.loads(person), "roles": ["administer"]}).decode()
        event = json.loads(body)
        event["body"]["items"] = texts_hash({"person": {"ANN": other}})
        row = (canonical_json(event).decode(), number)
        connection.execute("UPDATE event SET body = ? WHERE number = ?", row)
        connection.execute("UPDATE item SET body = ? WHERE load = ?", (other, number))
        leaves_anew(connection)
        heads_anew(connection)
    codes = {fault["code"] for fault in empty("audit", "--json").json["answer"]["faults"]}
    assert "unsigned" in codes
    assert not codes & {"leaf", "tree-head", "definition"}


def test_a_key_is_replaced_and_revoked_by_the_definition(empty: Command) -> None:
    """A load with a date, signed with the old key, brings the new one; from then on the old one is refused."""
    old, new = (empty.json_of("key", "new", "ANN") for _ in range(2))
    _loaded(empty, ("ANN", old["key"]))
    empty.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    file = empty.file("plant.toml", _plant(("ANN", new["key"])))
    empty.ok("load", file, "--effective", AT, "--reason", "laptop lost")
    Path(new["file"]).rename(empty.folder / "kept.pem")
    assert "unsigned" in empty("uncap", "PUMP-1:F2", "--at", AT).err
    (empty.folder / "kept.pem").rename(new["file"])
    empty.ok("uncap", "PUMP-1:F2", "--at", AT)
    keys = [one.get("signed", {}).get("key") for one in empty.json_of("history", "PUMP-1:F2")["history"]]
    assert keys[-2:] == [old["key"], new["key"]]
    assert empty.ok("audit").startswith("sound")


def test_what_a_revoked_key_had_signed_is_told(empty: Command) -> None:
    """Told later that a key was lost before, the history and the audit name what it signed since."""
    old, new = (empty.json_of("key", "new", "ANN") for _ in range(2))
    _loaded(empty, ("ANN", old["key"]))
    empty.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    assert empty("history").err == ""
    file = empty.file("plant.toml", _plant(("ANN", new["key"])))
    empty.ok("load", file, "--effective", "2031-05-01T09:00:00Z", "--reason", "lost before that")
    for words in (("history",), ("history", "PUMP-1:F2")):
        assert "event E1 is signed with a key that was that of ANN no longer" in empty(*words).err
    assert "event E1 (number " in empty.ok("audit")
    assert "revoked" in empty.ok("audit")


def test_a_key_of_another_sort_is_none(empty: Command) -> None:
    """A file whose key says that it is of a sort that the library doesn't know (one bit of its OID) is no key."""
    made = empty.json_of("key", "new", "ANN")
    path = Path(made["file"])
    lines = path.read_text().splitlines()
    raw = bytearray(base64.b64decode(lines[2]))
    raw[raw.index(b"\x2b\x65\x70") + 2] ^= 0x15  # 1.3.101.112 is Ed25519 (RFC 8410)
    path.write_text("\n".join((*lines[:2], base64.b64encode(raw).decode(), *lines[3:])) + "\n")
    empty.ok("load", empty.file("plant.toml", _plant(("ANN", made["key"]))))
    answer = empty("inspect", "PUMP-1", "--sign", "ANN")
    assert answer.status == 2
    assert "not-a-key" in answer.err or "damaged" in answer.err, answer.err
