"""The verdict of a check, as the command line says it: the first line, the exit status, and JSON."""

from __future__ import annotations

from itertools import count

from cfgtrack.model.time import SECOND, parse_instant
from tests.cli.conftest import Command

AT = "2031-05-01T10:00:00Z"
LATE = """
[[outing]]
id = "W1"
start = 2031-04-29T08:00:00Z
budget = "1 h"
[[outing.track]]
name = "ina"
steps = [{ id = "1", do = "inspect PUMP-1", takes = "50 min" }]
[[outing]]
id = "W2"
start = 2031-04-30T09:30:00Z
[[outing.track]]
name = "ina"
steps = [{ id = "2", do = "inspect PUMP-1", takes = "5 min" }]
"""


def first_line(text: str) -> str:
    """Return what stands first, without the moment."""
    return text.splitlines()[0].split("  (")[0]


def test_clear(cfgtrack: Command) -> None:
    """A sequence that breaks nothing is clear, for the order in which it is written: 0."""
    answer = cfgtrack("check", cfgtrack.folder / "good.toml")
    assert (answer.status, first_line(answer.out)) == (0, "Clear in the written order")
    answer = cfgtrack("check", "--do", "inspect PUMP-1")
    assert (answer.status, first_line(answer.out)) == (0, "Clear")


def test_not_clear_with_nothing_new(cfgtrack: Command) -> None:
    """With a catastrophic finding open an innocent step is not clear: 3; JSON keeps new and open apart."""
    cfgtrack.ok("shut", "HALL:V1", "--at", AT)
    answer = cfgtrack("check", "--do", "inspect PUMP-1")
    assert (answer.status, first_line(answer.out)) == (3, "Not clear: nothing new, 1 open (catastrophic)")
    answer = cfgtrack("check", cfgtrack.folder / "good.toml")
    line = "Not clear in the written order: nothing new, 1 open (catastrophic)"
    assert (answer.status, first_line(answer.out)) == (3, line)
    told = cfgtrack("check", "--do", "inspect PUMP-1", "--json").json["check"]
    assert (told["verdict"], told["new"], [f["rule"] for f in told["open"]]) == (
        "not clear",
        [],
        ["expansion"],
    )
    assert cfgtrack("check", "--do", "open HALL:V1").status == 0


def test_a_plan_that_names_what_it_leaves_open(cfgtrack: Command) -> None:
    """A sequence that names by its fingerprint what is open before it is clear."""
    cfgtrack.ok("shut", "HALL:V1", "--at", AT)
    (finding,) = cfgtrack("findings", "--json").json["findings"]
    text = (cfgtrack.folder / "good.toml").read_text()
    named = cfgtrack.file("named.toml", f'leaves_open = ["{finding["fingerprints"][0]}"]\n{text}')
    answer = cfgtrack("check", named)
    assert (answer.status, first_line(answer.out)) == (0, "Clear in the written order")
    assert "Open before, and left so by the plan" in answer.out


def test_undecided(cfgtrack: Command) -> None:
    """Where no rule has anything to judge it is undecided: 4."""
    text = (cfgtrack.folder / "rules.toml").read_text()
    dead = text[text.index('[[rule]]\nid = "dead') : text.index('[[rule]]\nid = "powered')]
    answer = cfgtrack("check", "--do", "inspect PUMP-1", "--rules", cfgtrack.file("dead.toml", dead))
    assert (answer.status, first_line(answer.out)) == (4, "Undecided: nothing had anything to judge")


def test_a_dropped_step_leaves_a_clock_running(cfgtrack: Command) -> None:
    """Without the step that restores the power the clock runs on when all is over: not clear."""
    text = (cfgtrack.folder / "good.toml").read_text()
    line = next(one for one in text.splitlines() if "energise HALL:K1" in one and '"4"' in one)
    dropped = text.replace(line, "")
    answer = cfgtrack("check", cfgtrack.file("dropped.toml", dropped))
    said = "Not clear in the written order: nothing new, 1 clock left running"
    assert (answer.status, first_line(answer.out)) == (3, said)
    assert "Clocks left running" in answer.out
    met = """
[[leaves_running]]
clock = "powered-again"
of = "HALL:K1"
outing = "W2"
start = 2031-05-02T08:30:00Z
"""
    answer = cfgtrack("check", cfgtrack.file("met.toml", dropped + met))
    assert (answer.status, first_line(answer.out)) == (0, "Clear in the written order")
    rules = (
        (cfgtrack.folder / "rules.toml")
        .read_text()
        .replace('within = "1 h"', 'within = "1 h"\nmay_outlive = true')
    )
    cfgtrack.ok("rules", "load", cfgtrack.file("rules.toml", rules))
    assert cfgtrack("check", cfgtrack.folder / "dropped.toml").status == 0
    assert "its clock may run on when a sequence has ended" in cfgtrack.ok(
        "rules", "explain", "powered-again"
    )


def test_a_plan_of_the_past_is_refused(cfgtrack: Command) -> None:
    """An outing before the moment is refused with both ways out, and each of them is one."""
    cfgtrack.ok("inspect", "PUMP-1", "--at", AT)
    plan = cfgtrack.file("late.toml", LATE)
    answer = cfgtrack("check", plan)
    assert (answer.status, answer.out) == (2, "")
    assert f"{plan}:2: too-early: outing W1 would start at 2031-04-29T08:00:00Z" in answer.err
    assert "--at 2031-04-29T08:00:00Z or earlier" in answer.err
    assert "W1 2031-05-02T08:00:00Z, W2 2031-05-03T09:30:00Z" in answer.err
    later = LATE.replace("04-29", "05-02").replace("04-30", "05-03")
    assert cfgtrack("check", cfgtrack.file("later.toml", later)).status == 0
    assert "too-early" not in cfgtrack("check", plan, "--at", "2031-04-29T08:00:00Z").err


def test_an_outing_that_has_begun_is_short_of_the_time_that_is_gone(cfgtrack: Command) -> None:
    """An outing that is recorded to have begun isn't too early, and its budget counts from then."""
    one = LATE[: LATE.index('[[outing]]\nid = "W2"')]
    plan = cfgtrack.file("begun.toml", one.replace("2031-04-29T08:00:00Z", "2031-05-01T09:30:00Z"))
    cfgtrack.ok("begin", "W1", "--at", "2031-05-01T09:40:00Z")
    answer = cfgtrack("check", plan, "--at", AT)
    line = "Not clear in the written order: 1 new (marginal)"
    assert (answer.status, first_line(answer.out)) == (3, line)
    assert "outing W1 takes 10 min longer than its budget of 1 h, since it began at 2031-05-01T09:40:00Z" in (
        " ".join(answer.out.split())
    )
    assert cfgtrack("check", plan, "--at", "2031-05-01T09:50:00Z").status == 0
    cfgtrack.ok("end", "W1", "--at", "2031-05-01T09:55:00Z")
    assert cfgtrack("check", plan, "--at", AT).status == 2


def test_a_past_breach_counts_until_it_is_acknowledged(cfgtrack: Command) -> None:
    """What was done against a rule in force is not clear until somebody acknowledges it by name, with a reason."""
    cfgtrack.ok("demate", "PUMP-1:J1", "--at", AT, "--id", "E1")
    answer = cfgtrack("check", "--do", "inspect PUMP-1")
    line = "Not clear: nothing new, 1 past and not acknowledged (catastrophic)"
    assert (answer.status, first_line(answer.out)) == (3, line)
    (finding,) = cfgtrack("check", "--do", "inspect PUMP-1", "--json").json["check"]["past"]
    cfgtrack.ticks = count(parse_instant("2031-05-01T11:00:00Z"), SECOND)
    cfgtrack.ok("acknowledge", *finding["fingerprints"], "--reason", "proved dead", "--by", "lead")
    answer = cfgtrack("check", "--do", "inspect PUMP-1")
    assert (answer.status, first_line(answer.out)) == (0, "Clear")
