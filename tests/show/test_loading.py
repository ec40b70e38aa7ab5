"""What a load changed and what a plant is made of, as text."""

from cfgtrack.answers.hardware import Loaded
from cfgtrack.show.loading import load_text, overview_text, tally_text
from cfgtrack.store.loading import FieldChange, ItemChange, ItemName, LoadReport
from cfgtrack.store.record import Outcome
from tests.show.golden import assert_golden
from tests.show.world import MOMENT, yard


def told(report: LoadReport, *, dry_run: bool = False) -> str:
    """Return what a load is told to have done."""
    return load_text(Loaded(MOMENT, dry_run, report))


def test_a_load_says_what_changed_field_by_field():
    """New, changed and kept items are named; a dry run says what would be."""
    report = LoadReport(
        added=[ItemName("unit", f"U{i}") for i in range(14)],
        changed=[
            ItemChange(
                "part", "pump", (FieldChange("mass", None, 85.0), FieldChange("title", "Pump", "x" * 80))
            )
        ],
        same=7,
        missing=[ItemName("place", "OLD")],
        initial=Outcome(3),
    )
    assert_golden("load.txt", told(report))
    assert told(report, dry_run=True).startswith("would load 15 items")


def test_loading_the_same_again_says_so():
    """Nothing to load is an answer."""
    assert told(LoadReport(same=7)) == f"nothing to load: 7 items as they were  ({MOMENT})"


def test_a_tally_counts_what_became_of_rows():
    """Recorded, there already, refused."""
    assert tally_text(2, 1, 1) == "2 events recorded, 1 there already, 1 REFUSED"
    assert tally_text(0, 0, 0, dry_run=True) == "no events would be recorded"


def test_an_overview_counts_units_times_parts():
    """Ports are counted by kind and medium over all units and places."""
    assert_golden("overview.txt", overview_text(yard().plant, MOMENT))


def test_several_are_called_as_the_language_does():
    """Two media, not mediums; what is kept of rules is files."""
    report = LoadReport(
        added=[ItemName("medium", "fluid"), ItemName("medium", "gas"), ItemName("rules", "a.toml")]
    )
    text = told(report)
    assert "2 media: fluid, gas" in text
    assert "1 rules file: a.toml" in text
