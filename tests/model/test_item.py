"""Definition items as JSON: what is kept is what was given."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.attribute import attribute_of
from cfgtrack.model.item import item_from_json, item_to_json
from cfgtrack.model.kind import Kind, Medium, Move
from cfgtrack.model.part import ROLES, InternalLink, Node, Part, Port, Thermal
from cfgtrack.model.plant import Place, Unit

WORD = st.text("abcXYZ019-:é ", max_size=5)
NUMBER = st.floats(allow_nan=False, allow_infinity=False)
TAGS = st.frozensets(WORD, max_size=3)
ALIASES = st.lists(WORD, max_size=2).map(tuple)
ATTRIBUTES = st.dictionaries(
    WORD,
    WORD
    | st.booleans()
    | st.dates()
    | st.sampled_from(["3 m", "1/2 in", "20 degC", "12"]).map(lambda text: attribute_of(text, is_cell=True)),
    max_size=3,
)
LADDER = st.lists(WORD, min_size=1, max_size=4, unique=True).map(tuple)


def by(attribute, values):
    """A mapping of some values by one of their attributes."""
    return st.lists(values, max_size=3, unique_by=lambda one: getattr(one, attribute)).map(
        lambda found: {getattr(one, attribute): one for one in found}
    )


def built(cls, **fields):
    """Some objects of a class: the fields given always, every other one drawn or left out."""
    return st.builds(cls, **fields)


MOVES = built(Move, action=WORD, sources=LADDER, target=WORD, each=st.booleans(), cycle=st.booleans())
PORTS = built(
    Port,
    name=WORD,
    kind=WORD,
    size=WORD,
    tags=TAGS,
    cycles=st.none() | st.integers(0, 99),
    torque=st.none() | st.tuples(NUMBER, NUMBER),
    flexible=st.booleans(),
    site=WORD,
    remote=LADDER,
    reach=LADDER,
    aliases=ALIASES,
    attributes=ATTRIBUTES,
    rated_pressure=st.none() | NUMBER,
    rated_current=st.none() | NUMBER,
)
NODES = built(
    Node,
    name=WORD,
    medium=WORD,
    litres=st.none() | NUMBER,
    roles=st.frozensets(st.sampled_from(ROLES)),
    tags=TAGS,
    remote=LADDER,
    aliases=ALIASES,
    attributes=ATTRIBUTES,
    rated_pressure=st.none() | NUMBER,
)
LINKS = built(InternalLink, a=WORD, b=WORD, gate=WORD, one_way=st.booleans())
THERMAL = built(Thermal, capacity=NUMBER, leak=NUMBER, start=NUMBER, limit=NUMBER, biot=st.none() | NUMBER)
ITEMS = {
    "medium": built(Medium, id=WORD, title=WORD, upstream=st.booleans()),
    "kind": built(
        Kind,
        id=WORD,
        medium=st.none() | WORD,
        statuses=LADDER,
        moves=by("action", MOVES),
        joined=st.none() | WORD,
        fits=TAGS,
        grip=st.booleans(),
        tether=st.booleans(),
    ),
    "part": built(
        Part,
        id=WORD,
        mass=st.none() | NUMBER,
        ports=by("name", PORTS),
        nodes=by("name", NODES),
        links=st.lists(LINKS, max_size=3).map(tuple),
        thermal=st.none() | THERMAL,
        trapped=st.none() | NUMBER,
        tags=TAGS,
        remote=st.dictionaries(WORD, st.lists(WORD, max_size=2).map(tuple), max_size=3),
        aliases=ALIASES,
        attributes=ATTRIBUTES,
    ),
    "unit": built(Unit, id=WORD, part=WORD, home=WORD, tags=TAGS, aliases=ALIASES, attributes=ATTRIBUTES),
    "place": built(
        Place,
        id=WORD,
        capacity=st.none() | st.integers(1, 9),
        facings=st.lists(WORD, max_size=3).map(tuple),
        sink=st.none() | NUMBER,
        mobile=st.booleans(),
        tags=TAGS,
        site=st.booleans(),
        operates=WORD,
        aliases=ALIASES,
        attributes=ATTRIBUTES,
        lifts=st.none() | NUMBER,
    ),
}


@pytest.mark.parametrize("sort", ITEMS)
@given(data=st.data())
def test_an_item_comes_back_from_json_as_it_was(sort, data):
    """An item goes to JSON text and back without loss, ports, nodes and moves in their order."""
    item = data.draw(ITEMS[sort])
    back = item_from_json(sort, json.loads(json.dumps(item_to_json(sort, item))))
    assert back == item
    if isinstance(item, Part):
        assert isinstance(back, Part)
        assert (list(back.ports), list(back.nodes)) == (list(item.ports), list(item.nodes))


def test_equal_items_give_equal_json():
    """The order of a set doesn't show, and a field at its default is left out."""
    one, other = (Unit("A", "p", tags=frozenset(tags)) for tags in ("abcdef", "fedcba"))
    assert json.dumps(item_to_json("unit", one)) == json.dumps(item_to_json("unit", other))
    assert item_to_json("unit", Unit("A", "p")) == {"id": "A", "part": "p"}


def test_an_unknown_field_is_not_swallowed():
    """A field that an item doesn't have is an error, so that nothing is lost silently."""
    with pytest.raises(TypeError):
        item_from_json("unit", {"id": "A", "part": "p", "colour": "red"})
    with pytest.raises(TypeError):
        item_to_json("unit", Medium("fluid"))
