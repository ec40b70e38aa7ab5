"""What `state` calls to attention, on a journal: what is past, found otherwise, broken, old, ahead or not yet known."""

from __future__ import annotations

from tests.cli.conftest import Command

LIVE = ("demate", "PUMP-1:J1")
"""It breaks `dead-before-touch`, a rule of the moment: nothing puts that right."""


def attention(cfgtrack: Command, *words: str) -> str:
    """Return what needs attention, blanks made one."""
    text = cfgtrack.ok("state", *words).partition("Open or off")[0]
    return " ".join(text.split())


def test_what_broke_a_rule_of_the_moment_needs_attention_until_acknowledged(cfgtrack: Command) -> None:
    """It is no open finding, yet `state` tells of it, for everything and for the thing, until it is acknowledged."""
    assert "past and not acknowledged" not in attention(cfgtrack)
    told = cfgtrack(*LIVE, "--json").json
    assert "[dead-before-touch]" in attention(cfgtrack)
    assert "past and not acknowledged, see review" in attention(cfgtrack)
    assert "[dead-before-touch]" in attention(cfgtrack, "PUMP-1")
    assert "[dead-before-touch]" not in attention(cfgtrack, "PUMP-2")
    codes = [code for f in told["findings"] for code in f["fingerprints"] if f["rule"] == "dead-before-touch"]
    cfgtrack.ok("acknowledge", *codes, "--reason", "proved dead by hand", "--by", "chief")
    assert "[dead-before-touch]" not in attention(cfgtrack)


def test_what_happened_before_its_rule_was_kept_is_for_a_review_alone(cfgtrack: Command) -> None:
    """Nobody could have kept to a rule that came later: `state` is quiet of it, `review` isn't."""
    cfgtrack(*LIVE, "--at", "2031-05-01T08:10:00Z")
    assert "[dead-before-touch]" not in attention(cfgtrack)
    assert "1 catastrophic" in cfgtrack("review").out


def test_a_picture_calls_that_past_to_attention_that_state_does(cfgtrack: Command) -> None:
    """A breach of before its rule was kept is on neither; one of a rule in force is on both, till acknowledged."""
    cfgtrack(*LIVE, "--at", "2031-05-01T08:10:00Z")
    assert "past and not acknowledged" not in cfgtrack.ok("draw", "--unit", "PUMP-1")
    cfgtrack.ok("mate", "PUMP-1:J1", "HALL:J1", "--at", "2031-05-01T08:20:00Z")
    codes = [code for f in cfgtrack(*LIVE, "--json").json["findings"] for code in f["fingerprints"]]
    assert "1 past and not acknowledged (1 catastrophic)" in cfgtrack.ok("draw", "--unit", "PUMP-1")
    cfgtrack.ok("acknowledge", *codes, "--reason", "proved dead by hand", "--by", "chief")
    assert "past and not acknowledged" not in cfgtrack.ok("draw", "--unit", "PUMP-1")


def test_a_discrepancy_needs_attention_until_it_is_explained(cfgtrack: Command) -> None:
    """What was found otherwise than recorded is told of everything and of the thing, until somebody explains it."""
    done = cfgtrack("as-found", "PUMP-1:B1", "released", "--json").json
    for words in ((), ("PUMP-1",), ("PUMP-1:B1",)):
        assert "DISCREPANCY PUMP-1:B1 released" in attention(cfgtrack, *words)
    cfgtrack.ok("explain", done["event"]["id"], "--reason", "left so by the shift before")
    assert "DISCREPANCY" not in attention(cfgtrack)


def test_a_defect_needs_attention(cfgtrack: Command) -> None:
    """What can't be done is among what needs attention until it is rectified."""
    cfgtrack.ok("defect", "open", "HALL:V1", "stuck", "--by", "ina")
    assert "DEFECT HALL:V1 stuck" in attention(cfgtrack)


def test_what_is_past_stands_beside_what_is_open(cfgtrack: Command) -> None:
    """`findings`, `leave` and `stops` count it too: "no findings" alone would be read as if nothing had been."""
    assert cfgtrack("findings").out.startswith("No findings  (")
    cfgtrack(*LIVE)
    cfgtrack.ok("mate", "PUMP-1:J1", "HALL:J1")
    said = "past and not acknowledged: see review"
    assert cfgtrack("findings").out.startswith(f"No open findings; 2 {said}  (")
    assert f"caution:    2 {said}" in cfgtrack("leave").out
    assert f"caution:    2 {said}" in cfgtrack("stops", cfgtrack.folder / "good.toml").out
    assert cfgtrack("findings", "--json").json["findings"] == []


def test_how_old_the_record_is_is_said_where_it_is_more_than_a_day(cfgtrack: Command) -> None:
    """Whoever reads of a plant of which nothing was recorded for days must see that; of today's it is no news."""
    assert "last recorded event" not in cfgtrack.ok("state")
    for words in (("state",), ("state", "PUMP-1")):
        told = cfgtrack.ok(*words, "--at", "2031-05-04T09:00:00Z")
        assert "last recorded event 2031-05-01T08:00:00Z, 3 days before that" in told
        assert "last recorded event" not in cfgtrack.ok(*words, "--at", "2031-05-02T07:00:00Z")


def test_each_last_value_has_the_time_and_age_of_its_own_measurement(cfgtrack: Command) -> None:
    """A value that was measured again is as old as the later measurement, another of the thing as old as its own."""
    for at, words in (
        ("08:10", ("PUMP-1:B1", "torque=25 N*m")),
        ("08:20", ("PUMP-1:F1", "pressure=2 bar")),
        ("08:40", ("PUMP-1:B1", "torque=26 N*m")),
        ("08:55", ("PUMP-1:B1", "torque=27 N*m")),
    ):
        cfgtrack("measure", *words, "--at", f"2031-05-01T{at}:00Z")
    told = cfgtrack.ok("state", "PUMP-1", "--at", "2031-05-01T08:50:00Z").partition("Last measured")[2]
    rows = [" ".join(line.split()) for line in told.splitlines()]
    assert "B1 torque 26 N*m 2031-05-01T08:40:00Z 10 min ago" in rows
    assert "F1 pressure 2 bar 2031-05-01T08:20:00Z 30 min ago" in rows


def test_of_a_time_to_come_nothing_is_foreseen(cfgtrack: Command) -> None:
    """A state of a time after now is today's, and says so; a state of now or before doesn't."""
    said = "IN THE FUTURE: NOTHING IS FORESEEN"
    for words in (("state",), ("state", "PUMP-1")):
        assert said in " ".join(cfgtrack.ok(*words, "--at", "2032-01-01T00:00:00Z").split())
        assert said not in cfgtrack.ok(*words)
        assert said not in cfgtrack.ok(*words, "--at", "2031-05-01T08:30:00Z")


def test_before_the_first_record_nothing_is_known_and_nothing_alarms(cfgtrack: Command) -> None:
    """What nobody has recorded yet isn't cut off or held by nothing: it is not known."""
    for words in (("state",), ("state", "PUMP-1"), ("state", "HALL")):
        told = cfgtrack.ok(*words, "--at", "2019-01-01T00:00:00Z")
        assert "not known: the first recorded event is of 2031-05-01T08:00:00Z" in told
        assert not any(word in told for word in ("NOT HELD", "CUT OFF", "OPEN END", "NO POWER", "attention"))


def test_what_was_remarked_of_a_tag_is_shown_with_it(cfgtrack: Command) -> None:
    """A tag is there for its text: `state` and `remarks` show it, of the thing and what has it, while it is on."""
    cfgtrack.ok("tag", "HALL:K1", "INA", "--by", "INA", "--remark", "feeds the heaters")
    for words in (("state",), ("state", "HALL"), ("state", "HALL:K1")):
        told = cfgtrack.ok(*words).partition("Locks and tags")[2]
        assert "feeds the heaters" in told, words
    for thing in ("HALL:K1", "HALL", "panel"):
        assert "feeds the heaters" in cfgtrack.ok("remarks", thing), thing
    assert "feeds the heaters" not in cfgtrack.ok("remarks", "PUMP-2")
    cfgtrack.ok("untag", "HALL:K1", "INA", "--by", "INA")
    assert "feeds the heaters" not in cfgtrack.ok("remarks", "HALL")


def test_a_difference_between_swapped_times_is_told_in_order(cfgtrack: Command) -> None:
    """From the earlier to the later, whichever is named first; that they were swapped is said, and only then."""
    cfgtrack("shut", "HALL:V1", "--at", "2031-05-01T08:30:00Z")
    early, late = "2031-05-01T08:20:00Z", "2031-05-01T08:40:00Z"
    right, swapped = cfgtrack("diff", early, late), cfgtrack("diff", late, early)
    assert swapped.out == right.out
    assert "the first time is the later one" in swapped.err
    assert "later" not in right.err
    row = next(line for line in swapped.out.splitlines() if line.startswith("HALL:V1"))
    assert row.index("open") < row.index("shut")
