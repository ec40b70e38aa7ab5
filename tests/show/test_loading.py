"""What a load changed and what a plant is made of, as text."""

from dataclasses import dataclass, field

from cfgtrack.show.loading import load_text, tally_text
from cfgtrack.show.overview import overview_text
from tests.show.golden import assert_golden
from tests.show.world import MOMENT, yard


@dataclass
class _Tally:
    recorded: int = 0
    repeated: int = 0
    refused: int = 0


@dataclass
class _Report:
    added: list = field(default_factory=list)
    changed: list = field(default_factory=list)
    same: int = 0
    missing: list = field(default_factory=list)
    initial: _Tally = field(default_factory=_Tally)


def test_a_load_says_what_changed_field_by_field():
    """New, changed and kept items are named; a dry run says what would be."""
    report = _Report(
        added=[("unit", f"U{i}") for i in range(14)],
        changed=[("part", "pump", (("mass", None, 85.0), ("title", "Pump", "x" * 80)))],
        same=7,
        missing=[("place", "OLD")],
        initial=_Tally(3),
    )
    assert_golden("load.txt", load_text(report, MOMENT))
    assert load_text(report, None, dry_run=True).startswith("would load 15 items")


def test_loading_the_same_again_says_so():
    """Nothing to load is an answer."""
    assert load_text(_Report(same=7), None) == "nothing to load: 7 items as they were"


def test_a_tally_counts_what_became_of_rows():
    """Recorded, there already, refused."""
    assert tally_text(_Tally(2, 1, 1)) == "2 events recorded, 1 there already, 1 REFUSED"
    assert tally_text(_Tally(), dry_run=True) == "no events would be recorded"


def test_an_overview_counts_units_times_parts():
    """Ports are counted by kind and medium over all units and places."""
    assert_golden("overview.txt", overview_text(yard().plant, MOMENT))


def test_several_are_called_as_the_language_does():
    """Two media, not mediums; what is kept of rules is files."""
    report = _Report(added=[("medium", "fluid"), ("medium", "gas"), ("rules", "a.toml")])
    text = load_text(report, None)
    assert "2 media: fluid, gas" in text
    assert "1 rules file: a.toml" in text
