"""Stop points and failures as text: the verdict first, what is alike in one line, what has no way out before all."""

from __future__ import annotations

from cfgtrack.analysis.failures import Question, failures
from cfgtrack.analysis.stops import stop_now, stop_points
from cfgtrack.answers.moment import Moment
from cfgtrack.answers.stops import Failures, Leave, Stops
from cfgtrack.files.failures import ways_of_failing
from cfgtrack.model.defect import Defect
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.model.sequence import Sequence
from cfgtrack.show.stops import failures_text, leave_text, stops_text
from tests.analysis.test_stops import world

NOW = Moment(0, 0)


def lines(text: str) -> list[str]:
    """Return the lines of a text, blanks at their ends and several in a row taken out."""
    return [" ".join(line.split()) for line in text.splitlines()]


def test_stop_points_in_a_row_are_one_line() -> None:
    """The first line counts the verdicts; a line tells of stop points that are alike, with the ways from them all."""
    text = lines(stops_text(Stops(NOW, stop_points(*world()))))
    assert text[0].startswith("May stop at 2 of 7 stop points, at 3 more until a time")
    assert "off 10:01Z until 11:01Z warm of BOX:HEAT -" in text
    assert "part 10:03Z NO closed - 1 / 2 min" in text
    assert "uncap 10:07Z NO closed - 1 / 2 min TOO LONG" in text
    assert "W1, 2031-05-01" in text


def test_all_of_them_are_a_line_each() -> None:
    """With --all nothing is taken together, and the ways are listed where they are asked for."""
    found = Stops(NOW, stop_points(*world()))
    whole = lines(stops_text(found, whole=True, ways=True))
    assert sum(line.startswith(("off ", "part ", "cap ", "uncap ", "mate ", "on ")) for line in whole) == 6
    assert "Way out after part" in whole
    assert "1 mate BOX:J WALL:J ann 2 min takes back step part" in whole


def test_now_begins_with_the_verdict() -> None:
    """Whether the work may stop now is the first line; what is open and what to do come after it."""
    rules, begin, plan = world()
    yes = lines(leave_text(Leave(NOW, stop_now(rules, begin, Sequence()), plan=False)))
    assert yes[0].startswith("Yes, the work may stop")
    # Of a plan whose first step is to come nothing is open either.
    planned = lines(leave_text(Leave(NOW, stop_now(rules, begin, plan), plan=True)))
    assert planned[0].startswith("Yes, the work may stop")


def test_defects_that_stand_are_told_beneath_the_verdict() -> None:
    """A plain yes doesn't hide what no rule asks about: what is missing, what leaks: all in a line."""
    rules, begin, plan = world()
    missing = Defect("WRENCH", None, "missing", 0, "E1")
    torque = {"torque": parse_quantity("140 N*m")}
    pair = Defect("BOX:J", "demate", "seized", 0, "E2", mate="WALL:J", values=torque)
    one = lines(leave_text(Leave(NOW, stop_now(rules, begin, Sequence()), plan=False, defects=(missing,))))
    assert one[0].startswith("Yes, the work may stop")
    assert one[1] == "1 defect stands: WRENCH missing"
    several = lines(stops_text(Stops(NOW, stop_points(rules, begin, plan), defects=(missing, pair))))
    said = "2 defects stand: WRENCH missing; BOX:J to WALL:J seized, torque 140 N*m (no demate)"
    assert said in several[:3]


def test_failures_without_a_way_out_come_first() -> None:
    """What nobody can get out of stands first; one step is told in full, with why each later step dies."""
    rules, begin, plan = world()
    asked = Question(rules, begin, plan, ways_of_failing())
    report = failures(asked)
    text = lines(failures_text(Failures(NOW, report)))
    # Nothing need be done at once, and yet a clock runs that nobody is planned to be back for.
    assert text[0].startswith("SOMEBODY MUST BE BACK IN TIME of 3, of 6 failures")
    assert "on energise WALL:K: stuck nothing until 2031-05-01T11:01:00Z: warm BACK BY THEN" in text
    nothing = failures(Question(rules, begin, Sequence(), ways_of_failing()))
    assert failures_text(Failures(NOW, nothing)).startswith("Nothing was judged: no step can fail")
    one = failures(Question(rules, begin, plan, ways_of_failing(), only="off"))
    told = lines(failures_text(Failures(NOW, one), in_full=True))
    assert "off: de-energise WALL:K by ann" in told
    assert "part breaks dead" in told
    assert "way out: nothing need be done" in told
