"""What is signed is what was said, and nothing else passes: at the door, when it is fed again, and in the audit."""

import io
import json
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from cfgtrack.files.rows import read_rows, write_jsonl
from cfgtrack.model.action import Action
from cfgtrack.model.setting import ALLOWED
from cfgtrack.model.signature import Signed, signed_to_json
from cfgtrack.model.trouble import BadInput, Problem, Refused
from cfgtrack.store.archive import read_archive, write_archive
from cfgtrack.store.audit import audit
from cfgtrack.store.database import Database
from cfgtrack.store.journal import Journal, open_journal
from cfgtrack.store.loading import Effect
from cfgtrack.store.merkle import leaf_hash
from cfgtrack.store.proof import current_head, prove, signed_in, verify_proof
from cfgtrack.store.rows import leaf_record
from cfgtrack.store.signing import identity, is_good, sign, signed_text
from tests.store.forging import heads_anew, leaves_anew, unguarded
from tests.store.signers import BAG, INA, INA_LATER, STRICT, knowing
from tests.store.world import START

UNCAP = Action("e1", "uncap", ("Y:F",), START + 1, by="INA", remark="näht ©")
CAP = Action("e2", "cap", ("Y:F",), START + 2, by="INA")


@pytest.fixture
def clock() -> Callable[[], int]:
    """A clock that goes on by ten with each look."""
    ticks = iter(range(START + 10, START + 1_000_000, 10))
    return lambda: next(ticks)


@pytest.fixture
def journal(url: str, clock: Callable[[], int]) -> Iterator[Journal]:
    """A journal of a plant that takes signed events alone; INA signs."""
    with open_journal(url, clock=clock) as opened:
        opened.load(STRICT, by="survey", recorder=None)
        opened.signer = INA
        yield opened


def codes(refused: pytest.ExceptionInfo[Refused]) -> list[str]:
    """Return the codes of a refusal."""
    return [problem.code for problem in refused.value.problems]


# --- the leaf --------------------------------------------------------------------------------------------------------


def test_the_leaf_of_what_is_not_signed_is_as_it_always_was() -> None:
    """A signature makes a leaf of version 2; without one it is byte for byte what it was before there were any."""
    assert leaf_record(b'{"a":1}', 7, 8) == b'{"event":{"a":1},"known":8,"number":7}'
    signed = leaf_record(b'{"a":1}', 7, 8, b'{"by":"INA"}')
    assert signed == b'{"event":{"a":1},"known":8,"number":7,"signed":{"by":"INA"},"version":2}'


def test_the_leaf_holds_the_signature(journal: Journal) -> None:
    """So a signature that is taken away or exchanged is another leaf."""
    journal.record([UNCAP])
    row = journal.database.row("SELECT body, number, known, signed, leaf FROM event WHERE id = 'e1'")
    assert row is not None
    body, number, known, signed, leaf = row
    assert leaf_hash(leaf_record(body.encode(), number, known, signed.encode())) == bytes(leaf)
    assert json.loads(signed)["said"]["remark"] == "näht ©"


# --- at the door -----------------------------------------------------------------------------------------------------


def test_who_signs_is_kept_and_told(journal: Journal) -> None:
    """Who signed an event is told with it, in whichever way it is asked for; and the audit counts it."""
    journal.record([UNCAP])
    found = [
        journal.entry("e1"),
        *(one.entry for one in journal.log() if one.entry.event.id == "e1"),
        *(one for one in journal.entries() if one.event.id == "e1"),
        *journal.history("Y:F"),
    ]
    assert [one and one.event.signed and one.event.signed.by for one in found] == ["INA"] * 4
    report = audit(journal.database)
    assert (report.faults, report.signed, report.doubts) == ([], 1, [])


def test_unsigned_events_are_refused_where_the_plant_says_so(journal: Journal) -> None:
    """Whatever the way in: a record, a correction, a load, rules, a retirement. A repeat is harmless."""
    journal.record([UNCAP])
    journal.signer = None
    before = current_head(journal.database)
    attempts: list[Callable[[], Any]] = [
        lambda: journal.record([CAP]),
        lambda: journal.correct([replace(UNCAP, id="e3", supersedes="e1", reason="so")]),
        lambda: journal.load(knowing(INA, BAG, unsigned=ALLOWED), by=None, recorder=None),
        lambda: journal.keep_rules({"own.toml": "# one"}, by=None, recorder=None),
        lambda: journal.retire("Z", Effect(START + 5, "worn"), by=None, recorder=None, event_id="r1"),
    ]
    for attempt in attempts:
        with pytest.raises(Refused) as refused:
            attempt()
        assert codes(refused) == ["unsigned"]
    assert current_head(journal.database) == before
    assert [entry.number for entry in journal.record([UNCAP])] == [before.size]


def test_unsigned_events_are_taken_where_nobody_says_otherwise(url: str, clock: Callable[[], int]) -> None:
    """A plant whose people have keys goes on to take what isn't signed, until it says otherwise."""
    with open_journal(url, clock=clock) as journal:
        journal.load(knowing(INA), by=None, recorder=None)
        journal.record([UNCAP])
        journal.signer = INA
        journal.record([CAP])
        assert [line.entry.event.signed is not None for line in journal.log()][-2:] == [False, True]
        assert audit(journal.database).signed == 1


def test_nobody_brings_a_key_and_what_it_signs_at_once(url: str, clock: Callable[[], int]) -> None:
    """A key counts from the transaction after the one that defines it."""
    with open_journal(url, clock=clock) as journal:
        journal.load(STRICT, by=None, recorder=None)
        journal.signer = BAG
        with pytest.raises(Refused) as refused:
            journal.load(knowing(INA, BAG, unsigned=ALLOWED), by=None, recorder=None)
        assert codes(refused) == ["no-key"]


def _altered(signed: Signed, **said: Any) -> Signed:
    return replace(signed, said={**signed.said, **said})


FORGERIES: dict[str, tuple[Callable[[Signed], Signed], str]] = {
    "another action": (lambda s: _altered(s, subjects=["Z:F"]), "forged"),
    "another time": (lambda s: _altered(s, happened=START + 3), "forged"),
    "another doer": (lambda s: _altered(s, by="BAG"), "forged"),
    "another id": (lambda s: _altered(s, id="e9"), "forged"),
    "no action": (lambda s: _altered(s, nonsense=1), "forged"),
    "another person": (lambda s: replace(s, by="BAG"), "no-key"),
    "another key": (lambda s: replace(s, key=BAG.key), "other-key"),
    "another journal": (lambda s: replace(s, journal="00" * 32), "other-journal"),
    "a bit of the signature": (lambda s: replace(s, signature=f"{int(s.signature, 16) ^ 1:0128x}"), "forged"),
}


@pytest.mark.parametrize("what", FORGERIES)
def test_what_somebody_else_made_of_it_is_refused(what: str, journal: Journal) -> None:
    """Whatever is changed in what is signed, or in the signature, is refused, and nothing is recorded."""
    name = identity(journal.database)
    assert name is not None
    good = sign(UNCAP, INA, name)
    assert good.signed is not None
    change, code = FORGERIES[what]
    with pytest.raises(Refused) as refused:
        journal.record([replace(UNCAP, signed=change(good.signed))])
    assert codes(refused) == [code]
    journal.signer = None
    assert journal.record([good])[0].event.signed == good.signed


def test_what_is_signed_is_what_is_recorded(journal: Journal) -> None:
    """A good signature under another action than the one that comes with it is refused."""
    name = identity(journal.database)
    assert name is not None
    for other in (
        replace(UNCAP, subjects=("Z:F",)),
        replace(UNCAP, happened=START + 2),
        replace(UNCAP, id="x"),
    ):
        with pytest.raises(Refused) as refused:
            journal.record([replace(other, signed=sign(UNCAP, INA, name).signed)])
        assert codes(refused) == ["forged"]


# --- keys come and go ------------------------------------------------------------------------------------------------


def _another_key(journal: Journal, at: int, *signers: Any) -> None:
    journal.load(
        knowing(*signers, unsigned="refused"), by=None, recorder=None, effect=Effect(at, "lost the old one")
    )


def test_a_key_is_replaced_from_a_date_on(journal: Journal) -> None:
    """The old key signs what replaces it, and no more after that, whatever time its events say; the new one does."""
    journal.record([UNCAP])
    _another_key(journal, START + 25, INA_LATER)
    with pytest.raises(Refused) as refused:
        journal.record([replace(CAP, happened=START + 3)])
    assert codes(refused) == ["other-key"]
    journal.signer = INA_LATER
    journal.record([CAP])
    report = audit(journal.database)
    assert (report.faults, report.signed) == ([], 3)


def test_a_key_is_revoked(journal: Journal) -> None:
    """A person without a key signs nothing any more."""
    _another_key(journal, START + 15, INA)
    journal.load(knowing(INA, BAG, unsigned="refused"), by=None, recorder=None)
    _another_key(journal, START + 25, BAG)
    with pytest.raises(Refused) as refused:
        journal.record([UNCAP])
    assert codes(refused) == ["no-key"]


def test_what_a_revoked_key_had_signed_is_doubted(journal: Journal) -> None:
    """Told later that a key was revoked by then, the audit names what it signed since; that is no fault."""
    journal.record([UNCAP])
    entry = journal.entry("e1")
    assert entry is not None
    _another_key(journal, entry.known - 1, INA_LATER)
    report = audit(journal.database)
    assert report.is_sound
    assert next((d.code, d.event) for d in report.doubts) == ("revoked", "e1")


# --- out and in again ------------------------------------------------------------------------------------------------


def test_signatures_survive_an_archive(
    journal: Journal, fresh_url: Callable[[], str], tmp_path: Path
) -> None:
    """What comes back out of an archive has the same head, and its signatures are as good."""
    journal.record([UNCAP])
    lines = list(write_archive(journal.database))
    target = str(tmp_path / "restored.db")
    read_archive(lines, target)
    with closing(Database(target)) as database:
        assert current_head(database) == current_head(journal.database)
        assert audit(database).signed == 1
    signed = next(i for i, line in enumerate(lines) if '"signed"' in line)
    lines[signed] = lines[signed].replace("n\u00e4ht", "naht")
    with pytest.raises(BadInput):
        read_archive(lines, str(tmp_path / "forged.db"))


def _fed(journal: Journal, text: str) -> list[str]:
    rows = list(read_rows(io.StringIO(text), journal.plant(), where="rows.jsonl"))
    problems = [row.sentence for row in rows if isinstance(row, Problem)]
    if not problems:
        journal.take(row for row in rows if not isinstance(row, Problem))
    return problems


def test_signed_rows_are_fed_to_a_copy_and_to_no_other_journal(
    journal: Journal, fresh_url: Callable[[], str], tmp_path: Path, clock: Callable[[], int]
) -> None:
    """What was recorded in one copy of a journal is taken, signatures and all, by another; by no other plant."""
    archive = list(write_archive(journal.database))
    journal.record([UNCAP, CAP])
    stream = io.StringIO()
    write_jsonl((one.entry for one in journal.log() if one.entry.event.id in ("e1", "e2")), stream)
    read_archive(archive, str(tmp_path / "copy.db"))
    with open_journal(str(tmp_path / "copy.db"), clock=clock) as copy:
        assert _fed(copy, stream.getvalue()) == []
        assert audit(copy.database).signed == 2
        assert _fed(copy, stream.getvalue().replace('"form":"', '"form":"x')) != []
    with open_journal(fresh_url(), clock=clock) as other:
        other.load(STRICT, by=None, recorder="x")
        with pytest.raises(Refused) as refused:
            _fed(other, stream.getvalue())
        assert set(codes(refused)) == {"other-journal"}


def test_a_row_whose_signature_was_edited_is_not_there_already(journal: Journal) -> None:
    """Of a row that is there already its signature is compared, too; one without is what people keep."""
    journal.record([UNCAP, CAP])
    stream = io.StringIO()
    write_jsonl((one.entry for one in journal.log() if one.entry.event.id == "e1"), stream)
    line = json.loads(stream.getvalue())
    assert _fed(journal, stream.getvalue()) == []
    for name, value in (("signature", "0" * 128), ("by", "BAG"), ("key", "ed25519:" + "0" * 64)):
        with pytest.raises(Refused, match="has another signature, of INA"):
            _fed(journal, json.dumps({**line, "signed": {**line["signed"], name: value}}) + "\n")
    del line["signed"]
    assert _fed(journal, json.dumps(line) + "\n") == []


def test_a_proof_says_who_signed(journal: Journal) -> None:
    """Somebody without the database learns who signed, with which key; and a forged signature proves nothing."""
    journal.record([UNCAP])
    data = prove(journal.database, "e1")
    assert verify_proof(data).head.root == current_head(journal.database).root
    signed = signed_in(data)
    assert signed is not None
    assert (signed.by, signed.key) == ("INA", INA.key)
    data["signed"]["by"] = "BAG"
    with pytest.raises(BadInput):
        verify_proof(data)
    with pytest.raises(BadInput) as found:
        signed_in(data)
    assert found.value.problems[0].code == "forged"


# --- the audit against somebody with the whole file ------------------------------------------------------------------


def _forge(path: str, number: int, signed: str | None, body: str | None = None) -> None:
    """Change one event as somebody would who has the whole file: leaves, tree and heads computed anew."""
    with unguarded(path) as c:
        c.execute("UPDATE event SET signed = ? WHERE number = ?", (signed, number))
        if body is not None:
            c.execute("UPDATE event SET body = ? WHERE number = ?", (body, number))
        leaves_anew(c)
        heads_anew(c)


@pytest.mark.parametrize("what", ["taken away", "another person's", "another body", "no signature"])
def test_a_forged_chain_does_not_get_by_the_signatures(
    what: str, sqlite_url: str, clock: Callable[[], int]
) -> None:
    """Who computes the whole tree anew still can't sign: the audit finds what isn't what somebody signed."""
    with open_journal(sqlite_url, clock=clock) as journal:
        journal.load(STRICT, by="survey", recorder=None)
        journal.signer = INA
        entry = journal.record([UNCAP])[0]
        name, signed = identity(journal.database), entry.event.signed
        row = journal.database.row("SELECT body FROM event WHERE id = 'e1'")
        assert name is not None
        assert signed is not None
        assert row is not None
    own = replace(signed, signature=BAG.sign(b"").hex())
    kept, body = signed_text(signed), str(row[0])
    changes: dict[str, tuple[str | None, str | None, str]] = {
        "taken away": (None, None, "unsigned"),
        "another person's": (signed_text(own), None, "signature"),
        "another body": (kept, body.replace('"by":"INA"', '"by":"BAG"'), "signature"),
        "no signature": (json.dumps({"by": "INA"}), None, "signature"),
    }
    text, content, code = changes[what]
    _forge(sqlite_url, entry.number, text, content)
    with closing(Database(sqlite_url)) as database:
        found = audit(database, state=False).faults
    assert {(fault.code, fault.event) for fault in found if fault.code != "unguarded"} == {(code, "e1")}


def test_the_json_of_a_signature_is_what_is_signed_and_the_signature() -> None:
    """What is kept needs nothing else to be checked."""
    action = sign(UNCAP, INA, "ab" * 32)
    assert action.signed is not None
    data = signed_to_json(action.signed)
    assert {name: data[name] for name in data if name != "signature"} == action.signed.signs
    assert is_good(action.signed)
