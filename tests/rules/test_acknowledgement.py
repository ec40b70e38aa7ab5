"""Acknowledgements: of what had happened by then, by name; they excuse nothing that comes later."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cfgtrack.model.event import Entry, Event
from cfgtrack.rules.acknowledgement import Acknowledgement, acknowledged, acknowledgement_of
from tests.rules.test_variance import A, B, C, codes_of, finding

SEEN = Acknowledgement("E", "chief", "settled", 200, 300, frozenset((A, C)))


def test_from_an_event():
    """An acknowledgement is an event: who, when, why, and which findings, by their fingerprints."""
    event = Event("E", "acknowledge", (), 200, by="chief", reason="settled", acknowledges=f"{A} {C}")
    assert acknowledgement_of(Entry(event, 7, 300)) == SEEN
    with pytest.raises(ValueError, match="approve is no acknowledgement"):
        acknowledgement_of(Entry(replace(event, action="approve"), 7, 300))


@pytest.mark.parametrize(
    ("happened", "known", "time", "covered"),
    [
        (200, 300, 200, True),
        (200, 300, 201, False),  # it came after
        (300, 200, 200, True),
        (300, 200, 201, False),  # said before it came
    ],
)
def test_nothing_later_is_acknowledged(happened, known, time, covered):
    """A finding is acknowledged by what neither happened nor was recorded before it."""
    one = replace(SEEN, happened=happened, known=known)
    still, seen = acknowledged([finding(A, time=time)], [one])
    assert (len(still), len(seen)) == ((0, 1) if covered else (1, 0))


def test_who_is_not_named_is_not_acknowledged():
    """Of one finding the instances that are named are acknowledged, and the others are not."""
    still, seen = acknowledged([finding(A, B)], [SEEN])
    assert codes_of(still) == [(B,)]
    assert [(part.fingerprints, one) for part, one in seen] == [((A,), SEEN)]


def test_the_first_who_did_is_told():
    """Acknowledged twice, it was the first who did; who named something else didn't."""
    other = replace(SEEN, event="F", fingerprints=frozenset((B,)))
    again = replace(SEEN, event="G")
    assert [one.event for _, one in acknowledged([finding(A)], [other, SEEN, again])[1]] == ["E"]
