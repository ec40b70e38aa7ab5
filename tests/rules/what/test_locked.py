"""`locked` and `tagged`: what a rule asks of a valve or breaker before work begins, judged as locks come and go."""

from __future__ import annotations

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import parse_phrase
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.trouble import BadInput
from cfgtrack.rules.breach import words
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from tests.happening import happened

PLANT = parse_definition(
    {
        "world.toml": """
[[part]]
id = "panel"
port = [
  { name = "K", kind = "switch", tags = ["feeds-J"] },
  { name = "L", kind = "switch" },
  { name = "J", kind = "electrical-connector" },
]
node = [{ name = "BUS", medium = "power", source = true }]
links = [["BUS", "J", "K"]]
[[part]]
id = "cable"
flexible = true
port = [{ name = "P", kind = "electrical-connector" }]
[[unit]]
id = "S"
part = "panel"
[[unit]]
id = "C"
part = "cable"
[[place]]
id = "ANN"
mobile = true
[[place]]
id = "BEN"
mobile = true
[[place]]
id = "BOX"
lock_box = true
"""
    }
).plant()

RULE = """
[[rule]]
id = "rule"
title = "Said"
hazard = "shock"
severity = 1
source = "common practice"
"""


def rules(text: str) -> RuleSet:
    """Return a rule set of one rule."""
    return parse_rules({"rules.toml": RULE + text}, PLANT)


def broken(text: str, *phrases: str) -> list[int]:
    """Return after which of some phrases, a minute apart, a finding of the rule stands open or was made."""
    now = Configuration(PLANT)
    out, history = [], list[Event]()
    for number, phrase in enumerate(phrases, 1):
        action = parse_phrase(phrase.split(), PLANT, id=f"e{number}", happened=number * 60_000_000)
        event = happened(now, action)
        now.apply(event)
        history.append(event)
        engine = Engine(rules(text), Configuration(PLANT), start=0)
        for one in history:
            engine.step(one)
        engine.settle()
        if any(f.is_open or f.time == event.happened for f in engine.findings()):
            out.append(number)
    return out


MATED = """
mode = "at"
at = { action = "mate", kind = "electrical-connector" }
condition = { locked = { tag = "feeds-J" } }
"""


def test_before_a_connector_is_mated_its_breaker_is_locked() -> None:
    """Without a lock there is a finding, with one none; a tag is no lock, and that of another breaker isn't it."""
    assert broken(MATED, "mate S:J C:P") == [1]
    assert broken(MATED, "lock S:K by ANN", "mate S:J C:P") == []
    assert broken(MATED, "tag S:K by ANN", "mate S:J C:P") == [2]
    assert broken(MATED, "lock S:L by ANN", "mate S:J C:P") == [2]
    assert broken(MATED, "lock S:K by ANN", "unlock S:K by ANN", "mate S:J C:P") == [3]
    assert broken(MATED, "lock S:K by ANN", "transfer S:K from ANN to BEN", "mate S:J C:P") == []
    assert broken(MATED, "lock S:K by ANN", "cut S:K from ANN by BEN reason=away", "mate S:J C:P") == [3]


ALWAYS = """
mode = "always"
condition = { locked = { id = "S:K" }, by = "ANN" }
"""


def test_a_lock_by_somebody_may_be_on_the_box() -> None:
    """Whose lock is on the box has locked what the box has; judged anew when a lock comes to the box or leaves it."""
    told = (
        "lock S:K with BOX by BEN",
        "lock BOX by BEN",
        "lock BOX by ANN",
        "unlock BOX by ANN",
        "lock S:K by ANN",
    )
    assert broken(ALWAYS, *told) == [1, 2, 4]
    assert broken(ALWAYS, "lock S:K by BEN", "lock S:K by ANN", "unlock S:K by ANN") == [1, 3]
    assert broken(ALWAYS, "lock S:K by ANN", "transfer S:K from ANN to BEN") == [2]


TAGGED = """
mode = "always"
scope = { kind = "switch" }
condition = { not = { tagged = "it" } }
"""


def test_tagged_is_asked_of_tags_alone() -> None:
    """A tag beside a lock counts, a lock doesn't."""
    assert broken(TAGGED, "lock S:K by ANN", "tag S:K by ANN", "unlock S:K by ANN", "untag S:K by ANN") == [
        2,
        3,
    ]


UNTAGGED = TAGGED.replace('{ not = { tagged = "it" } }', '{ untagged = "it" }')


def test_untagged_is_that_no_tag_hangs_there() -> None:
    """The same as not tagged, item by item; why not names whose tag it is."""
    told = ("lock S:K by ANN", "tag S:K by ANN", "tag S:K by BEN", "untag S:K by ANN", "untag S:K by BEN")
    assert broken(UNTAGGED, *told) == broken(TAGGED, *told) == [2, 3, 4]


@pytest.mark.parametrize(
    ("condition", "said"),
    [
        ('{ untagged = { id = "S:K" } }', "is not tagged"),
        ('{ locked = { id = "S:K" } }', "is locked"),
        ('{ locked = { id = "S:K" }, by = "ANN" }', "is locked by ANN"),
        ('{ tagged = { id = "S:K" } }', "is tagged"),
    ],
)
def test_in_words(condition: str, said: str) -> None:
    """The condition says what it asks."""
    [rule] = rules(f'mode = "always"\ncondition = {condition}\n').rules
    assert said in next(iter(rule.conditions())).words()


def test_what_it_does_not_know_is_an_error() -> None:
    """A field that it doesn't have is told."""
    with pytest.raises(BadInput, match="unknown-field"):
        rules('mode = "always"\ncondition = { locked = { id = "S:K" }, whose = "ANN" }\n')


def test_locks_are_proposed_to_whoever_could_have_one() -> None:
    """What may be tried as a cure: a lock by each person; away from it, that whoever has one takes it off."""
    engine = Engine(rules(MATED), Configuration(PLANT), start=0)
    world = engine.world
    [rule] = rules(MATED).rules
    judge = next(iter(rule.conditions())).compile(world)
    said = [words(proposal.action) for proposal in judge.towards(None, true=True)]
    assert said == ["lock S:K with ANN", "lock S:K with BEN"]
    world.apply(happened(world.configuration, parse_phrase(["lock", "S:K", "by", "ANN"], PLANT, id="x")))
    said = [words(proposal.action) for proposal in judge.towards(None, true=False)]
    assert said == ["unlock S:K from ANN"]
