"""The record proves itself, and survives the loss of its database."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from cfgtrack.answers.trust import verify
from cfgtrack.model.trouble import BadInput
from cfgtrack.store.canonical import canonical_json
from cfgtrack.store.merkle import leaf_hash
from cfgtrack.store.rows import leaf_record
from tests.cli.conftest import Command
from tests.store.forging import unguarded

AT = "2031-05-01T10:00:00Z"


def test_audit_against_kept_head(cfgtrack: Command) -> None:
    """A sound journal audits clean, also against a head that was kept; against a foreign head it doesn't."""
    head = cfgtrack.ok("head").strip()
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    assert cfgtrack.ok("audit", "--kept", head).startswith("sound")
    size, root, known = head.split()
    foreign = " ".join((size, root[::-1], known))
    answer = cfgtrack("audit", "--kept", foreign, "--json")
    assert answer.status == 3
    assert [f["code"] for f in answer.json["faults"]] == ["rewritten"]
    assert cfgtrack("audit", "--kept", "nonsense").status == 2


def test_audit_names_the_changed_event(cfgtrack: Command) -> None:
    """A change behind the program's back is found, and the event is named."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    cfgtrack.ok("uncap", "PUMP-1:F2", "--at", AT, "--id", "E2")
    with unguarded(cfgtrack.db) as connection:
        connection.execute("UPDATE event SET body = replace(body, 'F2', 'F1') WHERE id = 'E1'")
    answer = cfgtrack("audit")
    assert answer.status == 3
    assert "event E1" in answer.out


def test_proof_without_database(cfgtrack: Command) -> None:
    """One event's place in the journal is proved to somebody who has only the proof and a head."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    head = cfgtrack.ok("head").strip()
    proof = cfgtrack.file("proof.json", cfgtrack.ok("prove", "E1"))
    cfgtrack.db.unlink()
    assert cfgtrack.ok("verify", proof, "--kept", head).startswith("verified")
    assert cfgtrack("verify", proof).status == 4
    assert cfgtrack("verify", proof, "--kept", "1 " + "00" * 32 + " 0").status == 3
    proof.write_text(proof.read_text().replace("F2", "F1"))
    assert cfgtrack("verify", proof).status == 2
    assert cfgtrack("verify", cfgtrack.file("no.json", "no")).status == 2


def test_consistency_proof(cfgtrack: Command) -> None:
    """That the journal only grew since a kept head is proved likewise."""
    head = cfgtrack.ok("head").strip()
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    proof = cfgtrack.ok("prove", "--kept", head)
    assert cfgtrack.ok("verify", "-", "--kept", head, stdin=proof).startswith("verified")
    assert cfgtrack("prove").status == 2


@pytest.mark.parametrize("archive", [False, True])
def test_backup_and_restore(archive: bool, cfgtrack: Command) -> None:
    """A backup, or an archive, makes the same journal again; nothing is ever overwritten."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    head, history = cfgtrack.ok("head"), cfgtrack.json_of("history")["history"]
    copy = cfgtrack.folder / "copy"
    if archive:
        cfgtrack.ok("export", "--form", "archive", "-o", copy)
    else:
        cfgtrack.ok("backup", copy)
    assert cfgtrack("restore", copy).status == 4
    for file in cfgtrack.folder.glob("plant.db*"):
        file.unlink()
    cfgtrack.ok("restore", copy)
    assert (cfgtrack.ok("head"), cfgtrack.json_of("history")["history"]) == (head, history)
    assert cfgtrack.ok("audit").startswith("sound")
    assert cfgtrack("restore", cfgtrack.folder / "none").status == 2


def test_migrate_leaves_a_newer_database_alone(cfgtrack: Command) -> None:
    """The database of a newer program stays as it is: it is told, and the status is 4."""
    with closing(sqlite3.connect(cfgtrack.db)) as database, database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
    before = cfgtrack.db.read_bytes()
    answer = cfgtrack("migrate")
    assert (answer.status, answer.out) == (4, "")
    assert "its schema is 9999, newer than this program's" in answer.err
    assert cfgtrack.db.read_bytes() == before


def test_rebuild_and_migrate(cfgtrack: Command) -> None:
    """Derived states are made anew with the same answers; a current schema needs no migration."""
    before = cfgtrack.ok("state")
    assert cfgtrack.ok("rebuild").startswith("rebuilt from")
    assert cfgtrack.ok("state", "--at", "2031-05-01T09:00:03Z").splitlines()[1:] == before.splitlines()[1:]
    assert cfgtrack.ok("migrate").startswith("already at")


CHANGED = {
    "a time that is a text": "UPDATE event SET happened = 'noon'",
    "content that is no JSON": "UPDATE event SET body = '{'",
    "content that is no event": "UPDATE event SET body = '[]'",
    "an item that is no JSON": "UPDATE item SET body = '{'",
}


@pytest.mark.parametrize("what", CHANGED)
def test_what_falls_over_a_changed_journal_says_so(what: str, cfgtrack: Command) -> None:
    """Whatever somebody did to it, each question is answered, or it is said that it was changed: no traceback."""
    with unguarded(cfgtrack.db) as connection:
        connection.execute(CHANGED[what])
    said = []
    for words in (
        ("state",),
        ("history",),
        ("findings",),
        ("export",),
        ("head",),
        ("cap", "PUMP-1:F2"),
        ("plant",),
    ):
        answer = cfgtrack(*words)
        assert answer.status in (0, 3, 4), (words, answer)
        said.append(answer.err)
    assert "the journal: changed: it isn't as it was recorded" in "".join(said)
    assert "`cfgtrack audit` says where" in "".join(said)
    assert cfgtrack("audit").status == 3


def test_a_bug_stays_a_bug(cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """What falls over a sound journal is no matter of the journal's, and comes out as itself."""

    def fall(*_: object, **__: object) -> None:
        raise RuntimeError("a bug")

    monkeypatch.setattr("cfgtrack.answers.trust.head", fall)
    with pytest.raises(RuntimeError, match="a bug"):
        cfgtrack("head")


def _forms(cfgtrack: Command) -> list[str]:
    """The present head in all the forms in which somebody may have it."""
    head = cfgtrack.json_of("head")["head"]
    spoken = head["short"].upper().replace("-", " ")
    file = cfgtrack.file("kept head.txt", cfgtrack.ok("head"))
    return [head["text"], head["text"].upper(), f"{head['size']} {head['root']}", head["short"], spoken,
            f"head {head['short']}", str(file)]  # fmt: skip


def test_a_head_is_taken_in_every_form_wherever_one_is_taken(cfgtrack: Command) -> None:
    """In full, in short, as it came over a radio or in a file: for a handover, an audit, a proof and its verifying."""
    forms = _forms(cfgtrack)
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    for number, form in enumerate(forms):
        cfgtrack.ok("end", "SHIFT-1", "--id", f"H{number}", "--at", AT, "--head", form)
        body = cfgtrack.json_of("history")["history"][-1]["body"]
        assert f"{body['head']['size']} {body['head']['root']}" in forms[0]
        assert cfgtrack.ok("audit", "--kept", form).startswith("sound"), form
        growth = cfgtrack.ok("prove", "--kept", form)
        assert cfgtrack.ok("verify", "-", "--kept", form, stdin=growth), form
    now = _forms(cfgtrack)
    proof = cfgtrack.ok("prove", "E1")
    for form in now:
        assert cfgtrack.ok("verify", "-", "--kept", form, stdin=proof), form


def test_a_short_head_says_how_much_it_proves(cfgtrack: Command) -> None:
    """Sixty bits can be read out, and are fewer than a root has; another head is another one in short, too."""
    head = cfgtrack.json_of("head")["head"]
    assert "60 bits" in cfgtrack.ok("audit", "--kept", head["short"])
    assert "bits" not in cfgtrack.ok("audit", "--kept", head["text"])
    assert cfgtrack.json_of("audit", "--kept", head["short"])["kept"] == {
        "size": head["size"], "root": None, "bits": 60
    }  # fmt: skip
    other = head["short"][:-1] + ("z" if head["short"][-1] != "z" else "y")
    assert cfgtrack("audit", "--kept", other).status == 3
    assert cfgtrack("prove", "--kept", other).status == 3


@pytest.mark.parametrize("text", ["nonsense words", "1 00 0", "-1 aaaa-aaaa-aaaa", "5 iiii-llll-oooo"])
@pytest.mark.parametrize("words", ["audit --kept", "prove --kept", "verify - --kept", "begin S --head"])
def test_what_is_no_head_is_said_to_be_none(text: str, words: str, cfgtrack: Command) -> None:
    """Whatever takes a head says of what is none what a head looks like."""
    answer = cfgtrack(*words.split(), text, stdin=cfgtrack.ok("prove", "define:1"))
    assert (answer.status, answer.out) == (2, "")
    assert "not-a-head" in answer.err


def test_a_file_that_is_missing_is_said_to_be(cfgtrack: Command) -> None:
    """A head has a blank in it: what has none is the name of a file that isn't there."""
    answer = cfgtrack("audit", "--kept", "missing.txt")
    assert (answer.status, answer.out) == (2, "")
    assert "missing.txt: no-such-file" in answer.err
    assert cfgtrack("audit", "--kept", "/dev/zero").status == 2
    assert cfgtrack("audit", "--kept", cfgtrack.file("long.txt", "1 " * 2_000)).status == 2


def test_what_is_proved_is_printed(cfgtrack: Command) -> None:
    """Which event it is, in words, when it happened and when it became known: what the proof's hashes cover."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    said = cfgtrack.ok("verify", "-", "--kept", cfgtrack.ok("head"), stdin=cfgtrack.ok("prove", "E1"))
    entry = cfgtrack.json_of("history")["history"][-1]
    assert said.splitlines()[1:3] == [
        f"  event E1 (number {entry['number']}): cap PUMP-1:F2",
        f"  happened {AT}, known {entry['known']}",
    ]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("{", '{"event": {"id": "E9", "action": "uncap"},'),
        ("{", '{"verified": true,'),
        ('"id": "E1"', '"id": "E0", "id": "E1"'),
        ('"size":', '"size": 3, "size":'),
        ('"size":', '"by": "ANN", "size":'),
        ('"number": ', '"number": 1e0, "was": '),
    ],
)
def test_a_proof_says_nothing_that_is_not_proved(old: str, new: str, cfgtrack: Command) -> None:
    """A name twice, of which one reader takes the first and another the last, or one more than proofs have: refused."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    proof = cfgtrack.ok("prove", "E1")
    assert old in proof
    answer = cfgtrack("verify", "-", "--kept", cfgtrack.ok("head"), stdin=proof.replace(old, new, 1))
    assert (answer.status, answer.out) == (2, "")


def test_what_no_hash_covers_is_not_printed(cfgtrack: Command) -> None:
    """A proof tells when the last event of its head became known, and nothing proves it."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    data = json.loads(cfgtrack.ok("prove", "E1"))
    for known in (77777, None):
        data["head"]["known"] = known
        for json_too in ((), ("--json",)):
            head = cfgtrack.ok("head")
            said = cfgtrack.ok("verify", "-", "--kept", head, *json_too, stdin=json.dumps(data))
            assert "77777" not in said


def test_a_proof_without_a_kept_head_agrees_with_itself(cfgtrack: Command) -> None:
    """Whoever makes a journal of his own can make such a proof: so nobody is told that it is verified."""
    answer = cfgtrack("verify", "-", stdin=cfgtrack.ok("prove", "define:1"))
    assert answer.status == 4
    assert answer.out.startswith("agrees with itself")
    assert "--kept" in answer.out
    answer = cfgtrack("verify", "-", "--json", stdin=cfgtrack.ok("prove", "define:1"))
    assert (answer.status, answer.json["verified"], answer.json["is_kept"]) == (4, False, None)


def test_nothing_endless_is_read_as_a_proof(cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """A device that never ends is too large, as a file is."""
    monkeypatch.setattr("cfgtrack.answers.trust.MOST_OF_A_PROOF", 100_000)
    with Path("/dev/zero").open(encoding="utf-8") as endless, pytest.raises(BadInput) as found:
        verify(endless)
    assert found.value.problems[0].code == "too-large"


def _own(event: dict[str, object], known: int = 1) -> str:
    """A proof out of a journal of one event that somebody made himself."""
    head = {"size": 1, "root": leaf_hash(leaf_record(canonical_json(event), 1, known)).hex()}
    told = {"number": 1, "known": known, "head": head, "path": []}
    return json.dumps({"proof": "inclusion", "event": event, **told})


PLAIN: dict[str, object] = {"id": "E1", "action": "cap", "happened": 1, "subjects": ["A:B"]}
FIELDS = (
    "outing",
    "body",
    "subjects",
    "values",
    "happened",
    "id",
    "action",
    "moved",
    "status",
    "place",
    "by",
    "remark",
)
ODD: tuple[object, ...] = (
    "x",
    1,
    1.5,
    [],
    [1],
    {"x": 1},
    {"x": {"y": 1}},
    None,
    True,
    "\u202e\x1b[2J",
    2**53 - 1,
)
ACTIONS = (
    "begin",
    "end",
    "mate",
    "define",
    "approve",
    "measure",
    "torque",
    "transfer",
    "withdraw",
    "nonsense",
    "",
)


@pytest.mark.parametrize(
    "event",
    [
        PLAIN,
        *({**PLAIN, name: value} for name in FIELDS for value in ODD),
        *({**PLAIN, "action": action, "subjects": []} for action in ACTIONS),
    ],
    ids=str,
)
def test_a_proof_of_a_journal_of_ones_own_is_told_or_refused(
    event: dict[str, object], empty: Command
) -> None:
    """Whatever somebody puts under hashes that fit: it is told as an event, or it is no proof; it is never a crash."""
    for words in ((), ("--json",)):
        answer = empty("verify", "-", *words, stdin=_own(event))
        assert answer.status in (2, 4), answer.err
        assert bool(answer.out) is (answer.status == 4)
        assert "\x1b" not in answer.out + answer.err


def test_a_proof_of_a_time_that_none_holds_is_none(empty: Command) -> None:
    """A journal holds no such time."""
    assert empty("verify", "-", stdin=_own(PLAIN, known=2**62)).status == 2
