"""How the past is made ready for the rules."""

from __future__ import annotations

import pytest

from cfgtrack.answers import judging
from cfgtrack.answers.moment import Moment
from cfgtrack.answers.past import Networks, Past
from cfgtrack.model.time import parse_instant
from cfgtrack.store.journal import open_journal
from tests.cli.conftest import Command

AT, LATER = "2031-05-01T10:00:00Z", "2031-05-01T10:10:00Z"


@pytest.mark.parametrize(
    ("before", "action"),
    [
        ((), "demate PUMP-1:J1"),
        ((), "shut HALL:V1"),
        ((), "de-energise HALL:K1"),
        (("de-energise HALL:K1",), "demate PUMP-1:J1"),
        (("shut HALL:V1",), "cap PUMP-1:F2"),
        (("shut HALL:V1",), "open HALL:V1"),
        (("measure PUMP-1:J1 voltage=0V",), "inspect PUMP-1:J1"),
        (("measure PUMP-1:J1 voltage=100V",), "inspect PUMP-1:J1"),
        (("inspect PUMP-1:J1",), "inspect PUMP-1:J1"),
    ],
)
def test_long_journals_are_judged_alike(
    before: tuple[str, ...], action: str, cfgtrack: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What an event breaks, and which clocks it starts, is the same when the past is judged in spans as in one go."""
    text = (cfgtrack.folder / "rules.toml").read_text()
    measured = """
[[rule]]
id = "measured"
title = "Measured before it is inspected"
hazard = "electric shock"
severity = 2
source = "common practice"
mode = "at"
at = { action = "inspect" }
condition = { done = "measure", of = "it", quantity = "voltage" }
"""
    cfgtrack.ok("rules", "load", cfgtrack.file("rules.toml", text + measured))
    for words in before:
        cfgtrack.ok("record", *words.split(), "--at", AT)
    said = []
    for span in (20_000, 1):
        monkeypatch.setattr(judging, "SPAN", span)
        answer = cfgtrack("record", *action.split(), "--at", LATER, "--dry-run", "--json").json
        said.append(([f["fingerprints"] for f in answer["findings"]], answer["started"]))
    assert said[0] == said[1]


def test_judging_starts_with_the_initial_configuration(cfgtrack: Command) -> None:
    """The initial events are where judging starts; later ones are judged; those on the record itself are not."""
    cfgtrack.ok("shut", "HALL:V1", "--at", "2031-05-01T08:30:00Z")
    cfgtrack.ok("approve", *cfgtrack.naming("expansion"), "--by", "lead", "--reason", "x", "--at", LATER)
    cfgtrack.ok("inspect", "PUMP-1", "--at", LATER)
    finding = cfgtrack.json_of("review")["excused"][0]["fingerprints"][0]
    cfgtrack.ok("acknowledge", finding, "--reason", "x", "--at", LATER)
    with open_journal(str(cfgtrack.db), clock=lambda: 0) as journal:
        start = Past(journal, Moment(*journal.moment())).start
    assert start.configuration.state("HALL:V1").value == "open"
    assert [event.action for event in start.history] == ["shut", "inspect"]
    assert start.began < start.history[0].happened <= start.start


def test_networks_are_made_when_asked_for(cfgtrack: Command) -> None:
    """There is one network for each medium of the plant, and none for anything else."""
    with open_journal(str(cfgtrack.db), clock=lambda: 0) as journal:
        networks = Networks(journal.plant())
    assert set(networks) == {"fluid", "power", "data", "hold", "bond"}
    assert len(networks) == 5
    assert networks["fluid"] is networks["fluid"]
    assert networks.get("steam") is None


def test_a_rule_is_in_force_since_it_asks_what_it_asks(cfgtrack: Command) -> None:
    """A rule is in force since the first of an unbroken run of loads that ask the same, wherever it is written."""
    text = (cfgtrack.folder / "rules.toml").read_text()

    def in_force(*known: int) -> list[int | None]:
        with open_journal(str(cfgtrack.db), clock=lambda: 0) as journal:
            moments = [Moment(0, at) for at in known] or [Moment(*journal.moment())]
            return [Past(journal, moment).in_force("expansion") for moment in moments]

    def load(words: str) -> int:
        cfgtrack.ok("rules", "load", cfgtrack.file("rules.toml", words))
        with open_journal(str(cfgtrack.db), clock=lambda: 0) as journal:
            return journal.moment()[1]

    (first,) = in_force()
    assert first is not None
    load(f"# a line more\n{text}")
    assert in_force() == [first]
    other = load(text.replace('hazard = "it bursts"', 'hazard = "it bursts and sprays"', 1))
    assert in_force(other - 1, other) == [first, other]
    cfgtrack.ok("rules", "drop", "rules.toml", "--accept", "they are kept elsewhere")
    assert in_force() == [None]
    again = load(text)
    assert in_force(again - 1, again) == [None, again]


def test_outings_that_have_begun_and_are_not_over(cfgtrack: Command) -> None:
    """An outing has begun from its begin to its end, as recorded and as known."""
    for words, at in (("begin W1", AT), ("begin W2", AT), ("end W2", LATER), ("begin W3", LATER)):
        cfgtrack.ok(*words.split(), "--at", at)
    with open_journal(str(cfgtrack.db), clock=lambda: 0) as journal:
        now, then = parse_instant(LATER), parse_instant(AT)
        assert Past(journal, Moment(*journal.moment(now))).begun == {"W1": then, "W3": now}
        assert Past(journal, Moment(*journal.moment(now - 1))).begun == {"W1": then, "W2": then}
        assert Past(journal, Moment(*journal.moment(then - 1))).begun == {}
