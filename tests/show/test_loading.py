"""What a load changed and what a plant is made of, as text."""

from cfgtrack.analysis.redefinition import (
    Gone,
    Joint,
    Misfit,
    PortChange,
    PortField,
    Redefinition,
    RuleChange,
)
from cfgtrack.analysis.vetting import CHECKS, Doubt, Vetted
from cfgtrack.answers.hardware import Loaded
from cfgtrack.answers.vetting import Vetting
from cfgtrack.show.loading import load_text, overview_text, tally_text
from cfgtrack.show.vetting import vetting_text
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


LOST = tuple(f"PUMP-{n}:F{m}" for n in range(1, 6) for m in range(1, 6))
JUDGED = Redefinition(
    rules=(
        RuleChange("kept", "as it was", 2, 2, 7, 7, 9, 9),
        RuleChange("no-open-oil", "it is closed", 1, 1, 30, 5, 30, 5, LOST, ("TANK-1:F1",)),
        RuleChange("watched", "it is fed", 3, 3, 4, 4, 12, 11, ("PUMP-1:VOL",)),
        RuleChange("lowered", "it is held", 2, 3, 2, 2, 2, 2, ("PUMP-1", "PUMP-2"), differs=True),
        RuleChange("away", "it is cool", 4, None, 3, None, 3, None, ("PUMP-1", "PUMP-2", "PUMP-3")),
        RuleChange("added", "it is dry", 3, 3, None, 1, None, 1, (), ("PUMP-1",)),
    ),
    misfits=(
        Misfit(
            "PUMP-1:F1", "RACK:F1", "mated", "size", "PUMP-1:F1 is DN40, RACK:F1 is DN25: the sizes differ"
        ),
    ),
    ports=(
        PortChange(
            "PUMP-1:F1", "RACK:F1", (PortField("size", "DN25", "DN40"), PortField("title", "", "Inlet"))
        ),
    ),
    joints=tuple(Joint(f"PUMP-{n}:F1", f"RACK:F{n}", None, "mated", "untouched") for n in range(14)),
    gone=(Gone("unit", "PUMP-9", ("RACK:F9", "RACK:J9")), Gone("place", "YARD", ())),
    unfit=("rules.toml:3: unknown: there is no kind bolt",),
    judges=True,
)


def test_a_load_that_takes_something_away_says_so_first() -> None:
    """The verdict is first, then what must be accepted, then what differs, table by table; long ones are folded."""
    report = LoadReport(
        refused=True, changed=[ItemChange("part", "pump", (FieldChange("ports.F1.size", "DN25", "DN40"),))]
    )
    assert_golden("load-judged.txt", load_text(Loaded(MOMENT, False, report, JUDGED)))
    report = LoadReport(accepted="it was built so", changed=report.changed)
    text = load_text(Loaded(MOMENT, False, report, JUDGED))
    assert text.startswith("loaded 1 item")
    assert "  because     it was built so\n" in text


def test_doubts_are_told_with_why_and_what_would_cure_them() -> None:
    """`vet` tells every doubt under its check; a load how many there are, and the first of a few checks."""
    vetted = tuple(
        Vetted(check, tuple(Doubt("pump", (f"F{m}",), f"F{m} looks wrong", n + 1) for m in range(n)))
        for n, check in enumerate(CHECKS)
        if n
    )
    assert_golden("vet.txt", vetting_text(Vetting(MOMENT, vetted)))
    assert vetting_text(Vetting(MOMENT, ())) == f"nothing looks wrong  ({MOMENT})"
    report = LoadReport(added=[ItemName("unit", "U1")])
    assert_golden("load-vetted.txt", load_text(Loaded(MOMENT, False, report, None, vetted)))
