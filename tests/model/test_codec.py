"""The fields of an action and an event are the one table behind every form of them."""

import json
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.action import Action
from cfgtrack.model.codec import FILLED_IN, IN_JSON, SAID, Form, action_to_json, event_from_json
from cfgtrack.model.event import Event

SCHEMAS = Path(__file__).parents[2] / "schema" / "files"
NAMES = {told.name for told in IN_JSON}


def test_the_two_types_are_the_table():
    """What may be said is an action's fields, what resolving adds an event's, and JSON has both: all but who signed."""
    assert [told.name for told in SAID] == [field.name for field in fields(Action) if field.name != "signed"]
    assert [told.name for told in (*SAID, *FILLED_IN)] == [
        field.name for field in fields(Event) if field.name != "signed"
    ]
    assert {field.name for field in fields(Event)} == NAMES | {"signed"}


def described(value):
    """Yield the properties of every event that a JSON Schema describes."""
    if isinstance(value, dict):
        if "explains" in value.get("properties", {}):
            yield set(value["properties"])
        for below in value.values():
            yield from described(below)


@pytest.mark.parametrize("name", sorted(file.name for file in SCHEMAS.glob("*.json")))
def test_every_published_schema_has_the_fields_of_an_event(name):
    """Each schema that describes an event describes all of its fields, and no other."""
    found = list(described(json.loads((SCHEMAS / name).read_text(encoding="utf-8"))))
    assert found
    for properties in found:
        assert properties - {"signed", "login"} | {"happened", "known", "number"} == NAMES | {
            "known",
            "number",
        }


TEXT = st.text(max_size=5)
EVENTS = st.builds(
    Event,
    id=TEXT,
    action=TEXT,
    subjects=st.lists(TEXT, max_size=2).map(tuple),
    happened=st.integers(-(2**53), 2**53),
    moved=st.lists(TEXT, max_size=2).map(tuple),
    parted=st.lists(TEXT, max_size=2).map(tuple),
    **{told.name: st.dictionaries(TEXT, TEXT, max_size=2) for told in IN_JSON if told.form is Form.PLACES},
    initial=st.booleans(),
    body=st.none() | st.dictionaries(TEXT, TEXT, max_size=2),
    **{told.name: st.none() | TEXT for told in IN_JSON if told.unsaid is None and told.name != "body"},
)


@given(EVENTS)
def test_json_brings_an_event_back(event):
    """What is unsaid is left out, and every event comes back as it was."""
    data = action_to_json(event)
    assert all(
        value not in (None, [], {}, False) for name, value in data.items() if name not in ("body", "happened")
    )
    assert event_from_json(json.loads(json.dumps(data))) == event
