"""What somebody in charge decides about findings: they are approved, of a plan or of the past, or acknowledged."""

from __future__ import annotations

import json

import pytest

from cfgtrack.model.time import parse_instant
from tests.cli.conftest import Answer, Command

EARLY = "2031-05-01T08:10:00Z"
THEN = "2031-05-01T08:30:00Z"
AT = "2031-05-01T10:00:00Z"
LATER = "2031-05-01T11:00:00Z"
HANDOVER = parse_instant("2031-05-01T08:00:00Z")
WHO = ("--by", "lead", "--reason", "proved dead by hand")

PLAN = """
title = "Take the pump off"
[[outing]]
id = "W1"
start = 2031-05-01T10:00:00Z
[[outing.track]]
name = "ann"
steps = [
    {{ id = "off", do = "demate PUMP-1:J1", takes = "1 min" }},
    {{ id = "more", do = "{more}", takes = "1 min" }},
]
"""


def plan(cfgtrack: Command, more: str = "inspect PUMP-1") -> object:
    """Return a file with a plan that demates a live connector, and then does one thing more."""
    return cfgtrack.file("plan.toml", PLAN.format(more=more))


def codes(answer: Answer, of: str = "findings") -> list[str]:
    """Return the fingerprints of all that an answer tells, sorted."""
    return sorted(code for f in answer.json[of] for code in f["fingerprints"])


# --- approvals --------------------------------------------------------------------------------------------------------


def test_what_is_approved_on_a_plan_holds_when_it_is_recorded(cfgtrack: Command) -> None:
    """An exception to what a plan would break excuses the step when it is done; and nothing else."""
    *what, file = cfgtrack.naming("dead-before-touch", plan(cfgtrack))
    said = cfgtrack.ok("approve", "--plan", file, *what, *WHO, "--at", AT)
    assert "[dead-before-touch]" in said
    done = cfgtrack("demate", "PUMP-1:J1", "--at", LATER, "--json")
    assert (codes(done), [f["rule"] for f in done.json["excused"]]) == ([], ["dead-before-touch"])
    other = cfgtrack("mate", "PUMP-1:J1", "HALL:J1", "--at", LATER, "--json")
    assert [f["rule"] for f in other.json["findings"]] == ["dead-before-touch"]
    assert other.json["excused"] == []


def test_a_finding_says_its_own_name(cfgtrack: Command) -> None:
    """A fingerprint that an action's check shows is the one that it is approved by."""
    words = ("--do", "demate PUMP-1:J1", "--at", AT)
    found = cfgtrack("check", *words, "--json").json["check"]["new"]
    named = [code for f in found if f["rule"] == "dead-before-touch" for code in f["fingerprints"]]
    told = cfgtrack("approve", *(w for code in named for w in ("--finding", code)), *words, *WHO, "--json")
    assert told.json["event"]["body"]["fingerprints"] == named
    assert told.json["event"]["subjects"] == [s for f in found for s in f["subjects"]]
    assert cfgtrack("history", "PUMP-1", "--json").json["history"][-1]["action"] == "approve"


def test_one_of_two_is_excused(cfgtrack: Command) -> None:
    """Of what one action broke for two halves, the one that is named is excused, and the other stands."""
    broken = codes(cfgtrack("demate", "PUMP-1:J1", "--at", EARLY, "--json"))
    assert len(broken) == 2
    found = cfgtrack("review", "--json").json["findings"]
    (half,) = (f for f in found if f["subjects"] == ["HALL:J1", "PUMP-1:J1"])
    told = cfgtrack(
        "approve", "--finding", half["fingerprints"][0], "--from", EARLY, *WHO, "--at", THEN, "--json"
    )
    assert len(told.json["event"]["body"]["fingerprints"]) == 1
    review = cfgtrack("review", "--json")
    assert [f["subjects"] for f in review.json["findings"]] == [["PUMP-1:J1"]]
    assert [f["subjects"] for f in review.json["excused"]] == [["HALL:J1"]]
    assert sorted(codes(review) + codes(review, "excused")) == broken


@pytest.mark.parametrize("named", [("--finding", "0123456789ab"), ("--rule", "dead-before-touch")])
def test_what_is_not_there_is_not_approved(named: tuple[str, ...], cfgtrack: Command) -> None:
    """An exception can only be to what is there: nothing is approved beforehand, by a name alone."""
    before = cfgtrack.ok("head")
    assert cfgtrack("approve", *named, *WHO, "--at", AT).status == 4
    assert cfgtrack.ok("head") == before
    cfgtrack.ok("demate", "PUMP-1:J1", "--at", AT)
    assert cfgtrack("approve", "PUMP-2:J1", "--rule", "dead-before-touch", *WHO, "--at", LATER).status == 4


def test_a_step_that_cannot_be_done_is_not_approved(cfgtrack: Command) -> None:
    """Nobody can approve what isn't possible: it is refused, with why; what else the plan breaks can be approved."""
    bad = plan(cfgtrack, "demate PUMP-1:J1")
    found = cfgtrack("check", bad, "--json").json["check"]["new"]
    (impossible,) = (code for f in found if f["mode"] == "possible" for code in f["fingerprints"])
    for meant in (("--finding", impossible), ("--rule", "possible")):
        answer = cfgtrack("approve", "--plan", bad, *meant, *WHO, "--at", AT)
        assert answer.status == 3
        assert "demate PUMP-1:J1" in answer.err
        assert "is demated" in answer.err
    *what, file = cfgtrack.naming("dead-before-touch", bad)
    cfgtrack.ok("approve", "--plan", file, *what, *WHO, "--at", AT)
    cfgtrack.ok("demate", "PUMP-1:J1", "--at", AT)
    assert cfgtrack("review").status == 0


def test_no_name_is_refused(cfgtrack: Command) -> None:
    """An empty fingerprint names nothing: it is refused as bad usage, also beside a good one."""
    (code, *_) = codes(cfgtrack("demate", "PUMP-1:J1", "--at", EARLY, "--json"))
    for named in (("",), (code, "")):
        options = [word for one in named for word in ("--finding", one)]
        assert cfgtrack("approve", *options, *WHO, "--at", THEN).status == 2
    assert cfgtrack("acknowledge", "", "--reason", "x").status == 2
    assert cfgtrack("acknowledge", "--reason", "x").status == 2


def old(body: object, *subjects: str, name: str = "old") -> str:
    """Return a line of a journal with an approval that holds `body`."""
    line = {"id": name, "action": "approve", "happened": HANDOVER, "by": "lead", "reason": "x", "body": body}
    return json.dumps({**line, "subjects": subjects} if subjects else line) + "\n"


def test_older_approvals(cfgtrack: Command) -> None:
    """One for exact subjects excuses what is about them; one of a whole rule, or of patterns, is listed as void."""
    cfgtrack.ok("import", "-", stdin=old({"rule": "dead-before-touch"}, "PUMP-1:J1", "HALL:J1", name="good"))
    cfgtrack.ok("demate", "PUMP-1:J1", "--at", AT)
    cfgtrack.ok("mate", "PUMP-1:J1", "HALL:J1", "--at", LATER)
    review = cfgtrack("review", "--json")
    assert (codes(review), {f["variance"] for f in review.json["excused"]}) == ([], {"good"})
    assert review.json["void"] == []
    void = old({"rule": "expansion"}, name="all") + old({"rule": "expansion"}, "PUMP-1:*", name="some")
    cfgtrack.ok("import", "-", stdin=void)
    cfgtrack.ok("shut", "HALL:V1", "--at", LATER)
    for question in ("review", "findings"):
        answer = cfgtrack(question, "--json")
        assert [f["rule"] for f in answer.json["findings"]] == ["expansion"]
        assert [one["event"] for one in answer.json["void"]] == ["all", "some"]
        assert "2 void approvals" in cfgtrack(question).out


DAMAGED: tuple[dict[str, object] | None, ...] = (
    None,
    {},
    {"rule": 7},
    {"fingerprints": "0123456789ab"},
    {"fingerprint": "0123456789ab", "end": "x"},
)


@pytest.mark.parametrize("body", DAMAGED, ids=str)
def test_a_damaged_approval_is_refused(body: object, cfgtrack: Command) -> None:
    """An approval whose body says nothing, or nonsense, is refused with its row, and set aside with --rejects."""
    line = old(body).replace(', "body": null', "")
    answer = cfgtrack("import", "-", stdin=line)
    assert answer.status == 3
    assert "stdin:1: approval: " in answer.err
    aside = cfgtrack("import", "-", "--rejects", cfgtrack.folder / "aside.jsonl", stdin=line)
    assert aside.status == 3
    assert cfgtrack("review").status == 0


@pytest.mark.parametrize("body", DAMAGED, ids=str)
def test_a_damaged_approval_of_before_stops_nothing(
    body: object, cfgtrack: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that stands in the journal already is listed as void, and every question has its answer."""
    with monkeypatch.context() as then:
        then.setattr("cfgtrack.store.form.fault_of_approval", lambda _: "")
        cfgtrack.ok("import", "-", stdin=old(body).replace(', "body": null', ""))
    cfgtrack.ok("demate", "PUMP-1:J1", "--at", AT)
    review = cfgtrack("review", "--json")
    assert review.status == 3
    assert [one["event"] for one in review.json["void"]] == ["old"]
    for question in (
        ("review",),
        ("findings",),
        ("state",),
        ("can", "PUMP-1"),
        ("check", "--do", "shut HALL:V1"),
    ):
        assert cfgtrack(*question).status in (0, 3)
    for question in (("history",), ("history", "--json"), ("export",), ("audit",)):
        cfgtrack.ok(*question)


# --- acknowledgements -------------------------------------------------------------------------------------------------


def test_what_is_acknowledged(cfgtrack: Command) -> None:
    """A finding that is acknowledged stays one, and is shown with who acknowledged it, when and why."""
    broken = codes(cfgtrack("demate", "PUMP-1:J1", "--at", EARLY, "--json"))
    told = cfgtrack(
        "acknowledge", *broken, "--reason", "nobody was hurt", "--by", "chief", "--at", THEN, "--json"
    )
    assert told.json["event"]["acknowledges"] == " ".join(broken)
    review = cfgtrack("review", "--json")
    assert (review.status, codes(review)) == (3, broken)
    seen = review.json["acknowledged"]
    assert sorted(one["fingerprint"] for one in seen) == broken
    assert {(one["by"], one["happened"], one["reason"], one["time"]) for one in seen} == {
        ("chief", THEN, "nobody was hurt", EARLY)
    }
    assert f"acknowledged by chief, {THEN}: nobody was hurt" in cfgtrack("review", "--details").out
    assert cfgtrack("review", "--at", EARLY, "--json").json["acknowledged"] == []


def test_nothing_later_is_acknowledged(cfgtrack: Command) -> None:
    """The same done again after it was acknowledged is not: each time somebody has to look at it."""
    broken = codes(cfgtrack("demate", "PUMP-1:J1", "--at", EARLY, "--json"))
    cfgtrack.ok("acknowledge", *broken, "--reason", "x", "--at", THEN)
    cfgtrack.ok("mate", "PUMP-1:J1", "HALL:J1", "--at", THEN)
    cfgtrack.ok("demate", "PUMP-1:J1", "--at", "2031-05-01T08:40:00Z")
    review = cfgtrack("review", "--json")
    again = [
        f
        for f in review.json["findings"]
        if f["fingerprints"] == broken or set(f["fingerprints"]) == set(broken)
    ]
    assert len(again) == 2
    assert {one["time"] for one in review.json["acknowledged"]} == {EARLY}


def test_one_that_is_not_there_is_refused(cfgtrack: Command) -> None:
    """What no finding is called can't be acknowledged, nor what had not happened then; of several none is."""
    (code, other) = codes(cfgtrack("demate", "PUMP-1:J1", "--at", EARLY, "--json"))
    before = cfgtrack.ok("head")
    assert cfgtrack("acknowledge", code, "0123456789ab", "--reason", "x").status == 4
    assert cfgtrack("acknowledge", code, other, "--reason", "x", "--at", "2031-05-01T07:30:00Z").status == 4
    assert cfgtrack("acknowledge", code, other).status == 2
    assert cfgtrack.ok("head") == before


def test_what_lies_ahead_is_not_acknowledged(cfgtrack: Command) -> None:
    """A finding that is recorded for later than now can't be acknowledged before it has happened."""
    (code, *_) = codes(cfgtrack("demate", "PUMP-1:J1", "--at", AT, "--json"))
    answer = cfgtrack("acknowledge", code, "--reason", "x", "--at", LATER)
    assert (answer.status, "later than now" in answer.err) == (4, True)


@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_acknowledgements_go_out_and_come_in(form: str, cfgtrack: Command) -> None:
    """In CSV and in JSON Lines an acknowledgement comes back as it was."""
    broken = codes(cfgtrack("demate", "PUMP-1:J1", "--at", EARLY, "--json"))
    cfgtrack.ok("acknowledge", *broken, "--reason", "x", "--at", THEN, "--id", "seen")
    text = cfgtrack.ok("export", "--form", form)
    again = cfgtrack("import", "-", "--json", stdin=text)
    assert (again.status, again.json["recorded"]) == (0, 0)
    cfgtrack.ok("withdraw", "seen", "--reason", "not so")
    assert cfgtrack("review", "--json").json["acknowledged"] == []
    cfgtrack.ok("import", "-", stdin=text.replace("seen", "again"))
    assert len(cfgtrack("review", "--json").json["acknowledged"]) == len(broken)
