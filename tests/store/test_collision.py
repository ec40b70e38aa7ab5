"""A late event meets what it contradicts, however much harmless paper lies in between."""

import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.trouble import Refused
from cfgtrack.store.audit import audit
from cfgtrack.store.journal import open_journal
from tests.store.world import DEFINITION, START


@pytest.mark.parametrize("between", [0, 1, 49, 50, 51, 130])
def test_what_comes_after_many_remarks_is_seen(url: str, between: int) -> None:
    """Of the later events only so many are looked at to see whether any matters: what comes behind those counts too."""
    with open_journal(url, clock=lambda: START) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        remarks = [
            Action(f"r{i}", ("remark", "inspect")[i % 2], ("Y",), START + 10 + i, remark="dusty")
            for i in range(between)
        ]
        journal.record([*remarks, Action("e1", "uncap", ("X:F",), START + 1_000)])
        before = [line.entry.event.id for line in journal.log()]
        with pytest.raises(Refused, match="collides with later event e1, uncap X:F"):
            journal.record([Action("late", "uncap", ("X:F",), START + 5)])
        assert [line.entry.event.id for line in journal.log()] == before
        # What fits is taken, behind as many.
        journal.record([Action("fits", "uncap", ("Y:F",), START + 5)])
        assert audit(journal.database).is_sound


def test_two_that_would_carry_each_other_collide(url: str) -> None:
    """A late event by which two carriers are in each other is refused for what contradicts it, and is not a riddle."""
    with open_journal(url, clock=lambda: START) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record(
            [
                Action("e1", "place", ("BAG",), START + 10, place="INA"),
                Action("e2", "place", ("BAG",), START + 20, place="SITE"),
            ]
        )
        with pytest.raises(Refused, match="collides with later event e1, place BAG at INA"):
            journal.record([Action("late", "place", ("INA",), START + 5, place="BAG")])
        assert journal.entry("late") is None
