"""Rules files: what is read, and what is told of rules that are badly written."""

from importlib import resources

import pytest

from cfgtrack.files.rules import parse_rules, read_rules
from cfgtrack.model.time import MINUTE
from cfgtrack.model.trouble import BadInput, Problem
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf
from cfgtrack.rules.what.count import Count
from cfgtrack.rules.what.custom import Custom
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.what.value import Value
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from cfgtrack.rules.when.within import Within
from tests.told import code_of

HEAD = '[[rule]]\nid = "{}"\ntitle = "t"\nhazard = "h"\nseverity = 2\nsource = "common practice"\n'
IT = Selection(of="it")

WITHIN = """mode = "within"
within = "90 min"
trigger = { action = "mate", kind = "bolt" }
stays = true
until = { action = "release" }"""
MODES = [
    ('mode = "always"\ntolerance = "2 min"', Always(2 * MINUTE)),
    ('mode = "always"', Always(0)),
    (
        'mode = "at"\nafter = true\nat = { action = ["place", "lift"], what = "unit", to = "#stowage" }',
        At(ActionMatch(("place", "lift"), Selection(what=("unit",)), ("#stowage",)), after=True),
    ),
    (
        WITHIN,
        Within(
            90 * MINUTE,
            ActionMatch(("mate",), Selection(kinds=("bolt",))),
            stays=True,
            until=ActionMatch(("release",)),
        ),
    ),
    (
        'mode = "within"\nwithin = "thermal"\ntrigger = { turns_true = { status = "PUMP-1:F1", is = "mated" } }',
        Within("thermal", Status(Selection(ids=("PUMP-1:F1",)), among=("mated",))),
    ),
    ('mode = "by"\nby = "outing"', By("outing")),
]


@pytest.mark.parametrize(("text", "mode"), MODES)
def test_a_mode_is_read(plant, text, mode):
    """Each mode has its own fields, durations in microseconds."""
    text = f'{HEAD.format("r")}{text}\ncondition = {{ status = "PUMP-1:F1", is = "mated" }}\n'
    (rule,) = parse_rules({"r.toml": text}, plant).rules
    assert rule.mode == mode
    assert (rule.id, rule.severity, rule.where) == ("r", 2, "r.toml:1")


PORT = Selection(ids=("PUMP-1:B1",))
CONDITIONS = [
    (
        '{ path = "fluid", from = "it", to = { liquid = true, part = ["pump", "pan*"] } }',
        Path("fluid", IT, Selection(liquid=True, parts=("pump", "pan*"))),
    ),
    (
        '{ no_path = "hold", from = "peer of it", to = { what = "place" } }',
        NoPath("hold", Selection(of="peer of it"), Selection(what=("place",))),
    ),
    ('{ status = "it", is = ["mated", "open"] }', Status(IT, ("mated", "open"))),
    ('{ status = "unit of it", at = "BAY-*" }', Status(Selection(of="unit of it"), at=("BAY-*",))),
    (
        '{ count = { kind = "bolt" }, is = "torqued", at_least = 1, at_most = 3 }',
        Count(Selection(kinds=("bolt",)), ("torqued",), least=1, most=3),
    ),
    (
        '{ count = { liquid = true }, path = "fluid", to = "PUMP-1:VOL", at_least = 0 }',
        Count(Selection(liquid=True), least=0, medium="fluid", end=Selection(ids=("PUMP-1:VOL",))),
    ),
    (
        '{ value = "PUMP-1:B1", quantity = "torque", min = "20 N*m", max = "0.03 kN*m", unmeasured = true }',
        Value(PORT, "torque", 20.0, 30.0, unmeasured=True),
    ),
    ('{ value = "it", quantity = "cycles", rated = true }', Value(IT, "cycles", rated=True)),
    ('{ value = "it", quantity = "cycles", max = 5 }', Value(IT, "cycles", high=5.0)),
    (
        '{ value = "it", quantity = "torque", since = "place", max = "2 N*m", max_age = "30 min" }',
        Value(IT, "torque", high=2.0, since=("place",), max_age=1_800_000_000),
    ),
    (
        '{ done = "measure", quantity = "voltage", of = "it", max_age = "30 min" }',
        Done(IT, ("measure",), quantity="voltage", max_age=1_800_000_000),
    ),
    (
        '{ value = "it", quantity = "elapsed", since = ["place", "lift"], max = "2 h" }',
        Value(IT, "elapsed", high=7200.0, since=("place", "lift")),
    ),
    (
        '{ done = "measure", of = "it", since = "mate", quantity = "pressure" }',
        Done(IT, ("measure",), ("mate",), "pressure"),
    ),
    (
        '{ all = [{ not = { status = "it", is = "open" } }, { any = [{ status = "it", is = "shut" }] }] }',
        All((Not(Status(IT, ("open",))), AnyOf((Status(IT, ("shut",)),)))),
    ),
    ('{ custom = "tightening-order", of = "it", passes = 2 }', Custom("tightening-order", IT, {"passes": 2})),
]


@pytest.mark.parametrize(("text", "condition"), CONDITIONS)
def test_a_condition_is_read(plant, text, condition):
    """One key names the condition, ranges are in SI units."""
    text = f'{HEAD.format("r")}mode = "always"\nscope = {{ what = "port" }}\ncondition = {text}\n'
    assert parse_rules({"r.toml": text}, plant).rules[0].condition == condition


CONDITION = 'condition = { status = "PUMP-1:F1", is = "mated" }'
# Each text is one rule's mode, scope and condition; `#!` marks what is told of the line it stands on.
BAD = {
    "modes": f"""
mode = "alway"                                        #! unknown-mode
{CONDITION}
{HEAD.format("r2")}
mode = "always"
after = true                                          #! unexpected
within = "2 min"                                      #! unexpected
tolerance = "2 m"                                     #! bad-duration
{CONDITION}
{HEAD.format("r3")}
mode = "by"
by = "outings"                                        #! unknown-end
{CONDITION}
{HEAD.format("r4")}
mode = "within"
within = "termal"                                     #! unknown-limit
trigger = {{ action = "mat" }}                        #! unknown-action
until = {{ action = "lift" }}                         #! unexpected
{CONDITION}
{HEAD.format("r5")}
mode = "at"
at = {{ action = "mate", to = "BAY-1" }}              #! unexpected
{CONDITION}
{HEAD.format("r6")}
mode = "at"
at = {{ kind = "blot" }}                              #! missing unknown-kind
{CONDITION}
""",
    "selections": """
mode = "always"
scope = "it"                                          #! no-it
condition = { all = [
  { path = "fluid", from = "peers of it", to = { liqid = true } },  #! unknown-reference unknown-field
  { status = { kind = ["bolt", "blot"] }, is = "x" }, #! unknown-kind unknown-status
  { status = { tag = "collant" }, is = "mated" },     #! names-nothing
  { status = "PUMP-9:*", is = "mated" },              #! names-nothing
  { status = { tag = "collant", may_be_empty = true }, is = "mated" },
  { status = { what = "prt" }, is = "mated" },        #! unknown-sort
  { status = { of = "ports of it", tag = "y" }, is = "mated" },  #! names-nothing
  { status = "it", at = ["BAY-9", "#stow"] },         #! names-nothing names-nothing
  { path = "fluidd", from = "it", to = 3 },           #! unknown-medium wrong-type
] }
""",
    "conditions": """
mode = "always"
scope = { what = "port" }
condition = { all = [
  { stauts = "it", is = "open" },                     #! no-such-condition
  { status = "it", done = "mate" },                   #! no-such-condition
  { status = "it" },                                  #! missing
  { status = "it", is = "opn" },                      #! unknown-status
  { status = "PUMP-1", is = "open" },                 #! unknown-status
  { status = { kind = "bolt" }, is = "capped" },      #! unknown-status
  { count = "it", is = "open" },                      #! missing
  { count = "it", at_least = 3, at_most = 2 },        #! contradiction
  { count = { what = "unit" }, at_least = 3 },        #! contradiction
  { count = "it", to = "it", at_most = 1 },           #! missing
  { count = "it", is = "open", path = "fluid", to = "it", at_most = 1 },  #! unexpected
  { value = "it", quantity = "torqe", min = "2 N*m" },    #! unknown-quantity
  { value = "it", quantity = "torque", min = "2 bar" },   #! bad-quantity
  { value = "it", quantity = "torque", min = "3 N*m", max = "2 N*m" },    #! contradiction
  { value = "it", quantity = "torque", rated = true, max = "2 N*m" },     #! contradiction
  { value = "it", quantity = "pressure", rated = true },  #! unexpected
  { value = "it", quantity = "torque" },                  #! missing
  { value = "it", quantity = "cycles", since = "mate", max = 2, max_age = "1 h" },   #! unexpected unexpected
  { value = "it", quantity = "elapsed", since = "mate", max = "2 h", max_age = "1 h" },   #! unexpected
  { value = "it", quantity = "torque", max = "2 N*m", max_age = "1 bar" },   #! bad-duration
  { done = "measure", of = "it", max_age = "soon" },      #! bad-duration
  { value = "it", quantity = "elapsed", max = "2 N*m" },  #! bad-duration missing
  { done = "mat", of = "it" },                        #! unknown-action
  { any = [] },                                       #! missing
  { not = "x" },                                      #! wrong-type
  { custom = "no-such", of = "it" },                  #! unknown-condition
  { status = "it", is = "open", colour = "red" },     #! unknown-field
] }
""",
}


@pytest.mark.parametrize("name", BAD)
def test_every_error_is_told_at_its_line(plant, name):
    """Each thing that is wrong is told once, with its line, and nothing else is."""
    text = HEAD.format("r1").rstrip("\n") + BAD[name]
    wanted = [
        f"r.toml:{number}: {code}"
        for number, line in enumerate(text.splitlines(), 1)
        for code in line.partition("#!")[2].split()
    ]
    with pytest.raises(BadInput) as caught:
        parse_rules({"r.toml": text}, plant)
    assert sorted(f"{p.where}: {code_of(p)}" for p in caught.value.problems) == sorted(wanted)


def test_a_rule_needs_its_words(plant):
    """Title, hazard, severity, source, mode and condition are asked for; ids are unique over all files."""
    with pytest.raises(BadInput) as caught:
        parse_rules({"r.toml": '[[rule]]\nid = "r"\n', "s.toml": '[[rule]]\nid = "r"\nseverity = 5\n'}, plant)
    codes = [f"{p.where}: {code_of(p)}" for p in caught.value.problems]
    assert codes.count("r.toml:1: missing") == 6
    assert codes.count("s.toml:1: missing") == 5
    assert {"s.toml:2: duplicate", "s.toml:3: wrong-type"} < set(codes)


def test_a_rule_that_may_guard_nothing_is_not_asked_for_more(plant):
    """Where a rule's scope may be empty and is, the selections of its condition may be empty too."""
    text = (
        f'{HEAD.format("r")}mode = "always"\nscope = {{ tag = "spare", may_be_empty = true }}\n'
        'condition = { status = "unit of it", at = "#withdrawn" }\n'
    )
    assert len(parse_rules({"r.toml": text}, plant).rules) == 1
    with pytest.raises(BadInput, match="withdrawn"):
        parse_rules({"r.toml": text.replace('tag = "spare"', 'tag = "coolant"')}, plant)


def test_a_whole_file_may_say_that_its_selections_may_be_empty(plant):
    """A set of rules for many plants says once that it may find nothing to guard in one of them."""
    text = f'{HEAD.format("r")}mode = "always"\nscope = {{ tag = "none" }}\n'
    text += 'condition = { status = "it", is = "open" }'
    with pytest.raises(BadInput):
        parse_rules({"r.toml": text}, plant)
    (rule,) = parse_rules({"r.toml": f"may_be_empty = true\n{text}"}, plant).rules
    assert rule.scope == Selection(tags=("none",), may_be_empty=True)


def test_without_a_plant_the_form_alone_is_checked():
    """A rules file can be read before there is a plant; what it names is then not looked up."""
    text = f'{HEAD.format("r")}mode = "always"\nscope = {{ kind = "hook" }}\n'
    text += 'condition = { status = "it", is = "hung" }'
    assert len(parse_rules({"r.toml": text}).rules) == 1
    with pytest.raises(BadInput, match="no-such-condition"):
        parse_rules({"r.toml": text.replace("status", "statsu")})


def test_the_shipped_rules_are_well_written(tmp_path):
    """The starter set can be read, each rule with its hazard and its source."""
    starter = resources.files("cfgtrack.rules") / "starter.toml"
    path = tmp_path / "starter.toml"
    path.write_text(starter.read_text(encoding="utf-8"), encoding="utf-8")
    rules = read_rules([path]).rules
    assert len(rules) > 10
    assert all(rule.hazard and rule.source for rule in rules)


def test_a_condition_that_cannot_be_loaded_is_told_at_its_line(plant, monkeypatch):
    """A condition of an installed package that can't be used is a problem of the line that names it."""

    def find(name):
        raise BadInput([Problem(f"condition {name}", "not-loadable", "it has no why")])

    monkeypatch.setattr("cfgtrack.rules.what.custom.find_custom", find)
    condition = 'condition = { custom = "own", of = "PUMP-1" }'
    text = f'{HEAD.format("r1")}mode = "always"\n{condition}\n'
    with pytest.raises(BadInput) as caught:
        parse_rules({"r.toml": text}, plant)
    line = text.splitlines().index(condition) + 1
    assert [(p.where, p.code) for p in caught.value.problems] == [(f"r.toml:{line}", "not-loadable")]


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ('mode = "always"\ntolerance = "2 min"\nmay_outlive = true', True),
        ('mode = "always"\ntolerance = "2 min"\nmay_outlive = false', False),
        (f"{WITHIN}\nmay_outlive = true", True),
        (WITHIN, False),
    ],
)
def test_a_clock_that_may_outlive_a_sequence(fields, said):
    """A rule says whether its clocks may run on when a sequence is over; unsaid they may not."""
    text = HEAD.format("r") + fields + '\ncondition = { status = { id = "P:F" }, is = "open" }\n'
    (rule,) = parse_rules({"r.toml": text}).rules
    assert rule.may_outlive is said


def test_a_rule_without_a_clock_has_none_that_could_outlive():
    """What may outlive a sequence is said of a rule with a clock, or it is a slip."""
    text = HEAD.format("r") + 'mode = "always"\nmay_outlive = true\n'
    with pytest.raises(BadInput) as caught:
        parse_rules({"r.toml": text + 'condition = { status = { id = "P:F" }, is = "open" }\n'})
    assert [(p.where, code_of(p)) for p in caught.value.problems] == [("r.toml:8", "unexpected")]
