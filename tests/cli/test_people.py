"""People and roles in a file: the tool judges who says that he records; whoever may write the file decides."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from tests.cli import world
from tests.cli.conftest import Command
from tests.cli.peopled import CONFINING, TEXT

PLANT = TEXT.replace("2021-", "2031-") + CONFINING
AT = ("--at", "2031-05-01T10:00:00Z")


@pytest.fixture
def peopled(empty: Command) -> Command:
    """The command on the tiny plant with people."""
    empty.ok("load", empty.file("plant.toml", PLANT), "--by", "survey")
    return empty


def test_who_says_that_he_records_is_judged(peopled: Command) -> None:
    """By the name that he gives, else by his login: a refusal says what is missing and who could."""
    before = peopled.ok("head")
    for who, why in {
        "LOT": "LOT hasn't the role record; PIA, REC could",
        "PIA": "PIA may not record what is done to PUMP-2; REC could",
        "X": "X is no person of this plant; REC could",
    }.items():
        thing = "PUMP-1" if who == "LOT" else "PUMP-2"
        said = peopled("inspect", thing, *AT, "--id", "E", "--recorder", who)
        assert (said.status, said.out) == (3, "")
        assert said.err == f"inspect: not-allowed: event E: {why}\n"
    assert "is no person of this plant" in peopled("inspect", "PUMP-2", *AT).err
    assert peopled.ok("head") == before
    peopled.ok("inspect", "PUMP-1", *AT, "--recorder", "PIA")


def test_a_person_is_the_place_that_moves(empty: Command) -> None:
    """Whoever does something by his name is where it is done, and records by either name."""
    people = (
        '[[place]]\nid = "SUIT-7"\nmobile = true\n'
        '[[person]]\nid = "ANN"\nroles = ["record", "administer"]\nplace = "SUIT-7"\n'
    )
    empty.ok("load", empty.file("plant.toml", world.PLANT + people), "--by", "survey")
    for number, name in enumerate(("ANN", "SUIT-7")):
        said = empty.ok("inspect", "PUMP-1", *AT, "--id", f"E{number}", "--by", name, "--recorder", name)
        assert f"recorded E{number}: inspect PUMP-1" in said
        found = empty.json_of("history", "PUMP-1")["history"][-1]
        assert (found["by"], found["recorder"]) == ("SUIT-7", name)


def test_who_defines_does_not_raise_himself(peopled: Command) -> None:
    """People, permissions and settings need the role administer; hardware doesn't; and somebody must keep that role."""
    more = peopled.file("more.toml", '[[person]]\nid = "DEF"\nroles = ["define", "approve"]\n')
    said = peopled("load", more, "--recorder", "DEF")
    assert said.status == 3
    assert "not-allowed: DEF hasn't the role administer; ADM could" in said.err
    peopled.ok("load", peopled.file("hall.toml", '[[place]]\nid = "HALL-2"\n'), "--recorder", "DEF")
    assert "ADM hasn't the role define" in peopled("load", peopled.file("hall.toml", '[[place]]\nid = "HALL-3"\n'),
                                                   "--recorder", "ADM").err  # fmt: skip
    last = peopled.file("last.toml", '[[person]]\nid = "ADM"\nroles = ["look"]\n')
    assert "no-administrator" in peopled("load", last, "--recorder", "ADM").err
    peopled.ok("load", more, "--recorder", "ADM")


def test_roles_have_their_two_times(peopled: Command) -> None:
    """A role is given and taken by loads with a date; what counts is what is told and in effect when one records."""
    for number, (roles, status) in enumerate([('["record"]', 0), ('["look"]', 3), ('["record", "look"]', 0)]):
        file = peopled.file(f"{number}.toml", f'[[person]]\nid = "LOT"\nroles = {roles}\n')
        date = ("--effective", f"2031-05-01T08:1{number}:00Z", "--reason", "so it was")
        peopled.ok("load", file, *date, "--recorder", "ADM")
        assert peopled("inspect", "PUMP-1", *AT, "--recorder", "LOT").status == status


def test_the_audit_says_what_it_rests_on_and_who_went_round_the_tool(peopled: Command) -> None:
    """Of a file it is what each said; what somebody might not record, and is there all the same, is told."""
    peopled.ok("inspect", "PUMP-1", *AT, "--recorder", "REC", "--id", "E1")
    said = peopled.ok("audit")
    assert "who recorded is what each said, or signed: of a file whoever may write it decides" in said
    # Somebody who has the file lets himself record, and takes it back: each is sound, and both are told.
    other = peopled.folder / "other.db"
    peopled.ok("--db", other, "load", peopled.file("bare.toml", world.PLANT), "--by", "survey")
    assert "nobody has a role in this plant: everybody may do everything" in peopled.ok(
        "--db", other, "audit"
    )


def test_what_is_there_against_the_roles_is_a_doubt(
    peopled: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program that doesn't ask writes what its user may not: the journal is sound, and the audit names the event."""
    monkeypatch.setattr("cfgtrack.store.permit.may", lambda *_: None)
    peopled.ok("inspect", "PUMP-2", *AT, "--recorder", "PIA", "--id", "E1")
    peopled.ok("withdraw", "E1", "--recorder", "REC", "--reason", "x", "--id", "E2")
    monkeypatch.undo()
    said = peopled.ok("audit")
    assert said.startswith("sound")
    assert "event E1 (number 9): not-allowed: PIA may not record what is done to PUMP-2; REC could" in said
    assert "event E2 (number 10): not-allowed: REC hasn't the role correct" in said


def test_nothing_is_granted_in_a_file(peopled: Command) -> None:
    """There is no server that could keep anybody from anything."""
    said = peopled("grant")
    assert said.status == 4
    assert "this is a file: whoever may write it may write anything in it" in said.err
    with closing(sqlite3.connect(peopled.db)) as db:
        assert db.execute("SELECT count(login) FROM event").fetchone() == (0,)


PERSON = '[[person]]\nid = "A"\n'


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        (f'{PERSON}roles = ["rule"]', "unknown"),
        (f'{PERSON}place = "HALL"', "not-a-doer"),
        (f'{PERSON}place = "NOWHERE"', "unknown"),
        (f'{PERSON}user = "x"\n[[person]]\nid = "B"\nuser = "x"', "duplicate"),
        ('[[person]]\nid = "record"', "bad-id"),
        (f"{PERSON}{PERSON}", "duplicate"),
        ('[[permission]]\nid = "p"\nwho = "B"\nmay = "record"', "unknown"),
        ('[[permission]]\nid = "p"\nwho = "record"\nmay = "define"', "unknown"),
        ('[[permission]]\nid = "p"\nwho = "record"', "missing"),
        ('[[permission]]\nid = "p"\nmay = "record"', "missing"),
        ('[[permission]]\nid = "p"\nwho = "record"\nmay = "record"\non = { id = "X-*" }', "names-nothing"),
        ('[[permission]]\nid = "p"\nwho = "record"\nmay = "record"\non = { id = "[A]*" }', "bad-pattern"),
        ('[[permission]]\nid = "p"\nwho = "record"\nmay = "record"\non = { kind = "x" }', "unknown"),
        ('[[permission]]\nid = "p"\nwho = "record"\nmay = "record"\non = {}', "missing"),
        (
            '[[permission]]\nid = "p"\nwho = "record"\nmay = "record"\non = { colour = "red" }',
            "unknown-field",
        ),
        ('[[person]]\nid = "A"\nkey = "ed25519:00"', "wrong-type"),
        ('[[person]]\nid = "A"\nkey = "ed25519:' + "0" * 64 + '"', "weak-key"),
        ('[[person]]\nid = "A"\nkey = "ed25519:02' + "0" * 62 + '"', "weak-key"),
        ('[[place]]\nid = "A"\nkey = "ed25519:' + "0" * 64 + '"', "unknown-field"),
        ('[[setting]]\nid = "unsigned-events"\nvalue = "maybe"', "unknown"),
        ('[[setting]]\nid = "colour"\nvalue = "refused"', "unknown"),
        ('[[setting]]\nid = "unsigned-events"', "missing"),
    ],
)
def test_people_keys_permissions_and_settings_are_read_strictly(
    lines: str, code: str, empty: Command
) -> None:
    """What names nobody, nothing, or what can't be, is an error of the definition.

    So are a key that is none, a key of what is no person, and what can't be set.
    """
    answer = empty("load", empty.file("plant.toml", f"{world.PLANT}\n{lines}\n"))
    assert answer.status == 2
    assert f": {code}: " in answer.err
