"""Items in words: what sort of thing each is, few by name and many by number."""

from __future__ import annotations

import pytest

from cfgtrack.rules.saying import noun_of, say_list, say_some
from tests.rules.test_regressions import PLANT

NOUNS = [("X:F", "port"), ("X:vol", "volume"), ("X", "unit"), ("SHED", "place"), ("SLED", "place")]


@pytest.mark.parametrize(("item", "noun"), NOUNS)
def test_what_sort_of_thing(item, noun):
    """A port, a volume, a unit and a place are called so."""
    assert noun_of(PLANT, item) == noun


def test_few_by_name_many_by_number():
    """Up to three are named in a headline, six in a list; of more it is told how many."""
    names = [*"abcdefgh"]
    assert say_some(names[:3], "valve") == "a, b and c"
    assert say_some(names[:4], "valve") == "4 valves"
    assert say_list(names[:6]) == "a, b, c, d, e and f"
    assert say_list(names) == "a, b, c, d, e, f and 2 more"
    assert (say_list(["a"]), say_list([])) == ("a", "nothing")
