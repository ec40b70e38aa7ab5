"""What leaves the journal is as the published schemas and the open standards say."""

import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from cfgtrack.files.rows import write_jsonl
from cfgtrack.model.action import Action
from cfgtrack.model.handover import said_head
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.store.archive import write_archive
from cfgtrack.store.journal import Journal, open_journal
from cfgtrack.store.ocel import write_ocel
from cfgtrack.store.proof import current_head, prove, prove_consistency
from tests.store.test_audit import EVENTS
from tests.store.world import DEFINITION, START

FILES = Path(__file__).parents[2] / "schema" / "files"


def _validator(name: str) -> Draft202012Validator:
    schema = json.loads((FILES / f"{name}.schema.json").read_text())
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


@pytest.fixture
def journal(sqlite_url: str) -> Iterator[Journal]:
    """A journal that holds every sort of record."""
    with open_journal(sqlite_url, clock=lambda: START) as opened:
        opened.load(DEFINITION, by="survey", recorder="ada")
        opened.keep_rules({"own.toml": "# one"}, by=None, recorder=None)
        for event in EVENTS:
            opened.record([event])
        values = {"voltage": parse_quantity("0.25 V")}
        opened.record(
            [
                Action("f1", "as-found", ("X:F",), START + 20, status="demated", basis="witnessed"),
                Action("m1", "measure", ("X:F",), START + 21, values=values, basis="measured"),
                Action("b1", "begin", (), START, outing="outing-1"),
                Action("r1", "remark", ("box",), START + 21, remark="mind the edge"),
            ]
        )
        opened.record([Action("w1", "withdraw", (), START + 22, withdraws="e5", reason="was not so")])
        yield opened


def test_every_line_of_an_archive_is_as_published(journal: Journal) -> None:
    """An archive's lines follow its schema, and a line with a field too many doesn't."""
    validator = _validator("archive")
    lines = [json.loads(line) for line in write_archive(journal.database)]
    for line in lines:
        validator.validate(line)
    assert {next(iter(line)) for line in lines} == {"cfgtrack", "event", "item", "head"}
    assert not validator.is_valid({**lines[1], "more": 1})


def test_every_exported_line_is_as_published(journal: Journal) -> None:
    """The journal's JSON Lines follow their schema."""
    stream = io.StringIO()
    write_jsonl((line.entry for line in journal.log()), stream)
    validator = _validator("journal-line")
    lines = stream.getvalue().splitlines()
    assert len(lines) == journal.moment()[1] - START + 1
    for line in lines:
        validator.validate(json.loads(line))


def test_proofs_are_as_published(journal: Journal) -> None:
    """Both proofs follow their schema."""
    validator = _validator("proof")
    validator.validate(prove(journal.database, "e2"))
    validator.validate(
        prove_consistency(journal.database, said_head(current_head(journal.database).text, "kept"))
    )


# The structure that the OCEL 2.0 specification (object-centric event log, JSON format, sections 6 and 8) asks for,
# written down from memory of it.
_ATTRIBUTE_TYPE = {
    "type": "object",
    "properties": {
        "name": {"type": "string"},
        "type": {"enum": ["string", "time", "integer", "float", "boolean"]},
    },
    "required": ["name", "type"],
}
_TYPES = {
    "type": "array",
    "items": {
        "type": "object",
        "properties": {"name": {"type": "string"}, "attributes": {"type": "array", "items": _ATTRIBUTE_TYPE}},
        "required": ["name", "attributes"],
    },
}
_RELATED = {
    "type": "array",
    "items": {
        "type": "object",
        "properties": {"objectId": {"type": "string"}, "qualifier": {"type": "string"}},
        "required": ["objectId", "qualifier"],
    },
}
_VALUED = {"type": "object", "required": ["name", "value"]}
_OCEL = {
    "type": "object",
    "properties": {
        "eventTypes": _TYPES,
        "objectTypes": _TYPES,
        "events": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "id": {"type": "string"},
                    "type": {"type": "string"},
                    "time": {"type": "string", "format": "date-time"},
                    "attributes": {"type": "array", "items": _VALUED},
                    "relationships": _RELATED,
                },
                "required": ["id", "type", "time"],
            },
        },
        "objects": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "id": {"type": "string"},
                    "type": {"type": "string"},
                    "attributes": {
                        "type": "array",
                        "items": {**_VALUED, "required": ["name", "value", "time"]},
                    },
                    "relationships": _RELATED,
                },
                "required": ["id", "type"],
            },
        },
    },
    "required": ["eventTypes", "objectTypes", "events", "objects"],
}


def _ocel(journal: Journal) -> dict[str, Any]:
    found: dict[str, Any] = json.loads("".join(write_ocel(journal)))
    return found


def test_the_event_log_has_the_structure_of_the_standard(journal: Journal) -> None:
    """Types, objects, events and their relations are where OCEL 2.0 wants them."""
    Draft202012Validator(_OCEL, format_checker=Draft202012Validator.FORMAT_CHECKER).validate(_ocel(journal))


def test_the_event_log_refers_only_to_what_it_declares(journal: Journal) -> None:
    """Every type, attribute and object that an event or object names is declared, and ids are unique."""
    log = _ocel(journal)
    for things, types in (("events", "eventTypes"), ("objects", "objectTypes")):
        declared = {t["name"]: {a["name"] for a in t["attributes"]} for t in log[types]}
        ids = [thing["id"] for thing in log[things]]
        assert len(set(ids)) == len(ids)
        for thing in log[things]:
            assert {a["name"] for a in thing["attributes"]} <= declared[thing["type"]]
    objects = {one["id"] for one in log["objects"]}
    assert {r["objectId"] for x in (*log["objects"], *log["events"]) for r in x["relationships"]} <= objects


def test_the_event_log_holds_what_is_in_effect(journal: Journal) -> None:
    """Each event in effect is there once, and an object's last status is its present one."""
    log = _ocel(journal)
    assert [e["id"] for e in log["events"]] == [e.event.id for e in journal.entries()]
    view = journal.view()
    for one in log["objects"]:
        statuses = [a["value"] for a in one["attributes"] if a["name"] == "status"]
        if statuses:
            assert statuses[-1] == view.state(one["id"]).value
