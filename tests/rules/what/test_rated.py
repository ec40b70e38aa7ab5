"""A value whose most is a rating: it is broken when the rating is, and says both numbers and whose rating it is."""

from __future__ import annotations

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.trouble import BadInput
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Finding
from tests.happening import happened
from tests.told import code_of

PLANT = """
[[part]]
id = "tank"
mass = "30 kg"
port = [
  {{ name = "F", kind = "fluid-disconnect", {tank} }}, {{ name = "H", kind = "grip" }},
  {{ name = "J", kind = "electrical-connector", rated_current = "5 A" }},
]
node = [{{ name = "VOL", medium = "fluid", litres = "5 l" }}]
links = [["F", "VOL"]]
[[part]]
id = "header"
port = [
  {{ name = "F", kind = "fluid-disconnect" }}, {{ name = "V", kind = "valve" }},
  {{ name = "J", kind = "electrical-connector", rated_current = "2 A" }},
]
node = [{{ name = "MAIN", medium = "fluid", {header} }}]
link = [{{ a = "F", b = "MAIN", gate = "V", one_way = {one_way} }}]
[[part]]
id = "hands"
port = [{{ name = "HAND", kind = "grip" }}]
[[part]]
id = "lump"
[[unit]]
id = "TANK-1"
part = "tank"
[[unit]]
id = "LUMP"
part = "lump"
[[place]]
id = "SITE"
[[place]]
id = "HDR"
parent = "SITE"
part = "header"
holds = true
[[place]]
id = "ANN"
parent = "SITE"
part = "hands"
mobile = true
{lifts}
[initial]
at = 2031-05-01T00:00:00Z
joined = [["TANK-1:F", "HDR:F"], ["TANK-1:J", "HDR:J"]]
place = {{ "TANK-1" = "HDR", "LUMP" = "SITE" }}
"""
RATED = {
    "tank": 'rated_pressure = "12 bar"',
    "header": 'litres = "9 l", rated_pressure = "10 bar"',
    "one_way": "false",
    "lifts": 'lifts = "25 kg"',
}
RULE = """
[[rule]]
id = "r"
title = "t"
hazard = "h"
severity = 1
source = "common practice"
mode = "always"
{}
"""
PRESSURE = 'quantity = "pressure", max = "rated_pressure", unmeasured = true'
OF_ALL = f'condition = {{ value = {{ medium = "fluid" }}, {PRESSURE} }}'
OF_EACH = f'scope = {{ medium = "fluid" }}\ncondition = {{ value = "it", {PRESSURE} }}'
OF_OWNER = f'scope = {{ what = "unit" }}\ncondition = {{ value = {{ of = "nodes of it" }}, {PRESSURE} }}'
BELOW = f'condition = {{ value = {{ medium = "fluid" }}, min = "1 bar", {PRESSURE} }}'
CONNECTORS = 'condition = { value = { kind = "electrical-connector" }, quantity = '
CURRENT = f'{CONNECTORS}"current", max = "rated_current", unmeasured = true }}'
LIFTS = 'scope = { mobile = true }\ncondition = { value = "it", quantity = "mass", max = "lifts" }'
LIFTED = 'condition = { value = { what = "unit" }, quantity = "mass", max = "lifts" }'


def found(rule: str, does: str, **plant: str) -> list[Finding]:
    """Return what a rule finds in what is done, an action a line."""
    definition = parse_definition({"x.toml": PLANT.format(**{**RATED, **plant})})
    now = Configuration(definition.plant())
    for event in definition.initial:
        now.apply(happened(now, event))
    start = definition.initial[0].happened
    engine = Engine(parse_rules({"r.toml": RULE.format(rule)}, now.plant), now.fork(), start=start)
    for number, line in enumerate(filter(None, map(str.strip, does.splitlines())), 1):
        action = parse_phrase(split_phrase(line), now.plant, id=f"E{number}", happened=start + number)
        event = happened(now, action)
        now.apply(event)
        engine.step(event)
    engine.finish(start + 99)
    return engine.findings()


@pytest.mark.parametrize("rule", [OF_ALL, OF_EACH, OF_OWNER, BELOW], ids=["all", "each", "owner", "below"])
def test_a_pressure_is_held_against_the_lowest_rating_that_is_joined(rule):
    """Once the valve is open the main counts, rated lower; the reason says both numbers and whose rating it is."""
    fine = 'measure TANK-1:VOL pressure="11 bar"'
    assert found(rule, fine) == []
    (finding,) = found(rule, f"{fine}\nopen HDR:V")
    assert finding.event == "E2"
    (reason,) = finding.reasons
    assert reason.text.startswith("pressure of TANK-1:VOL is 11 bar; must be at ")
    assert reason.text.endswith("at most 10 bar, the rated pressure of HDR:MAIN")


def test_it_is_over_when_it_is_cut_off():
    """A pressure that is too much for what was joined is right again once that is cut off."""
    does = 'open HDR:V\nmeasure TANK-1:VOL pressure="150 psi"\nshut HDR:V'
    (finding,) = found(OF_ALL, does)
    assert finding.until is not None
    assert "is 150 psi; must be at most 145.0377377 psi, the rated pressure" in finding.reasons[0].text


def test_what_lies_before_a_check_valve_is_not_under_the_pressure_behind_it():
    """The main's pressure doesn't come back to the tank; the tank's gets to the main."""
    one_way = {"one_way": "true", "tank": 'title = ""', "header": 'litres = "9 l", rated_pressure = "10 bar"'}
    assert found(OF_ALL, 'open HDR:V\nmeasure TANK-1:VOL pressure="11 bar"', **one_way) != []
    other = {"one_way": "true", "header": 'litres = "9 l"', "tank": 'rated_pressure = "8 bar"'}
    assert found(OF_ALL, 'open HDR:V\nmeasure HDR:MAIN pressure="11 bar"', **other) == []


@pytest.mark.parametrize("rule", [OF_ALL, OF_EACH, OF_OWNER, LIFTS, LIFTED])
def test_nothing_is_found_where_nothing_is_rated(rule):
    """A plant without ratings is not judged for them: whatever is measured or lifted."""
    does = 'open HDR:V\nmeasure TANK-1:VOL pressure="900 bar"\nplace LUMP at ANN'
    assert found(rule, does, tank='title = ""', header='litres = "9 l"', lifts="") == []


def test_a_current_is_held_against_the_lower_half():
    """The tank's half carries 5 A, the header's 2 A; parted each has its own rating."""
    (finding,) = found(CURRENT, 'measure TANK-1:J current="2.5 A"')
    told = "current of TANK-1:J is 2.5 A; must be at most 2 A, the rated current of HDR:J"
    assert finding.reasons[0].text == told
    assert found(CURRENT, 'demate TANK-1:J\nmeasure TANK-1:J current="2.5 A"') == []
    assert found(CURRENT, 'measure TANK-1:J current="2 A"') == []


LIFTING = "demate TANK-1:J\ndemate TANK-1:F\ngrip TANK-1:H to ANN:HAND\nlift TANK-1 by ANN"


@pytest.mark.parametrize(("rule", "about"), [(LIFTS, "ANN"), (LIFTED, "TANK-1")])
def test_what_is_lifted_weighs_no_more_than_what_lifts_it(rule, about):
    """A mass is the last that was measured, else the part's; asked of the unit or of who lifts it."""
    (finding,) = (f for f in found(rule, LIFTING) if "E4" in (f.event or ""))
    assert finding.subjects == (about,)
    assert (
        finding.reasons[0].text
        == f"mass of {about} is 30 kg; must be at most 25 kg, the lifting limit of ANN"
    )
    measured = f'measure TANK-1 mass="25 kg"\n{LIFTING}'
    assert found(rule, measured) == []


def test_a_mass_that_nobody_knows_is_told_unless_that_may_be():
    """What nobody knows the mass of is too much, unless the rule lets it pass."""
    (finding,) = found(LIFTS, "place LUMP at ANN")
    assert (
        finding.reasons[0].text == "mass of ANN isn't known; must be at most 25 kg, the lifting limit of ANN"
    )
    assert found(LIFTS.replace('"lifts"', '"lifts", unmeasured = true'), "place LUMP at ANN") == []
    assert found(LIFTS, 'measure LUMP mass="25 kg"\nplace LUMP at ANN') == []


SLIPS = [
    (
        'condition = { value = { medium = "fluid" }, quantity = "pressure", max = "rated_current" }',
        "contradiction",
    ),
    (
        'condition = { value = { medium = "fluid" }, quantity = "pressure", max = "rated_presure" }',
        "bad-quantity",
    ),
    (
        'condition = { value = { medium = "fluid" }, quantity = "pressure", min = "rated_pressure" }',
        "bad-quantity",
    ),
    (
        'condition = { value = { mobile = true }, quantity = "mass", max = "lifts", max_age = "1 h" }',
        "unexpected",
    ),
    (
        'condition = { value = { medium = "fluid" }, quantity = "torque", rated = true, max = "rated_pressure" }',
        "contradiction contradiction",
    ),
]


@pytest.mark.parametrize(("text", "codes"), SLIPS)
def test_a_rating_limits_its_own_quantity(text, codes):
    """A rating of another quantity, one that nobody knows, or the age of what is worked out, is a slip."""
    plant = parse_definition({"x.toml": PLANT.format(**RATED)}).plant()
    with pytest.raises(BadInput) as caught:
        parse_rules({"r.toml": RULE.format(text)}, plant)
    assert [code_of(problem) for problem in caught.value.problems] == codes.split()


def test_words():
    """What is asked is said in plain words."""
    plant = parse_definition({"x.toml": PLANT.format(**RATED)}).plant()
    (rule,) = parse_rules({"r.toml": RULE.format(BELOW)}, plant).rules
    told = "is at least 1 bar and at most rated pressure allows, or was never measured"
    assert rule.condition.words().endswith(told)
