"""What the journal keeps of a definition item is its canonical JSON, however it is written."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.item import item_to_json
from cfgtrack.model.plant import Unit
from cfgtrack.store.canonical import canonical_json
from cfgtrack.store.item_text import item_text
from tests.model.test_item import ITEMS


@pytest.mark.parametrize("sort", ITEMS)
@given(data=st.data())
def test_the_text_of_an_item_is_its_canonical_json(sort, data):
    """Written directly, an item has the bytes that its JSON object has in canonical form."""
    item = data.draw(ITEMS[sort])
    assert item_text(sort, item) == canonical_json(item_to_json(sort, item)).decode()


def test_an_item_of_another_sort_is_none():
    """An item under the wrong sort is refused, as it is in two steps."""
    with pytest.raises(TypeError):
        item_text("part", Unit("A", part="p"))
