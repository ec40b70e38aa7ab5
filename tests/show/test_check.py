"""A check as text: the verdict first, what it stands on, and how far it goes."""

from dataclasses import replace

import click
import pytest

from cfgtrack.analysis.check import CheckReport
from cfgtrack.analysis.trial import StepResult
from cfgtrack.analysis.verdict import Margin, foreseen, still_running
from cfgtrack.model.event import Event
from cfgtrack.model.lock import Device
from cfgtrack.model.possibility import Impossible, Refusal
from cfgtrack.model.sequence import Layout, Outing
from cfgtrack.rules.breach import words
from cfgtrack.show.check import check_text, steps_text, verdict_text
from cfgtrack.show.findings import CAUTION, Wanted
from cfgtrack.show.tables import WIDTH, within
from tests.show.golden import assert_golden
from tests.show.world import AT, CLOCK, EXCUSED, FINDING, MOMENT, WAITING

_MINUTE = 60_000_000
_NEW = foreseen(FINDING, "likely")


def _report() -> CheckReport:
    results = []
    for i, (id_, action) in enumerate((("2.07", "shut"), ("2.08", "open"), ("2.09", "open"))):
        event = Event(f"step:{id_}", action, ("PANEL-1:V2",), AT + i * _MINUTE)
        started = (replace(CLOCK, started=AT, deadline=AT + 90 * _MINUTE),) if i == 0 else ()
        stopped = (replace(CLOCK, started=AT, deadline=AT, left=5 * _MINUTE),) if i == 1 else ()
        refusal = Refusal("status", "PANEL-1:V2 is open; open needs it shut", "PANEL-1:V2")
        outcome = Impossible(event, (refusal,)) if i == 2 else event
        when = (AT, event.happened)
        results.append(StepResult(id_, "X1", "ina", *when, words(event), i != 2, outcome, started, stopped))
    impossible = replace(
        FINDING, rule="possible", severity=0, mode="possible", event="step:2.09", step="2.09", until=None
    )
    return CheckReport(
        title="Exchange",
        start=AT,
        end=AT + 60 * _MINUTE,
        steps=tuple(results),
        new=(_NEW, foreseen(impossible, "likely"), foreseen(FINDING, "all high", "2.08")),
        open=(replace(FINDING, until=None),),
        past=(replace(FINDING, mode="at", severity=2, until=None),),
        left_running=(still_running(CLOCK, "likely"), still_running(replace(CLOCK, rule="late"), "a mix")),
        excused=(EXCUSED,),
        left_open=(replace(FINDING, rule="drip", severity=4, until=None),),
        mended=(replace(FINDING, rule="open-end", severity=3),),
        older=(FINDING, FINDING),
        clocks=(CLOCK, replace(CLOCK, rule="stow", deadline=None)),
        left_on=(
            Device("PANEL-1:V2", "INA", AT - 30 * _MINUTE, "E7"),
            Device("PANEL-1:V1", "BEN", AT + _MINUTE, "step:2.08", is_tag=True),
        ),
        layout=Layout((), {"X1": (AT, AT + 70 * _MINUTE), "X2": (AT, AT + 10 * _MINUTE)}),
        outings=(Outing("X1", budget=60 * _MINUTE), Outing("X2", budget=60 * _MINUTE), Outing("X3")),
        said_for="in the written order",
        begun={"X2": AT - 30 * _MINUTE},
        rules=12,
        judged=40,
        idle=("torque", "keying"),
        assumed=("2.08", "2.09"),
        margins=(
            Margin("heater", "Heater back on", "PUMP-1:HEATER", 90_000_000, "a mix", "2.08"),
            Margin("budget", "An outing ends within its budget of time", "X2", 20 * _MINUTE, "all high"),
        ),
        mixes=4,
        untried=1,
        unneeded=("stow of CELL-1",),
        unjudged=("presence: no sites",),
    )


def test_a_check_reads_as_it_was_read():
    """Findings, what was open before, clocks at the end, budgets and the caution, as a person has read them."""
    assert_golden("check.txt", check_text(_report(), MOMENT))
    assert_golden("steps.txt", steps_text(_report()))


def test_details_are_told_of_what_is_asked_for():
    """Unasked there is a line a finding and the way to the rest; asked for, that rest, of all or of one."""
    short = check_text(_report(), MOMENT)
    assert "--finding NO" in short
    assert "source   " not in short
    one = check_text(_report(), MOMENT, wanted=Wanted(numbers=(2,)))
    assert one.count("source   ") == 1
    assert "\n2. IMPOSSIBLE " in one
    assert check_text(_report(), MOMENT, wanted=Wanted(details=True)).count("source   ") == 6


def test_every_hazard_is_on_the_screen():
    """Whatever is asked for, the hazard of each finding that counts stands in the text."""
    hazards = {finding.hazard for finding in _report().counted}
    for wanted in (Wanted(), Wanted(numbers=(1, 2)), Wanted(details=True)):
        text = " ".join(check_text(_report(), MOMENT, wanted=wanted).split())
        assert all(hazard in text for hazard in hazards)


def test_the_verdict_is_broken_only_between_what_it_stands_on():
    """On a narrow screen each ground of the verdict stays on a line of its own."""
    with within(60):
        lines = check_text(_report(), MOMENT).splitlines()
    assert lines[0] == "Not clear in the written order: 3 new,"
    assert lines[1] == "  1 open (catastrophic),"
    assert "2 clocks left running" in lines[3]


def _bare(**fields) -> CheckReport:
    """Return a check of a plan that is clear, but for what is given."""
    nothing = dict.fromkeys(
        (
            "steps",
            "new",
            "open",
            "past",
            "left_running",
            "excused",
            "left_open",
            "mended",
            "older",
            "clocks",
            "left_on",
        ),
        (),
    )
    said = {"title": "", "start": AT, "end": AT, "said_for": "in the written order", "layout": Layout(())}
    return CheckReport(**{**nothing, **said, "judged": 1, **fields})


_OPEN = replace(FINDING, until=None)
_SILENT = foreseen(replace(FINDING, no_verdict=True), "likely")
_ALONE = "for this action alone"
APART = "1 excused (1 catastrophic, by ANN and BEN until 2031-04-26T22:00:00Z (2 h left), after the fact)"
VERDICTS = {
    "clear": (_bare(), "Clear in the written order", 0),
    "clear under a variance": (
        _bare(excused=(EXCUSED,)),
        f"Clear in the written order, {APART}",
        0,
    ),
    "new": (
        _bare(new=(_NEW, replace(_NEW, severity=3))),
        "Not clear in the written order: 2 new",
        3,
    ),
    "open": (_bare(open=(_OPEN,), said_for=_ALONE), "Not clear: nothing new, 1 open (catastrophic)", 3),
    "past": (
        _bare(past=(_OPEN,), excused=(EXCUSED,)),
        f"Not clear in the written order: nothing new, 1 past and not acknowledged (catastrophic), {APART}",
        3,
    ),
    "one of two has approved": (
        _bare(open=(WAITING,), said_for=_ALONE),
        "Not clear: nothing new, 1 open (catastrophic), 1 approved by ANN, waits for a second",
        3,
    ),
    "left running": (
        _bare(left_running=(still_running(CLOCK, "likely"),)),
        "Not clear in the written order: nothing new, 1 clock left running",
        3,
    ),
    "no verdict": (_bare(new=(_SILENT,)), "Undecided in the written order: 1 without a verdict", 4),
    "not clear outranks undecided": (
        _bare(new=(_SILENT, _NEW), untried=1),
        "Not clear in the written order: 1 new (catastrophic), 1 without a verdict, 1 mix of durations not tried",
        3,
    ),
    "cut short": (_bare(untried=1), "Undecided in the written order: 1 mix of durations not tried", 4),
    "nothing judged": (
        _bare(judged=0),
        "Undecided in the written order: nothing had anything to judge",
        4,
    ),
}


@pytest.mark.parametrize("case", VERDICTS)
def test_the_verdict_is_one_line(case):
    """The verdict says its word, for what it is said and what it stands on; its status says the same."""
    report, line, status = VERDICTS[case]
    assert (verdict_text(report, MOMENT.at), report.verdict.status) == (line, status)
    assert " ".join(check_text(report, MOMENT).split()).startswith(line)
    assert check_text(report, MOMENT).endswith(CAUTION)


def test_colour_says_nothing_that_the_text_does_not():
    """With the colours taken away the coloured answer is the plain one."""
    plain = check_text(_report(), MOMENT)
    assert click.unstyle(check_text(_report(), MOMENT, colour=True)) == plain
    assert check_text(_report(), MOMENT, colour=True) != plain


def test_a_check_fits_a_narrow_screen():
    """On 60 columns nothing is wider, the caution included; unsaid it fits 100."""
    assert len(CAUTION) <= WIDTH
    with within(60):
        text = "\n".join([check_text(_report(), MOMENT), steps_text(_report())])
    assert max(map(len, text.splitlines())) <= 60
    assert "COOL-1:COIL" in text
