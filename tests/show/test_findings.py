"""Findings, clocks and choices as text: the answer first, then why, what would cure it, and the hazard."""

from dataclasses import replace

from cfgtrack.answers.check import Choice, Choices
from cfgtrack.answers.moment import Moment
from cfgtrack.rules.finding import Cure, Finding, Reason, Tried
from cfgtrack.show.choices import choices_text
from cfgtrack.show.findings import CAUTION, clocks_text, findings_text
from tests.show.golden import assert_golden
from tests.show.world import AT, CLOCK, EXCUSED, FINDING, MOMENT, WAITING

_MINUTE = 60_000_000
_LATE = replace(
    FINDING,
    severity=4,
    event=None,
    step=None,
    action="",
    deadline=AT,
    trigger="place U at X",
    no_verdict=True,
)


_WHEN = "at 2031-04-26T20:00:00Z"


def test_as_of_when_it_was_known_is_told_to_whoever_asked_for_that():
    """The head carries the moment alone; with the time of knowledge where the asker gave one."""
    assert "known" not in findings_text([], MOMENT)
    asked = replace(MOMENT, as_known=True)
    assert findings_text([], asked).startswith(f"No findings  ({asked})")
    assert "as known at" in str(asked)
    late = Moment(MOMENT.at + 234_567, MOMENT.known)
    assert findings_text([], late).startswith(f"No findings  ({_WHEN})")


def test_findings_read_as_they_were_read():
    """Several findings, one without a verdict and one under a variance, as a person has read them."""
    text = findings_text([FINDING, _LATE, WAITING, EXCUSED], MOMENT, checked="3 steps, 12 rules")
    assert_golden("findings.txt", text)


def test_the_answer_comes_first():
    """The first line says how many and how bad, and carries the moment; none is an answer as well."""
    assert findings_text([FINDING], MOMENT).startswith(f"1 finding: 1 catastrophic  ({_WHEN})\n")
    clean = findings_text([], MOMENT, checked="3 steps")
    assert clean.startswith(f"No findings  ({_WHEN})\n")
    assert clean.endswith(CAUTION)


def test_what_is_under_a_variance_is_apart_and_not_counted():
    """A finding under a variance is shown after the others and doesn't count among them."""
    text = findings_text([EXCUSED, FINDING], MOMENT)
    assert text.startswith("1 finding:")
    assert text.index("Under a variance") > text.index("CATASTROPHIC")
    assert "v-12" in text


def test_no_verdict_is_no_pass():
    """A rule that could not be judged says so, in words."""
    assert "NO VERDICT is not a pass" in findings_text([_LATE], MOMENT)


def test_clocks_say_what_is_left():
    """The first to run out comes first; one that ran out says so, one without a limit says that."""
    late = replace(CLOCK, rule="late", deadline=AT - _MINUTE)
    endless = replace(CLOCK, rule="endless", deadline=None)
    text = clocks_text([endless, CLOCK, late], MOMENT)
    assert text.startswith("3 running clocks")
    assert text.index("RUN") < text.index("30 min") < text.index("no limit")
    assert clocks_text([], MOMENT).startswith("No running clocks")


def test_choices_tell_allowed_from_forbidden_in_words():
    """What is allowed, what would break a rule and why."""
    choices = [
        Choice("open PANEL-1:V2", starts=("heater",)),
        Choice("shut PANEL-1:V1", (FINDING,)),
    ]
    assert_golden("choices.txt", choices_text("PANEL-1", Choices(MOMENT, tuple(choices))))
    assert [c.allowed for c in choices] == [True, False]


def _lines(of: Finding) -> list[str]:
    """Return the lines of a finding from the first `why` to the hazard, without."""
    lines = [" ".join(line.split()) for line in findings_text([of], MOMENT).splitlines()]
    first = next(i for i, line in enumerate(lines) if line.startswith("why"))
    return lines[first : next(i for i, line in enumerate(lines) if line.startswith("hazard"))]


def _cured(*cures: Cure, tried: Tried | None) -> list[str]:
    """Return what a finding with these cures says after its reason."""
    reasons = (Reason("path", "reason"),)
    return _lines(replace(FINDING, reasons=reasons, cures=cures, tried=tried))[1:]


def test_each_cure_stands_alone():
    """Between cures stands `or`, within one `and`; other orders of steps are said in words, and clocks that start."""
    one, two = Cure(("open V1",)), Cure(("open V1", "open V2"), starts=("heater",))
    assert _cured(one, two, tried=Tried(9, 9)) == ["cure open V1; or open V1 and open V2 (starts heater)"]
    assert _cured(Cure(step="7", before="5"), tried=Tried(9, 9)) == ["cure do step 7 before step 5"]
    assert _cured(Cure(step="7", waits_for="5"), tried=Tried(9, 9)) == ["cure step 7 waits for step 5"]


def test_what_was_tried_for_a_cure_is_told():
    """Where not all candidates were tried, or none cures, that is said; nothing where none were looked for."""
    assert _cured(Cure(("open V1",)), tried=Tried(20, 57)) == [
        "cure open V1",
        "the first 20 of 57 candidates were tried",
    ]
    assert _cured(tried=Tried(20, 57)) == ["cure none: the first 20 of 57 candidates were tried"]
    assert _cured(tried=Tried(1, 1)) == ["cure none: no single action cures it (1 tried)"]
    assert _cured(tried=Tried(0, 0)) == []
    assert _cured(tried=None) == []


def test_no_list_of_reasons_fills_the_screen():
    """Of many reasons eight are told; how many more there are is said."""
    lines = _lines(
        replace(
            FINDING, reasons=tuple(Reason("path", f"reason {i}") for i in range(60)), cures=(), tried=None
        )
    )
    assert lines[-1] == "why and 52 more reasons"
    assert len(lines) == 9


def test_an_outing_that_ends_is_named():
    """A finding at the end of an outing says which, in a check and in the record."""
    checked = replace(FINDING, event="end:X1", step=None, action="end")
    assert "where      end of outing X1" in findings_text([checked], MOMENT)
    recorded = replace(FINDING, event="AR-7", step=None, action="end")
    assert "where      event AR-7: end" in findings_text([recorded], MOMENT)


def test_deadlines_are_told_in_whole_seconds():
    """An estimate that is good to minutes isn't told in microseconds, and never later than it is."""
    end = AT + 17_164_516_930
    clock = replace(CLOCK, deadline=end)
    text = clocks_text([clock], MOMENT)
    assert "4 h 46 min" in text
    assert ".5" not in text
    assert "2031-04-27T00:46:04Z" in text
    late = replace(FINDING, event=None, time=end, deadline=end, until=None)
    assert "when       2031-04-27T00:46:04Z, deadline 2031-04-27T00:46:04Z" in findings_text([late], MOMENT)


def test_clocks_that_one_cause_starts_are_one_line():
    """Of thirty volumes that one valve shuts in there is one line, with the first deadline; one of another cause."""
    missing = (Reason("no-path", "there is no fluid path to any expansion", noun="volume"),)
    clocks = [
        replace(CLOCK, subject=f"U{i}:VOL", deadline=AT + i * _MINUTE, missing=missing) for i in range(1, 31)
    ]
    other = replace(CLOCK, trigger="shut V9", subject="X:VOL", missing=missing)
    text = clocks_text([*clocks, other], MOMENT)
    assert text.startswith("31 running clocks")
    lines = text.splitlines()[2:]
    said = " ".join(" ".join(lines).split())
    assert len([line for line in lines[2:] if line[:1].strip()]) <= 4
    assert "(the first)" in said
    assert "30 volumes" in said
    assert "U1:VOL" in said
    assert "U4:VOL" not in said


def test_what_has_run_out_is_not_hidden_among_what_has_not():
    """Of clocks that one cause started those that have run out stand in a line of their own."""
    clocks = [replace(CLOCK, subject=f"U{i}:VOL", deadline=AT + i * _MINUTE) for i in range(-2, 3)]
    assert clocks_text(clocks, MOMENT).count("RUN OUT") == 1
    assert "2 items:" in clocks_text(clocks, MOMENT)
    assert "3 items:" in clocks_text(clocks, MOMENT)
