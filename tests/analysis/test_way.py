"""A shortest way: what a goal may say, like choices, several at work, and a smallest set of rules that forbids it."""

import random
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis import grounding
from cfgtrack.analysis.check import Start, check, judged
from cfgtrack.analysis.goal import Goal, Takes, Want, kept, swap
from cfgtrack.analysis.no_way import why_none
from cfgtrack.analysis.search import CUT_SHORT, Limit, search
from cfgtrack.analysis.way import Work, find_way, touched
from cfgtrack.analysis.way_plan import as_sequence
from cfgtrack.files.definition import shipped
from cfgtrack.files.goal import parse_goal
from cfgtrack.files.phrase import phrase
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.time import MINUTE
from cfgtrack.model.trouble import BadInput
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.at import At
from tests.bench.plans_way import exchange
from tests.happening import happened


@pytest.mark.parametrize("bolts", [2, 8])
def test_like_bolts_do_not_multiply_the_work(bolts):
    """An exchange with more like bolts has more steps; for each step as few situations are looked into as with few."""
    rules, begin, goal = exchange(1, bolts=bolts, couplings=2, connectors=1)
    way = find_way(rules, begin, goal)
    # Each bolt is released, and another engaged and torqued; the rest is 14 steps.
    assert way.found.proved
    assert way.found.cost == 3 * bolts + 14
    assert way.looked < 4 * way.found.cost


def test_checks_clear_as_it_is_written():
    """The way is read back from its file as it was found, is clear to a check, and leads to the goal."""
    rules, begin, goal = exchange(1, bolts=1, couplings=1, connectors=1)
    way = find_way(rules, begin, goal)
    assert way.found.way is not None
    plan = parse_sequence(sequence_text(as_sequence(way, goal, 0)), begin.configuration.plant)
    report = check(rules, begin, plan)
    assert not report.new
    assert [phrase(one.action) for one in plan.steps] == [
        phrase(way.grounding.actions[m]) for m in way.found.way
    ]
    now = begin.configuration.fork()
    for event in way.events:
        now.apply(event)
    assert goal.is_met(now)


def test_two_at_work():
    """Two unscrew four bolts in the time that one takes for two, and nobody is quicker: that is proved of any two."""
    rules, begin, _ = exchange(1, bolts=4, couplings=0, connectors=0)
    wants = tuple(Want(f"OLD0:B{n}", ("released",)) for n in range(4))
    takes = Takes({("release", ""): (MINUTE, 2 * MINUTE, 3 * MINUTE)})
    goal = Goal(wants, workers=("ANN", "BEN"), least="time", takes=takes)
    way = find_way(rules, begin, goal)
    plan = as_sequence(way, goal, 0)
    assert way.found.bound == 8 * MINUTE
    assert {track: len(steps) for track, steps in plan.tracks("WAY").items()} == {"ANN": 2, "BEN": 2}
    assert max(step.end for step in check(rules, begin, plan).steps) == 4 * MINUTE


def test_cut_short_says_what_no_way_undercuts():
    """Cut short, what it says that no way undercuts is no more than the shortest; a longer way may be found."""
    rules, begin, goal = exchange(1, bolts=2, couplings=2, connectors=1)
    whole = find_way(rules, begin, goal)
    for nodes in (1, 5, 20):
        some = find_way(rules, begin, goal, limit=Limit(nodes))
        assert some.found.bound <= whole.found.cost
        assert some.found.way is None or some.found.cost >= whole.found.cost


def test_what_may_be_done_and_to_what():
    """A goal may name the only actions that may be done, and things that nothing is done to: here there is no way."""
    rules, begin, _ = exchange(1, bolts=1, couplings=1, connectors=0)
    want = (Want("OLD0:F0", ("demated",)),)
    assert find_way(rules, begin, Goal(want)).found.cost == 2
    for goal in (Goal(want, actions=("demate",)), Goal(want, without=("SEAT0:V*",))):
        found = find_way(rules, begin, goal).found
        assert found.way is None
        assert found.proved


def test_kept_as_it_is():
    """A valve that has to be shut on the way is open at the end where it is to be kept as it is."""
    rules, begin, _ = exchange(1, bolts=1, couplings=1, connectors=0)
    now = begin.configuration
    goal = Goal((Want("OLD0:F0", ("demated",)), *kept(now, ["SEAT0:V0"])))
    assert [e.action for e in find_way(rules, begin, goal).events] == ["shut", "demate", "open"]


def two_places(*, homes=("", ""), rules=(), stores=("STORE",)):
    """Return a start with A at S1 and B at S2, places for one, and stores; A and B have a plug, S1 and S2 a socket."""
    defaults = shipped()
    thing = Part("thing", ports={"F": Port("F", "fluid-disconnect", keying="f", gender="plug")})
    seat = Part("seat", ports={"F": Port("F", "fluid-disconnect", keying="f", gender="socket")})
    places = {"S1": Place("S1", part="seat", capacity=1), "S2": Place("S2", part="seat", capacity=1)}
    units = {name: Unit(name, "thing", home=home) for name, home in zip("AB", homes, strict=True)}
    parts = {"thing": thing, "seat": seat}
    plant = Plant(
        defaults.media, defaults.kinds, parts, units, {**places, **{one: Place(one) for one in stores}}
    )
    now = Configuration(plant)
    for unit, place in (("A", "S1"), ("B", "S2")):
        now.apply(happened(now, Action("e", "as-found", (unit,), 0, initial=True, place=place)))
    for port in ("A:F", "B:F", "S1:F", "S2:F"):
        now.apply(happened(now, Action("e", "as-found", (port,), 0, initial=True, status="demated")))
    return RuleSet(tuple(rules)), Start(configuration=now)


@pytest.mark.parametrize("homes", [("", ""), ("S1", "S2"), ("S2", "S1")])
def test_two_change_places(homes):
    """Two units that stand where the other is to be change places by way of a third place: no fewer moves will do."""
    rules, begin = two_places(homes=homes)
    way = find_way(rules, begin, Goal((Want("A", places=("S2",)), Want("B", places=("S1",)))))
    assert way.found.proved
    assert way.found.cost == 3


def test_out_of_the_way_though_its_home_is_taken():
    """What stands where another is to be goes wherever there is room, though it belongs where that other came from."""
    rules, begin = two_places(homes=("", "S1"))
    way = find_way(rules, begin, Goal((Want("A", places=("S2",)),)))
    assert [(e.subjects, e.place) for e in way.events] == [(("B",), "STORE"), (("A",), "S2")]
    assert way.found.proved


def test_out_of_the_way_to_where_that_is_quickest():
    """Where a rule asks for a step more before a unit may be put where it belongs, it is put elsewhere."""
    match = ActionMatch(("place",), Selection(ids=("A",)), to=("STORE",))
    asked = Status(Selection(ids=("S2:F",)), ("capped",))
    rule = Rule("store", "", "", 3, "common practice", At(match), asked)
    rules, begin = two_places(homes=("STORE", ""), rules=(rule,), stores=("STORE", "YARD"))
    way = find_way(rules, begin, Goal((Want("B:F", ("mated",), mate="S1:F"),)))
    assert [(e.action, e.subjects[0], e.place) for e in way.events[:1]] == [("place", "A", "YARD")]
    assert way.found.proved
    assert way.found.cost == 3


def test_nothing_is_proved_where_partners_are_left_out(monkeypatch):
    """With more partners than are thought of a way counts as cut short, with no bound; none is no proof of there being
    none.
    """
    match = ActionMatch(("mate",), Selection(ids=("S1:F",)))
    never = Status(Selection(ids=("S2:F",)), ("mated",))
    rules, begin = two_places(rules=(Rule("not here", "", "", 3, "common practice", At(match), never),))
    goal = Goal((Want("A:F", ("mated",)),))
    whole = find_way(rules, begin, goal)
    assert whole.found.proved
    monkeypatch.setattr(grounding, "MOST_MATES", 1)
    for wanted in (rules, RuleSet(())):
        some = find_way(wanted, begin, goal)
        assert not some.found.proved
        assert (some.found.bound, some.found.ended, some.chain) == (0, CUT_SHORT, 0)


class Blind(Work):
    """The same field, of which nothing is known ahead: every move that there is may matter."""

    def _learn(self, move, objections):
        """Learn nothing."""

    def outlook(self, before, move):
        """Return that nothing is promised."""
        now = self.engine.world.configuration
        return Nothing(len(self.grounding.actions), self.grounding.goal.is_met(now))


class Nothing:
    cost = 0

    def __init__(self, moves, arrived):
        self._moves, self.arrived = moves, arrived

    def moves(self):
        """Return every move, with nothing promised of it."""
        return [(move, 0) for move in range(self._moves)]


@pytest.mark.parametrize("seed", range(6))
def test_the_picture_is_never_too_gloomy(seed):
    """Where people must walk and carry, the way is as short as one that is sought with nothing known ahead."""
    draw = random.Random(seed)
    rules, begin, _ = exchange(1, bolts=draw.choice((0, 1)), couplings=1, connectors=0, sited=True)
    wants = [
        Want("OLD0", places=("STORE0",)),
        Want("NEW0", places=("SEAT0",)),
        Want("SEAT0:V0", ("open",)),
        Want("ANN", places=("SHED",)),
        Want("OLD0:F0", ("capped",)),
    ]
    goal = Goal(tuple(draw.sample(wants, 2)))
    way = find_way(rules, begin, goal)
    engine = judged(rules, begin, coming=touched(way.grounding))
    way.grounding.engine = engine
    blind = search(Blind(engine, way.grounding))
    assert way.found.proved
    assert way.found.cost == blind.cost


# --- why there is none ------------------------------------------------------------------------------------------------


def needs(n, action, port, other, status):
    """Return the rule that before an action on a port another one must have a status."""
    match = ActionMatch((action,), Selection(ids=(f"OLD0:{port}",)))
    asked = Status(Selection(ids=(f"OLD0:{other}",)), (status,))
    return Rule(f"rule-{n}", "", "", 3, "common practice", At(match), asked)


@given(
    st.lists(
        st.tuples(st.permutations(["B0", "B1", "B2"]).map(lambda p: p[:2]), st.booleans()),
        min_size=1,
        max_size=6,
        unique_by=str,
    )
)
@settings(max_examples=25, deadline=None)
def test_smallest_set_that_forbids(several):
    """The rules that are named forbid the goal together, and no smaller set of all of them does."""
    _, begin, _ = exchange(1, bolts=3, couplings=0, connectors=0)
    rules = tuple(
        needs(n, "release", a, b, "released" if first else "engaged")
        for n, ((a, b), first) in enumerate(several)
    )
    goal = Goal(tuple(Want(f"OLD0:B{n}", ("released",)) for n in range(3)))

    def forbidden(some):
        return find_way(RuleSet(tuple(some)), begin, goal).found.way is None

    if not forbidden(rules):
        return
    why = why_none(RuleSet(rules), begin, goal)
    assert why.smallest
    smallest = next(n for n in range(len(rules) + 1) if any(map(forbidden, combinations(rules, n))))
    assert len(why.rules) == smallest
    assert forbidden(why.rules)


def test_impossible_whatever_the_rules():
    """What doesn't fit is told as that, whatever the rules."""
    rules, begin, _ = exchange(1, bolts=1, couplings=1, connectors=1)
    why = why_none(rules, begin, Goal((Want("NEW0:F0", ("mated",), mate="SEAT0:C0"),)))
    assert not why.rules
    assert "don't go together" in why.impossible[0]


# --- goals that are written -----------------------------------------------------------------------------------------


def test_goal_in_a_file():
    """A goal says what is wanted in phrases, selections and swaps, who works, what may be done, and what that takes."""
    _, begin, _ = exchange(1, bolts=1, couplings=1, connectors=0)
    now = begin.configuration
    goal = parse_goal(
        """
        title = "Out with it"
        least = "time"
        by = ["ANN", "BEN"]
        actions = ["shut", "demate", "release"]
        without = ["SEAT0:S*"]
        keep = ["SEAT0:V0"]

        [[want]]
        of = { id = "OLD0:B*" }
        is = "released"

        [[swap]]
        old = "OLD0"
        new = "NEW0"
        to = "STORE0"

        [takes]
        demate = ["1 min", "2 min", "5 min"]
        "release bolt" = "3 min"
        """,
        now,
    )
    assert set(goal.wants) == {
        Want("OLD0:B0", ("released",)),
        *swap(now, "OLD0", "NEW0", "STORE0"),
        Want("SEAT0:V0", ("open",)),
    }
    assert (goal.title, goal.least, goal.workers) == ("Out with it", "time", ("ANN", "BEN"))
    assert goal.takes.of["release", "bolt"] == (3 * MINUTE,) * 3
    phrases = parse_goal('want = ["SEAT0:V0 shut", "NEW0 at SEAT0", "NEW0:F0 mated to SEAT0:F0"]', now)
    assert phrases.wants == (
        Want("SEAT0:V0", ("shut",)),
        Want("NEW0", places=("SEAT0",)),
        Want("NEW0:F0", ("mated",), mate="SEAT0:F0"),
    )


def test_every_error_of_a_goal_at_once():
    """All that is wrong with a goal is told in one run, each where it stands."""
    _, begin, _ = exchange(1, bolts=1, couplings=1, connectors=0)
    text = """
        least = "money"
        actions = ["fly"]
        want = ["OLD9:V0 shut"]
        [[swap]]
        old = "OLD0"
        new = "NEW7"
        [takes]
        demate = "soon"
        """
    with pytest.raises(BadInput) as caught:
        parse_goal(text, begin.configuration)
    told = "\n".join(problem.sentence for problem in caught.value.problems)
    for word in ("money", "fly", "OLD9", "NEW7", "soon"):
        assert word in told
    assert isinstance(begin, Start)
