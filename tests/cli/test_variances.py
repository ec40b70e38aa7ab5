"""Variances: who approved what, when, until when, before or after the fact; and that two people are two."""

from __future__ import annotations

import json

import pytest

from cfgtrack.model.time import parse_instant
from tests.cli import world
from tests.cli.conftest import Answer, Command

EARLY = "2031-05-01T08:10:00Z"
THEN = "2031-05-01T08:30:00Z"
NINE = "2031-05-01T09:00:00Z"
TEN = "2031-05-01T10:00:00Z"
NOON = "2031-05-01T12:00:00Z"
TWO = world.RULES.replace(
    'title = "Tiny rules"\n', 'title = "Tiny rules"\n[approvals]\ncatastrophic = 2\n', 1
)

PEOPLE = """
[[person]]
id = "ANN"
roles = ["record", "approve"]
[[person]]
id = "BEN"
roles = ["record", "approve", "administer", "define", "correct"]
place = "BENCART"
[[person]]
id = "CY"
roles = ["record"]
[[place]]
id = "BENCART"
aliases = ["=BEN+1"]
mobile = true
"""
"""Ann and Ben may approve, Cy may not; Ben works at the plant, and is a place that moves there."""


def said(text: str) -> str:
    """Return a text in one line, however it was broken."""
    return " ".join(text.split())


def first_line(answer: Answer) -> str:
    """Return the first line of an answer, however it was broken."""
    return said(answer.out.split("  (", 1)[0].split("\n  (", 1)[0])


def shut(cfgtrack: Command, at: str = EARLY) -> list[str]:
    """Shut the valve to the vessel, which is catastrophic and stays so; return the fingerprints."""
    done = cfgtrack("shut", "HALL:V1", "--at", at, "--json")
    codes = [code for f in done.json["findings"] for code in f["fingerprints"]]
    assert codes
    return codes


def approve(cfgtrack: Command, codes: list[str], by: str, *more: str, recorder: str | None = None) -> Answer:
    """Approve findings by name; who approves records it himself, where nobody else is said to."""
    named = (word for code in codes for word in ("--finding", code))
    who = ("--by", by, "--recorder", recorder or by)
    return cfgtrack("approve", *named, *who, "--reason", f"as {by} says", *more)


def only_excused(cfgtrack: Command, *more: str) -> dict[str, object]:
    """Return what was approved of the one finding that is excused."""
    (found,) = cfgtrack("findings", "--json", *more).json["excused"]
    approved = found["approved"]
    assert isinstance(approved, dict)
    return approved


# --- nothing is hidden ------------------------------------------------------------------------------------------------


def test_an_excused_catastrophic_finding_says_by_whom_until_when_and_that_it_came_after(
    cfgtrack: Command,
) -> None:
    """`findings` ends with 0 over it, and its first line says what is excused, by whom, until when, after the fact."""
    codes = shut(cfgtrack)
    assert approve(cfgtrack, codes, "ANN", "--from", EARLY, "--until", NOON).status == 0
    found = cfgtrack("findings", "--at", TEN)
    assert found.status == 0
    assert first_line(found) == (
        f"No findings; 1 excused (1 catastrophic, by ANN until {NOON} (2 h left), after the fact)"
    )
    text = said(found.out)
    assert f"approved by ANN, until {NOON} (2 h left), after the fact (known since 2031-05-01T09:00:" in text
    assert f"back-dated to {EARLY}, until {NOON}: as ANN says (event" in text
    assert "the plant doesn't say who may approve: nobody was checked" in text


def test_an_excused_finding_is_whole_in_json(cfgtrack: Command) -> None:
    """JSON says of it who approved, when that was known, for what time, why, and that it was after the fact."""
    codes = shut(cfgtrack)
    event = approve(cfgtrack, codes, "ANN", "--from", EARLY, "--until", NOON, "--json").json["event"]
    (found,) = cfgtrack("findings", "--at", TEN, "--json").json["excused"]
    assert found["variance"] == event["id"]
    approved = found["approved"]
    (one,) = approved["approvals"]
    assert (approved["excuses"], approved["fact"], approved["by"]) == (True, "after", ["ANN"])
    assert (approved["needs"], approved["waits"], approved["until"]) == (1, False, NOON)
    assert (one["event"], one["by"], one["reason"]) == (event["id"], "ANN", "as ANN says")
    assert (one["known"], one["start"], one["end"]) == (event["known"], EARLY, NOON)
    assert (one["back_dated"], one["checked"], one["standing"]) == (True, False, "runs")


def test_what_was_approved_on_a_plan_is_before_the_fact(cfgtrack: Command) -> None:
    """Approved on a plan and then done: every answer says before the fact."""
    new = cfgtrack("check", "--do", "demate PUMP-1:J1", "--json").json["check"]["new"]
    codes = [code for f in new for code in f["fingerprints"]]
    named = [word for code in codes for word in ("--finding", code)]
    who = ("--by", "ANN", "--reason", "proved dead by hand")
    told = cfgtrack.ok("approve", *named, "--do", "demate PUMP-1:J1", *who)
    assert "approved by ANN, until further notice, before the fact" in said(told)
    checked = cfgtrack("check", "--do", "demate PUMP-1:J1")
    assert checked.status == 0
    assert "1 catastrophic, by ANN until further notice, before the fact" in first_line(checked)
    done = cfgtrack("demate", "PUMP-1:J1")
    assert "before the fact" in done.out
    assert "before the fact" in said(cfgtrack("review").out)


def test_as_known_then_the_earlier_answer_stays(cfgtrack: Command) -> None:
    """Before the approval was known the finding stands, however far back it is dated."""
    codes = shut(cfgtrack)
    before = cfgtrack("findings", "--at", TEN, "--json").json
    assert before["findings"]
    approve(cfgtrack, codes, "ANN", "--from", EARLY)
    again = cfgtrack("findings", "--at", TEN, "--known-at", before["known"], "--json").json
    assert again == before
    assert cfgtrack("findings", "--at", TEN).status == 0


def test_a_paper_approval_that_is_recorded_late_says_when(cfgtrack: Command) -> None:
    """Decided on paper before it was done, and recorded after: it is after the fact, and both times are told."""
    codes = shut(cfgtrack, THEN)
    approve(cfgtrack, codes, "ANN", "--at", EARLY, recorder="clerk")
    text = said(cfgtrack("findings").out)
    assert "after the fact (known since 2031-05-01T09:00:" in text
    assert f"ANN, decided {EARLY}, recorded 2031-05-01T09:00:" in text
    assert "by clerk" in text
    assert f"back-dated to {EARLY}" in text


def test_what_ran_out_says_so(cfgtrack: Command) -> None:
    """When it ends, the finding is back, and says how long ago its approval ran out."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN", "--until", TEN)
    found = cfgtrack("findings", "--at", NOON)
    assert found.status == 3
    assert first_line(found).endswith("1 no longer excused")
    assert "approved but ran out 2 h ago" in said(found.out)
    (one,) = cfgtrack("findings", "--at", NOON, "--json").json["findings"][0]["approved"]["approvals"]
    assert one["standing"] == "ran out"


def test_what_begins_later_says_so(cfgtrack: Command) -> None:
    """An approval from noon on excuses nothing at ten, and the finding says that it begins later."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN", "--from", NOON)
    found = cfgtrack("findings", "--at", TEN)
    assert found.status == 3
    assert "approved but begins later" in said(found.out)
    assert only_excused(cfgtrack, "--at", NOON)["fact"] == "after"


def test_what_was_withdrawn_says_so(cfgtrack: Command) -> None:
    """A withdrawn approval excuses nothing, and the finding says by whom it was withdrawn, and why."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN", "--id", "V1")
    before = cfgtrack("findings", "--at", TEN, "--json").json
    cfgtrack.ok("withdraw", "V1", "--by", "BEN", "--reason", "the relief valve leaks")
    assert cfgtrack("findings", "--at", TEN, "--known-at", before["known"], "--json").json == before
    found = cfgtrack("findings")
    assert found.status == 3
    assert first_line(found).endswith("1 no longer excused")
    text = said(found.out)
    assert "approved but withdrawn" in text
    assert "by BEN: the relief valve leaks" in text


def test_a_plan_that_outlasts_its_approval_is_not_clear(cfgtrack: Command) -> None:
    """An approval that ends before the plan does says that it is not for as long as the finding lasts."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN", "--until", "2031-05-02T08:01:00Z")
    checked = cfgtrack("check", cfgtrack.folder / "good.toml", "--at", TEN)
    assert checked.status == 3
    assert "approved but not for as long as it lasts" in said(checked.out)


# --- broken anew ------------------------------------------------------------------------------------------------------


AGAIN = "2031-05-01T09:30:00Z"


def open_and_shut(cfgtrack: Command, at: str = AGAIN) -> Answer:
    """Mend what was approved, and break the same anew."""
    cfgtrack.ok("open", "HALL:V1", "--at", "2031-05-01T09:10:00Z")
    return cfgtrack("shut", "HALL:V1", "--at", at)


def test_what_is_broken_anew_after_it_was_approved_says_so(cfgtrack: Command) -> None:
    """An approval goes on excusing what it names, and every answer says that this was broken anew since."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN")
    assert "ANEW" not in cfgtrack.ok("findings", "--at", "2031-05-01T09:05:00Z")
    anew = f"BROKEN ANEW at {AGAIN}, after it was approved"
    done = open_and_shut(cfgtrack)
    assert anew in first_line_of_findings(done.out)
    found = cfgtrack("findings", "--at", TEN)
    assert found.status == 0
    assert first_line(found).endswith(f"; 1 of it {anew}")
    assert f"before the fact, {anew}" in said(found.out.split("\n\n", 1)[1])
    approved = only_excused(cfgtrack, "--at", TEN)
    assert approved["anew"] == AGAIN
    assert [one["anew"] for one in approved["approvals"]] == [AGAIN]  # type: ignore[attr-defined]
    assert anew in said(cfgtrack("review", "--at", TEN).out)
    assert anew in first_line(cfgtrack("check", "--do", "inspect PUMP-1", "--at", TEN))


def first_line_of_findings(text: str) -> str:
    """Return the line that says how many findings an answer has."""
    return said(text[text.index("No findings") :].split("  (", 1)[0])


def test_what_would_be_broken_anew_says_so_before(cfgtrack: Command) -> None:
    """A check, and what may be done next, say of what was approved of an earlier time that it would break anew."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN")
    cfgtrack.ok("open", "HALL:V1", "--at", "2031-05-01T09:10:00Z")
    assert "BROKEN ANEW" in first_line(cfgtrack("check", "--do", "shut HALL:V1", "--at", AGAIN))
    assert "BROKEN ANEW" in first_line(cfgtrack("can", "HALL:V1", "--at", AGAIN))


def test_what_would_be_broken_anew_is_told_by_the_rules_that_are_asked(cfgtrack: Command) -> None:
    """Judged by rules in a file, what was broken before is what these say of the past, whatever rules are kept."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN")
    cfgtrack.ok("open", "HALL:V1", "--at", "2031-05-01T09:10:00Z")
    others = cfgtrack.file("others.toml", world.RULES)
    cfgtrack.ok("rules", "drop", "rules.toml", "--accept", "others are asked")
    by_them = ("--at", AGAIN, "--rules", others)
    assert "BROKEN ANEW" in first_line(cfgtrack("check", "--do", "shut HALL:V1", *by_them))
    assert "BROKEN ANEW" in first_line(cfgtrack("can", "HALL:V1", *by_them))


def test_who_approves_it_again_approves_this_one(cfgtrack: Command) -> None:
    """Approved again after it was broken anew, it is excused by the one who has seen that, and not told as anew."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN", "--at", "2031-05-01T08:15:00Z")
    cfgtrack.ok("open", "HALL:V1", "--at", "2031-05-01T08:20:00Z")
    cfgtrack.ok("shut", "HALL:V1", "--at", THEN)
    assert f"BROKEN ANEW at {THEN}" in first_line(cfgtrack("findings"))
    told = approve(cfgtrack, codes, "BEN")
    assert "ANEW" not in told.out
    found = cfgtrack("findings", "--at", NOON)
    assert "by BEN until further notice, after the fact" in first_line(found)
    assert "ANEW" not in found.out


def test_an_approval_tells_of_the_breach_that_it_names(cfgtrack: Command) -> None:
    """Of what was broken, mended and broken again it names the last: what it is to that is told, not to the first."""
    codes = shut(cfgtrack)
    cfgtrack.ok("open", "HALL:V1", "--at", "2031-05-01T08:20:00Z")
    cfgtrack("shut", "HALL:V1", "--at", THEN)
    (named,) = approve(cfgtrack, codes, "BEN", "--from", THEN, "--json").json["named"]
    assert named["time"] == THEN
    assert named["approved"]["excuses"]
    assert [one["standing"] for one in named["approved"]["approvals"]] == ["runs"]


def test_what_a_plan_breaks_is_not_anew_as_often_as_it_does(cfgtrack: Command) -> None:
    """Approved on a plan, though the same was broken and mended long before: the next time is what was approved."""
    codes = shut(cfgtrack)
    cfgtrack.ok("open", "HALL:V1", "--at", THEN)
    approve(cfgtrack, codes, "ANN", "--do", "shut HALL:V1")
    assert "ANEW" not in cfgtrack("check", "--do", "shut HALL:V1").out
    done = cfgtrack("shut", "HALL:V1", "--at", "2031-05-01T09:05:00Z")
    assert "1 excused" in done.out
    assert "ANEW" not in done.out
    open_and_shut(cfgtrack)
    assert only_excused(cfgtrack, "--at", TEN)["anew"] == AGAIN


def test_an_approval_without_an_end_says_so_loudly(cfgtrack: Command) -> None:
    """Without --until an approval says that it is for every later time too; with one it doesn't."""
    codes = shut(cfgtrack)
    told = said(approve(cfgtrack, codes, "ANN", "--id", "V1").out)
    assert "UNTIL FURTHER NOTICE, for every later time that the same is broken anew" in told
    assert "withdraw V1" in told
    assert "FURTHER" not in approve(cfgtrack, codes, "ANN", "--until", NOON).out


def test_the_excused_goes_on_being_judged_by_both_times(cfgtrack: Command) -> None:
    """As known before it was broken anew nothing was told of that."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN")
    before = cfgtrack("findings", "--at", "2031-05-01T09:05:00Z", "--json").json
    open_and_shut(cfgtrack)
    at = ("--at", "2031-05-01T09:05:00Z", "--known-at", before["known"])
    assert cfgtrack("findings", *at, "--json").json == before


# --- for everything ---------------------------------------------------------------------------------------------------


def test_the_catastrophic_is_approved_by_name_alone(cfgtrack: Command) -> None:
    """Nobody approves all that a catastrophic rule finds: each finding must be named, and the refusal names them."""
    codes = shut(cfgtrack)
    head = cfgtrack.ok("head")
    answer = cfgtrack("approve", "--rule", "expansion", "--by", "ANN", "--reason", "x")
    assert answer.status == 3
    assert f"approved by name alone: --finding {codes[0]}" in said(answer.err)
    assert cfgtrack.ok("head") == head


MANY = """
[[rule]]
id = "capped"
title = "Spares are capped"
hazard = "dirt gets in"
severity = 4
source = "common practice"
mode = "always"
scope = { id = "SPARE-*:F1" }
condition = { status = "it", is = "capped" }
"""


def test_many_are_approved_only_where_somebody_says_how_many(empty: Command) -> None:
    """More than ten findings of a rule are approved with their number alone, so that nobody means fewer."""
    spares = "".join(f'[[unit]]\nid = "SPARE-{n}"\npart = "pump"\nhome = "STORE"\n' for n in range(12))
    empty.ok("load", empty.file("plant.toml", world.PLANT + spares), "--by", "survey")
    empty.ok("rules", "load", empty.file("rules.toml", MANY))
    words = ("approve", "--rule", "capped", "--by", "ANN", "--reason", "x")
    for more in ((), ("--count", "11")):
        answer = empty(*words, *more)
        assert answer.status == 3
        assert "rule capped finds 12" in said(answer.err)
    assert empty("approve", "--finding", "0" * 12, "--count", "1", "--by", "A", "--reason", "x").status == 2
    empty.ok(*words, "--count", "12")
    assert empty("findings").status == 0


# --- two people -------------------------------------------------------------------------------------------------------


@pytest.fixture
def two(cfgtrack: Command) -> Command:
    """The tiny plant, where two people must approve what is catastrophic."""
    cfgtrack.ok("rules", "load", cfgtrack.file("rules.toml", TWO))
    return cfgtrack


def test_until_the_second_signs_it_excuses_nothing(two: Command) -> None:
    """One approval of two waits for a second, in every answer; the second makes it whole, and both are told."""
    codes = shut(two)
    told = approve(two, codes, "ANN", "--id", "V1", "--until", NOON)
    assert "approved by ANN, waits for a second: it excuses nothing yet" in said(told.out)
    found = two("findings", "--at", TEN)
    assert found.status == 3
    assert first_line(found).endswith("1 approved by ANN, waits for a second")
    assert "approved by ANN, waits for a second" in said(found.out.split("\n\n", 1)[1])
    assert "waits for a second" in first_line(two("check", "--do", "inspect PUMP-1", "--at", TEN))
    assert "waits for a second" in two("inspect", "HALL:V1", "--at", TEN).out
    (still,) = two("findings", "--json", "--at", TEN).json["findings"]
    assert (still["approved"]["waits"], still["approved"]["needs"], still["variance"]) == (True, 2, None)

    done = two("approve", "--second", "V1", "--by", "BEN", "--recorder", "BEN", "--reason", "seen", "--json")
    assert done.json["event"]["body"]["fingerprints"] == codes
    assert done.json["named"][0]["approved"]["excuses"] is True
    found = two("findings", "--at", TEN)
    assert found.status == 0
    assert f"1 catastrophic, by ANN and BEN until {NOON} (2 h left), after the fact" in first_line(found)
    text = said(found.out)
    assert "as ANN says (event V1)" in text
    assert ": seen (event" in text


@pytest.mark.parametrize(
    ("by", "recorder"),
    [
        ("ANN", "desk"),  # the same person again
        ("ann", "desk"),
        (" Ann ", "desk"),
        ("BEN", "ANN"),  # whom Ann writes down
        ("BEN", "ann"),
    ],
)
def test_one_person_is_not_two(by: str, recorder: str, two: Command) -> None:
    """Who had a hand in one approval, as who approved or who wrote it down, makes no second of it."""
    codes = shut(two)
    approve(two, codes, "ANN")
    assert approve(two, codes, by, recorder=recorder).status == 0
    found = two("findings")
    assert found.status == 3
    assert "waits for a second" in first_line(found)


def test_one_recorder_is_not_two(two: Command) -> None:
    """Two approvals that one clerk writes down are one person's word."""
    codes = shut(two)
    approve(two, codes, "ANN", recorder="clerk")
    approve(two, codes, "BEN", recorder="clerk")
    assert two("findings").status == 3
    assert "(clerk had a hand in both)" in said(two("findings").out)
    approve(two, codes, "CY")
    assert two("findings").status == 0


def test_both_must_run(two: Command) -> None:
    """Where one of two ends the finding is back, and says that it waits for a second."""
    codes = shut(two)
    approve(two, codes, "ANN", "--until", TEN)
    approve(two, codes, "BEN", "--until", NOON)
    assert only_excused(two, "--at", "2031-05-01T09:59:59Z")["until"] == TEN
    found = two("findings", "--at", TEN)
    assert found.status == 3
    assert "1 approved by BEN, waits for a second" in first_line(found)


def test_before_the_fact_needs_both_before(two: Command) -> None:
    """Where the second came after it was done, the whole is after the fact."""
    do = ("--do", "shut HALL:V1")
    new = two("check", *do, "--json").json["check"]["new"]
    codes = [code for f in new for code in f["fingerprints"]]
    approve(two, codes, "ANN", *do)
    two("shut", "HALL:V1")
    approve(two, codes, "BEN", "--from", NINE)
    assert only_excused(two)["fact"] == "after"


def test_a_rule_may_ask_for_two_itself(cfgtrack: Command) -> None:
    """What the rule says goes before what its file says of the severity; a file that says nothing asks for one."""
    one = TWO.replace('id = "expansion"', 'id = "expansion"\napprovals = 1')
    cfgtrack.ok("rules", "load", cfgtrack.file("rules.toml", one))
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN")
    assert cfgtrack("findings").status == 0


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("[approvals]\ncatastrophic = 3", "how many people must approve an exception, 1 or 2"),
        ("[approvals]\nworst = 2", "worst"),
        ("[approvers]\ncatastrophic = 2", "a list of texts"),
        ('[approvals]\ncatastrophic = 2\n[approvers]\ncatastrophic = ["ANN"]', "and only ANN may"),
    ],
)
def test_what_is_asked_wrongly_is_refused(text: str, why: str, cfgtrack: Command) -> None:
    """A rules file that asks for what makes no sense is refused with its line."""
    bad = cfgtrack.file("bad-rules.toml", world.RULES.replace("\n[[rule]]", f"\n{text}\n[[rule]]", 1))
    answer = cfgtrack("rules", "load", bad)
    assert answer.status == 2
    assert why in said(answer.err)


def test_a_rule_leaves_it_to_some(cfgtrack: Command) -> None:
    """Where a rule names who may except from it, others are refused, and what they approved elsewhere counts not."""
    named = world.RULES.replace('id = "expansion"', 'id = "expansion"\napprovers = ["CHIEF", "SAFETY"]')
    cfgtrack.ok("rules", "load", cfgtrack.file("rules.toml", named))
    codes = shut(cfgtrack)
    answer = approve(cfgtrack, codes, "ANN")
    assert answer.status == 3
    assert "rule expansion leaves exceptions to CHIEF and SAFETY, and not to ANN" in said(answer.err)
    line = {"id": "sly", "action": "approve", "happened": parse_instant(EARLY), "by": "ANN", "reason": "x"}
    cfgtrack.ok("import", "-", stdin=json.dumps({**line, "body": {"fingerprints": codes}}) + "\n")
    assert cfgtrack("findings").status == 3
    approve(cfgtrack, codes, "Chief")
    assert cfgtrack("findings").status == 0


def test_nothing_else_is_a_second(two: Command) -> None:
    """The second to what is no approval, is gone, or was withdrawn, is refused."""
    codes = shut(two)
    approve(two, codes, "ANN", "--id", "V1")
    two.ok("inspect", "PUMP-1", "--id", "E1")
    who = ("--by", "BEN", "--reason", "x")
    assert two("approve", "--second", "E1", *who).status == 3
    assert two("approve", "--second", "nothing", *who).status == 4
    two.ok("withdraw", "V1", "--reason", "x")
    gone = two("approve", "--second", "V1", *who)
    assert (gone.status, "no longer counts" in gone.err) == (3, True)
    assert two("approve", "--second", "V1", "--finding", codes[0], *who).status == 2


def test_fewer_approvals_must_be_accepted(two: Command) -> None:
    """Rules that let one person do what took two say so when they are loaded, and need a reason that is recorded."""
    answer = two("rules", "load", two.file("rules.toml", world.RULES))
    assert answer.status == 3
    assert "an exception needs 1 who approves it, and needed 2" in said(answer.out + answer.err)
    two.ok("rules", "load", two.file("rules.toml", world.RULES), "--accept", "the other left")
    named = world.RULES.replace('id = "expansion"', 'id = "expansion"\napprovers = ["CHIEF"]')
    two.ok("rules", "load", two.file("rules.toml", named))
    answer = two("rules", "load", two.file("rules.toml", named.replace('"CHIEF"', '"CHIEF", "ANN"')))
    assert answer.status == 3
    assert "exceptions are left to CHIEF and ANN, and were to CHIEF" in said(answer.out + answer.err)


def test_what_was_whole_waits_where_two_are_asked_for_later(cfgtrack: Command) -> None:
    """How many must approve is what the rules ask as known: asked for two, one of before waits for a second."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN")
    before = cfgtrack("findings", "--at", TEN, "--json").json
    cfgtrack.ok("rules", "load", cfgtrack.file("rules.toml", TWO))
    assert "waits for a second" in first_line(cfgtrack("findings", "--at", TEN))
    assert cfgtrack("findings", "--at", TEN, "--known-at", before["known"], "--json").json == before


def test_who_did_it_is_one_of_two_and_says_so(two: Command) -> None:
    """Who did what broke the rule may be one of two, never both; and every answer says that it was he."""
    two("shut", "HALL:V1", "--at", EARLY, "--by", "ANN")
    codes = [code for f in two("findings", "--json").json["findings"] for code in f["fingerprints"]]
    approve(two, codes, "ann")
    found = two("findings")
    assert found.status == 3
    assert "by ann, who did it himself, " in said(found.out)
    approve(two, codes, "BEN")
    assert [one["did_it"] for one in only_excused(two)["approvals"]] == [True, False]  # type: ignore[attr-defined]


def test_of_a_plan_who_is_to_do_it_says_so(cfgtrack: Command) -> None:
    """Who approves what a plan has him do himself: the check says that it is he."""
    do = ("--do", "demate PUMP-1:J1 by ANN")
    cfgtrack.ok("approve", *cfgtrack.naming("dead-before-touch", *do), "--by", "ann", "--reason", "x")
    checked = cfgtrack("check", *do)
    assert checked.status == 0
    assert "by ann, who did it himself, " in said(checked.out)


def test_can_says_what_is_excused(cfgtrack: Command) -> None:
    """What may be done next says on its first line that some of it is excused, and by whom."""
    live = cfgtrack.naming("dead-before-touch", "--do", "demate PUMP-1:J1")
    cfgtrack.ok("approve", *live, "--by", "ANN", "--reason", "x")
    assert "1 excused (1 catastrophic, by ANN until further notice" in first_line(
        cfgtrack("can", "PUMP-1:J1")
    )


def test_a_rule_in_words_says_who_must_approve(two: Command) -> None:
    """`rules explain` says how many must approve an exception, where one isn't enough."""
    assert "two people must approve one" in said(two.ok("rules", "explain", "expansion"))
    assert "must approve" not in two.ok("rules", "explain", "powered-again")


def test_history_says_what_is_back_dated(cfgtrack: Command) -> None:
    """An approval for a time from before it was recorded says so in the history; one from now on doesn't."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN", "--id", "now")
    assert "back-dated" not in cfgtrack.ok("history", "PUMP-1")
    approve(cfgtrack, codes, "ANN", "--from", EARLY, "--id", "before")
    assert cfgtrack.ok("history", "PUMP-1").count("back-dated:") == 1


# --- people -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def staffed(empty: Command) -> Command:
    """The tiny plant with people, where two must approve what is catastrophic."""
    empty.ok("load", empty.file("plant.toml", world.PLANT + PEOPLE), "--by", "BEN", "--recorder", "BEN")
    empty.ok("rules", "load", empty.file("rules.toml", TWO), "--by", "BEN", "--recorder", "BEN")
    return empty


def test_who_may_not_approve_is_refused(staffed: Command) -> None:
    """Where the plant names people, nobody else approves, and no one without the role."""
    codes = shut_by(staffed)
    head = staffed.ok("head")
    for by in ("CY", "somebody"):
        answer = approve(staffed, codes, by, recorder="ANN")
        assert answer.status == 3
        assert by in answer.err
    assert staffed.ok("head") == head


def test_nobody_else_is_a_second_by_another_name(staffed: Command) -> None:
    """Ben is one, by his id, by the place that moves which he is, and by what that is called."""
    codes = shut_by(staffed)
    for by in ("BEN", "BENCART", "=BEN+1"):
        approve(staffed, codes, by, recorder="BEN")
    found = staffed("findings")
    assert found.status == 3
    assert "waits for a second" in first_line(found)
    approve(staffed, codes, "ANN")
    found = staffed("findings")
    assert found.status == 0
    assert "nobody was checked" not in said(found.out)
    assert all(one["checked"] for one in only_excused(staffed)["approvals"])  # type: ignore[attr-defined]


def test_what_was_approved_before_people_were_named_stays(cfgtrack: Command) -> None:
    """By the plant of when it was recorded, an approval of before counts, and says that nobody was checked."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "the lead")
    more = cfgtrack.file("people.toml", PEOPLE)
    cfgtrack.ok("load", cfgtrack.folder / "plant.toml", more, "--by", "BEN", "--recorder", "BEN")
    found = cfgtrack("findings")
    assert found.status == 0
    assert "nobody was checked" in said(found.out)
    assert approve(cfgtrack, codes, "the lead", recorder="ANN").status == 3


def shut_by(cfgtrack: Command) -> list[str]:
    """Shut the valve, where people are named who may record that."""
    done = cfgtrack("shut", "HALL:V1", "--at", EARLY, "--by", "ANN", "--recorder", "ANN", "--json")
    return [code for f in done.json["findings"] for code in f["fingerprints"]]


def test_the_refusal_names_who_could_approve_this(empty: Command) -> None:
    """Who lacks the role is told who could approve what he named, and not who may elsewhere alone."""
    confined = '[[permission]]\nid = "far"\nwho = "ANN"\nmay = "approve"\non = { id = "STORE" }\n'
    plant = empty.file("plant.toml", world.PLANT + PEOPLE + confined)
    empty.ok("load", plant, "--by", "BEN", "--recorder", "BEN")
    empty.ok("rules", "load", empty.file("rules.toml", TWO), "--by", "BEN", "--recorder", "BEN")
    answer = approve(empty, shut_by(empty), "CY", recorder="BEN")
    assert answer.status == 3
    assert "CY hasn't the role approve; BEN could" in said(answer.err)


@pytest.mark.parametrize(
    ("by", "recorder", "why"),
    [
        ("ANN", "BEN", "ANN had a hand in approval V1 already, so this is no second: BEN could"),
        ("BEN", "ANN", "who writes this down had a hand in approval V1 already: BEN could"),
    ],
)
def test_no_second_by_the_first(by: str, recorder: str, why: str, staffed: Command) -> None:
    """Who had a hand in the first approval is refused as the second, and told who could; nothing is recorded."""
    codes = shut_by(staffed)
    approve(staffed, codes, "ANN", "--id", "V1")
    head = staffed.ok("head")
    second = ("approve", "--second", "V1", "--reason", "x")
    answer = staffed(*second, "--by", by, "--recorder", recorder)
    assert answer.status == 3
    assert why in said(answer.err)
    assert staffed.ok("head") == head
    staffed.ok(*second, "--by", "BEN", "--recorder", "BEN")


@pytest.mark.parametrize("second", [False, True], ids=["first", "second"])
def test_what_ends_before_it_begins_is_refused(second: bool, two: Command) -> None:
    """An approval that ends before its start is refused; one that has run out already is asked about."""
    codes = shut(two)
    approve(two, codes, "ANN", "--id", "V1")
    named = ("--second", "V1") if second else ("--finding", codes[0])
    words = ("approve", *named, "--by", "BEN", "--reason", "x")
    head = two.ok("head")
    assert two(*words, "--at", THEN, "--until", EARLY).status == 2
    assert two(*words, "--until", THEN).status == 2
    answer = two(*words, "--from", EARLY, "--until", THEN)
    assert answer.status == 3
    assert f"it would have run out already, at {THEN}" in said(answer.err)
    assert "--sure" in answer.err
    assert two.ok("head") == head
    two.ok(*words, "--from", EARLY, "--until", THEN, "--sure")


@pytest.mark.parametrize(
    ("approvers", "why"),
    [
        (["CY", "GHOST"], "GHOST is no person of this plant"),
        (["ANN", "GHOST"], "exceptions to rule expansion need two people of ANN and GHOST"),
        (["ANN", "ann", "CY"], "CY hasn't the role approve"),
    ],
)
def test_rules_that_leave_it_to_nobody_are_refused(approvers: list[str], why: str, staffed: Command) -> None:
    """Where the plant has roles, exceptions aren't left to too few who may approve."""
    text = TWO.replace("\n[[rule]]", f"\n[approvers]\ncatastrophic = {json.dumps(approvers)}\n[[rule]]", 1)
    head = staffed.ok("head")
    answer = staffed("rules", "load", staffed.file("rules.toml", text), "--by", "BEN", "--recorder", "BEN")
    assert answer.status == 2
    assert why in said(answer.err)
    assert staffed.ok("head") == head


def test_rules_that_leave_it_to_some_who_may_not_say_so(staffed: Command) -> None:
    """Where enough of those may approve to whom exceptions are left, the others are told."""
    named = '\n[approvers]\ncatastrophic = ["ANN", "BEN", "GHOST"]\n[[rule]]'
    rules = staffed.file("rules.toml", TWO.replace("\n[[rule]]", named, 1))
    answer = staffed("rules", "load", rules, "--by", "BEN", "--recorder", "BEN")
    assert answer.status == 0
    assert "exceptions are left to GHOST, too; GHOST is no person" in said(answer.out + answer.err)


def test_the_history_of_a_thing_has_what_was_withdrawn(cfgtrack: Command) -> None:
    """The history of what an approval was about has it after it was withdrawn, and the withdrawal, by that word."""
    codes = shut(cfgtrack)
    event = approve(cfgtrack, codes, "ANN", "--id", "V1", "--json").json["event"]
    cfgtrack.ok("withdraw", "V1", "--by", "BEN", "--reason", "the relief valve leaks", "--id", "W1")
    cfgtrack.ok("remark", "STORE", "quiet")
    for words in ((event["subjects"][0],), ()):
        assert "corrected by" not in said(cfgtrack.ok("history", *words))
        lines = cfgtrack("history", *words, "--json").json["history"]
        told = {line["id"]: line["corrected_by"] for line in lines}
        assert (told["V1"], told["W1"]) == ("W1", None)
    assert "V1" not in cfgtrack.ok("history", "STORE")


def test_what_was_just_withdrawn_goes_before_what_ran_out(cfgtrack: Command) -> None:
    """Of an approval that ran out and one that was withdrawn later the heading says what came last."""
    codes = shut(cfgtrack)
    approve(cfgtrack, codes, "ANN", "--at", EARLY, "--until", THEN, "--sure")
    approve(cfgtrack, codes, "BEN", "--id", "V2")
    told = cfgtrack.ok("withdraw", "V2", "--by", "BEN", "--reason", "the relief valve leaks")
    assert "approved but withdrawn by BEN 2031-05-01T09:00:" in said(told)


def test_a_picture_marks_what_is_excused(cfgtrack: Command) -> None:
    """A picture marks an open finding that is excused as one that isn't, and its list says by whom, and anew since."""
    codes = shut(cfgtrack)
    draw = ("draw", "--loop", "A", "-o", cfgtrack.folder / "a.dot", "--at")

    def listed(at: str) -> str:
        cfgtrack.ok(*draw, at)
        return said((cfgtrack.folder / "a.dot").read_text(encoding="utf-8"))

    assert "EXCUSED" not in listed(THEN)
    assert "[1 catastrophic]" in listed(THEN).lower()
    approve(cfgtrack, codes, "ANN")
    assert "(expansion), EXCUSED by ANN" in listed("2031-05-01T09:05:00Z")
    assert "[1 catastrophic]" in listed("2031-05-01T09:05:00Z").lower()
    open_and_shut(cfgtrack)
    assert "EXCUSED by ANN, BROKEN ANEW since" in listed(TEN)
