"""One record has one sequence of bytes."""

import enum
import json

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.store.canonical import LARGEST_INTEGER, NotCanonical, canonical_json

texts = st.text(max_size=12) | st.sampled_from(["\x00", "\x1f", "\x7f", "\u2028", '"\\/', "\ue000", "😀"])
# Either side of the pair sorts differently by code points and by UTF-16 code units.
names = texts | st.sampled_from(["\ue000", "\ufffd", "😀", "\U00010000", "a", "a\x00", "a0"])
integers = st.integers() | st.sampled_from([LARGEST_INTEGER, -LARGEST_INTEGER, 2**53, -(2**53)])
floats = st.floats() | st.sampled_from([0.0, -0.0, 1e16, 1e21, 1e-4, 1e-5, 1e-7, 9007199254740993.0, 12.0])
scalars = st.none() | st.booleans() | integers | floats | texts
records = st.dictionaries(
    names,
    st.recursive(
        scalars,
        lambda inner: (
            st.lists(inner, max_size=4)
            | st.lists(inner, max_size=4).map(tuple)
            | st.dictionaries(names, inner, max_size=5)
        ),
        max_leaves=12,
    ),
    max_size=6,
)


@given(records)
def test_same_bytes_as_the_library(record):
    """Every record has the bytes that the rfc8785 library gives it, or is refused by both."""
    try:
        expected = rfc8785.dumps(record)
    except rfc8785.CanonicalizationError:
        with pytest.raises(NotCanonical):
            canonical_json(record)
    else:
        assert canonical_json(record) == expected


@given(records)
def test_bytes_survive_reading(record):
    """What is read back from the bytes as doubles, as JSON numbers are, has the same bytes again."""
    try:
        written = canonical_json(record)
    except NotCanonical:
        return
    assert canonical_json(json.loads(written, parse_int=float)) == written


@given(st.lists(names, unique=True), st.randoms(use_true_random=False))
def test_order_of_members_does_not_count(members, shuffler):
    """The bytes don't depend on the order in which a record was put together."""
    record = dict.fromkeys(members)
    shuffler.shuffle(members)
    assert canonical_json(dict.fromkeys(members)) == canonical_json(record)


class Colour(enum.StrEnum):
    RED = "red"


class Level(enum.IntEnum):
    HIGH = 3


def test_subclasses_are_written_as_the_library_writes_them():
    """An enumeration's member is written as its text or number, not as its name."""
    record = {"colour": Colour.RED, "level": Level.HIGH, Colour.RED: None}
    assert canonical_json(record) == rfc8785.dumps(record) == b'{"colour":"red","level":3,"red":null}'


@pytest.mark.parametrize(
    "value",
    [
        2**53,
        -(2**53),
        float("nan"),
        float("inf"),
        "\ud800",
        {"\udfff": 1},
        {1: 1},
        {1: 1, "a": 2},
        b"x",
        {1, 2},
        pytest.param(object(), id="an object"),
    ],
    ids=repr,
)
def test_no_canonical_form(value):
    """What JSON can't carry exactly, or not at all, is refused rather than bent."""
    with pytest.raises(NotCanonical):
        canonical_json({"value": value})
