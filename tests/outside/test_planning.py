"""What may come before what, against the sequential plan validator of unified-planning 1.3.

A unit on a base: a bolt, a fluid disconnect behind a valve, a connector behind a switch. To the planner it is six facts
and eleven actions whose preconditions are the ladders of the kinds together with the rules; to the check it is hardware
and rules. Both must call the same plans bad, and stumble over the same action first.
"""

from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.check import Start, check
from cfgtrack.files.definition import shipped
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.at import At
from tests.happening import happened

# Action and port -> (facts needed, facts denied, facts made true, facts made false).
ACTIONS = {
    ("open", "V"): (["fluid"], ["valve"], ["valve"], []),
    ("shut", "V"): (["valve"], [], [], ["valve"]),
    ("mate", "F"): (["torqued"], ["fluid", "valve"], ["fluid"], []),
    ("demate", "F"): (["fluid"], ["valve"], [], ["fluid"]),
    ("energise", "S"): (["power"], ["switch"], ["switch"], []),
    ("de-energise", "S"): (["switch"], [], [], ["switch"]),
    ("mate", "P"): (["bolt"], ["power", "switch"], ["power"], []),
    ("demate", "P"): (["power"], ["switch"], [], ["power"]),
    ("engage", "B"): ([], ["bolt"], ["bolt"], []),
    ("torque", "B"): (["bolt"], [], ["torqued"], []),
    ("release", "B"): (["bolt"], ["fluid", "power"], [], ["bolt", "torqued"]),
}
FACTS = ("valve", "fluid", "switch", "power", "bolt", "torqued")


@cache
def problem():
    """Return the planning problem, and its actions by ours."""
    from unified_planning.shortcuts import InstantaneousAction, Problem, get_environment
    from unified_planning.shortcuts import Not as Denied

    get_environment().credits_stream = None
    plan = Problem("unit")
    facts = {name: plan.add_fluent(name, default_initial_value=False) for name in FACTS}
    actions = {}
    for (verb, port), (needed, denied, made, unmade) in ACTIONS.items():
        action = InstantaneousAction(f"{verb}_{port}".replace("-", "_"))
        for fact in needed:
            action.add_precondition(facts[fact])
        for fact in denied:
            action.add_precondition(Denied(facts[fact]))
        for fact in made:
            action.add_effect(facts[fact], True)
        for fact in unmade:
            action.add_effect(facts[fact], False)
        plan.add_action(action)
        actions[verb, port] = action
    return plan, actions


def their_first_bad(steps):
    """Return the place of the first step that unified-planning can't apply, or None when the plan is valid."""
    from unified_planning.engines import SequentialPlanValidator, ValidationResultStatus
    from unified_planning.plans import ActionInstance, SequentialPlan

    plan, actions = problem()
    instances = [ActionInstance(actions[step]) for step in steps]
    result = SequentialPlanValidator().validate(plan, SequentialPlan(instances))
    if result.status == ValidationResultStatus.VALID:
        return None
    return next(i for i, instance in enumerate(instances) if instance is result.inapplicable_action)


def rule(name, action, port, condition):
    """Return a rule that holds just before an action on a port."""
    match = ActionMatch((action,) if isinstance(action, str) else action, Selection(ids=(f"U:{port}",)))
    return Rule(name, "", "", 2, "common practice", At(match), condition)


def status(port, *among):
    """Return the condition that a port has one of some statuses."""
    return Status(Selection(ids=(f"U:{port}",)), among)


RULES = RuleSet(
    (
        rule("shut-first", ("mate", "demate"), "F", status("V", "shut")),
        rule("dead-first", ("mate", "demate"), "P", Not(status("S", "on"))),
        rule("mated-first", "open", "V", status("F", "mated")),
        rule("fed-by-something", "energise", "S", status("P", "mated")),
        rule("torqued-first", "mate", "F", status("B", "torqued")),
        rule("held-first", "mate", "P", status("B", "engaged", "torqued")),
        rule("all-parted-first", "release", "B", All((status("F", "demated"), status("P", "demated")))),
    )
)
PORTS = {"F": "fluid-disconnect", "P": "electrical-connector", "B": "bolt", "V": "valve", "S": "switch"}


@cache
def begin():
    """Return the unit standing on its base, with nothing joined."""
    defaults = shipped()
    parts = {"thing": Part("thing", ports={n: Port(n, k) for n, k in PORTS.items()})}
    places = {"BASE": Place("BASE", part="thing")}
    now = Configuration(Plant(defaults.media, defaults.kinds, parts, {"U": Unit("U", "thing")}, places))
    now.apply(happened(now, Action("e0", "as-found", ("U",), 0, place="BASE", initial=True)))
    return Start(configuration=now)


def our_first_bad(steps):
    """Return the place of the first step that the check finds something wrong with, or None."""
    made = []
    for i, (verb, port) in enumerate(steps):
        joins = verb in ("mate", "engage")
        subjects = (f"U:{port}", f"BASE:{port}") if joins else (f"U:{port}",)
        made.append(Step(str(i), "1", "1", Action("", verb, subjects, 0), (1, 1, 1)))
    report = check(RULES, begin(), Sequence(outings=(Outing("1"),), steps=tuple(made)))
    return min((int(f.step or "") for f in report.new), default=None)


STEPS = st.sampled_from(sorted(ACTIONS))


@st.composite
def valid_plans(draw):
    """Draw a plan each of whose steps is allowed where it stands."""
    facts: set[str] = set()
    plan: list[tuple[str, str]] = []
    for _ in range(draw(st.integers(0, 12))):
        may = [
            a
            for a, (need, deny, *_) in sorted(ACTIONS.items())
            if set(need) <= facts and not set(deny) & facts
        ]
        plan.append(draw(st.sampled_from(may)))
        _, _, made, unmade = ACTIONS[plan[-1]]
        facts = (facts | set(made)) - set(unmade)
    return plan


@given(valid_plans())
@settings(max_examples=150)
def test_valid_plans(plan):
    """A plan that respects every precondition is valid to the validator and clean to the check."""
    assert their_first_bad(plan) is None
    assert our_first_bad(plan) is None


@given(valid_plans().filter(bool), st.data())
@settings(max_examples=300)
def test_mutated_plans(plan, data):
    """A plan with a step left out, put in or exchanged fails at the same step in both, or in neither."""
    i, j = (data.draw(st.integers(0, len(plan) - 1)) for _ in range(2))
    match data.draw(st.sampled_from(["drop", "swap", "replace", "insert"])):
        case "drop":
            del plan[i]
        case "swap":
            plan[i], plan[j] = plan[j], plan[i]
        case "replace":
            plan[i] = data.draw(STEPS)
        case "insert":
            plan.insert(i, data.draw(STEPS))
    assert our_first_bad(plan) == their_first_bad(plan)
