"""Events as the text that is kept: the fast writer against the general one."""

from dataclasses import fields

from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.codec import IN_JSON, Form, action_to_json
from cfgtrack.model.event import Event
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.store.canonical import canonical_json
from cfgtrack.store.rows import MANY, entries_of, event_text

texts = st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=8)
optional = st.none() | texts
events = st.builds(
    Event,
    id=texts,
    action=texts,
    subjects=st.lists(texts, max_size=2).map(tuple),
    happened=st.integers(-(2**53) + 1, 2**53 - 1),
    clock=st.integers(-(2**53) + 1, 2**53 - 1),
    moved=st.lists(texts, max_size=2).map(tuple),
    parted=st.lists(texts, max_size=2).map(tuple),
    **{told.name: st.dictionaries(texts, texts, max_size=2) for told in IN_JSON if told.form is Form.PLACES},
    basis=st.sampled_from(["reported", "witnessed"]),
    values=st.dictionaries(
        texts, st.sampled_from([parse_quantity("25 N*m"), parse_quantity("0.1 V")]), max_size=2
    ),
    initial=st.booleans(),
    body=st.none() | st.dictionaries(texts, st.integers(0, 9) | texts, max_size=3),
    **{
        f.name: optional
        for f in fields(Event)
        if f.name
        not in (
            "id",
            "action",
            "subjects",
            "happened",
            "clock",
            "moved",
            "parted",
            "basis",
            "values",
            "initial",
            "body",
        )
        and f.name not in {told.name for told in IN_JSON if told.form is Form.PLACES}
    },
)


@given(event=events)
def test_an_event_is_written_as_canonical_json(event: Event) -> None:
    """The fast writer gives what RFC 8785 gives of the event's JSON object, whatever is set."""
    assert event_text(event).encode() == canonical_json(action_to_json(event))


@given(event=events)
def test_few_and_many_events_are_read_alike(event: Event) -> None:
    """The reader for many events gives the same event as the reader for one."""
    row = (event_text(event), 1, 2)
    [one] = entries_of([row])
    assert one.event == event
    assert entries_of([row] * MANY) == [one] * MANY
