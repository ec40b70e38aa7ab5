"""Any order on a unit on its base, against `every_order`, a page that knows nothing of engine, network or rules."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations

from hypothesis import event, given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.check import Start
from cfgtrack.analysis.orders import Ground, OrdersReport, orders
from cfgtrack.files.definition import shipped
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.mode import Mode
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.count import Count
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from cfgtrack.rules.when.within import Within
from tests.analysis import every_order
from tests.analysis.every_order import Job, Limits
from tests.happening import happened
from tests.rules.worlds import SECOND

KINDS = {"F": "fluid-disconnect", "B": "bolt", "V": "valve", "W": "valve", "S": "switch"}
JOINED = ("F", "B")


def status(port: str, *among: str) -> Status:
    """Return the condition that a port has one of some statuses."""
    return Status(Selection(ids=(f"U:{port}",)), among)


def at(action: str, port: str) -> At:
    """Return the mode of what holds just before an action on a port."""
    return At(ActionMatch((action,), Selection(ids=(f"U:{port}",))))


def rules_of(limits: Limits) -> RuleSet:
    """Return what `first_bad` asks, as rules."""
    drain = ActionMatch(("shut",), Selection(ids=("U:V",)))
    ways = Count(Selection(ids=("U:V", "U:W")), ("open",), least=1)
    asked: tuple[tuple[str, Mode, Condition], ...] = (
        ("one-way", Always(), ways),
        ("dry", at("demate", "F"), status("V", "shut")),
        ("dead", at("release", "B"), Not(status("S", "on"))),
        ("warm", Always(limits.off * SECOND), status("S", "on")),
        ("drained", Within(limits.drain * SECOND, drain), status("F", "demated")),
        ("held", By("outing"), status("B", "engaged", "torqued")),
    )
    return RuleSet(tuple(Rule(name, "", "", 2, "common practice", mode, what) for name, mode, what in asked))


@cache
def begin() -> Start:
    """Return the unit on its base as `START` has it."""
    defaults = shipped()
    parts = {"thing": Part("thing", ports={n: Port(n, k) for n, k in KINDS.items()})}
    places = {"BASE": Place("BASE", part="thing")}
    now = Configuration(Plant(defaults.media, defaults.kinds, parts, {"U": Unit("U", "thing")}, places))
    now.apply(happened(now, Action("e0", "as-found", ("U",), 0, place="BASE", initial=True)))
    for port, found in every_order.START.items():
        ports = (f"U:{port}", f"BASE:{port}") if port in JOINED else (f"U:{port}",)
        now.apply(happened(now, Action(f"e-{port}", "as-found", ports, 0, status=found, initial=True)))
    return Start(configuration=now)


def proposal(jobs: list[Job]) -> Sequence:
    """Return jobs as a sequence of one outing."""
    made = []
    for job in jobs:
        verb, port = job.word
        joins = verb in ("mate", "engage")
        subjects = (f"U:{port}", f"BASE:{port}") if joins else (f"U:{port}",)
        after = tuple(map(str, job.after))
        takes = (0, job.high * SECOND, job.high * SECOND)
        made.append(Step(str(job.number), "1", job.track, Action("", verb, subjects, 0), takes, after))
    return Sequence(outings=(Outing("1"),), steps=tuple(made))


def searched(jobs: list[Job], limits: Limits) -> OrdersReport:
    """Return what the tool says of every order of some jobs."""
    return orders(Ground(rules_of(limits), begin(), proposal(jobs)))


WORDS = [*every_order.LADDER, ("release", "B"), ("torque", "B")]


@st.composite
def works(draw: st.DrawFn) -> list[Job]:
    """Draw up to eight jobs on up to three tracks: many keep to one good order but for a wait or a job."""
    good = [("shut", "V"), ("demate", "F"), ("mate", "F"), ("open", "V"), ("de-energise", "S"), ("release", "B"),
            ("engage", "B"), ("energise", "S"), ("shut", "W"), ("open", "W")]  # fmt: skip
    is_good = draw(st.integers(0, 3))
    if is_good:
        words = [word for word in good if is_good == 1 or draw(st.integers(0, 9))][: draw(st.integers(1, 8))]
    else:
        words = draw(st.lists(st.sampled_from(WORDS), min_size=1, max_size=6))
    jobs: list[Job] = []
    for number, word in enumerate(words):
        after = draw(st.lists(st.sampled_from(range(number)), max_size=2, unique=True)) if number else []
        if is_good and number and draw(st.integers(0, 7)):
            after = [number - 1]
        track = draw(st.sampled_from("abc"))
        jobs.append(Job(number, track, word, draw(st.sampled_from((0, 1, 2, 5))), tuple(after)))
    return jobs


LIMITS = st.builds(Limits, st.sampled_from((3, 6, 30)), st.sampled_from((3, 6, 30)))


@given(works(), LIMITS)
@settings(max_examples=300, deadline=None)
def test_every_order_is_as_the_page_has_it(jobs, limits):
    """What is clear in every order, and how few steps a bad order needs, is the same to both."""
    found, expected = searched(jobs, limits), every_order.shortest_bad(jobs, limits)
    event("clear" if expected is None else "bad")
    assert (found.bad is None) == (expected is None)
    if found.bad is not None:
        assert len(found.bad.steps) == expected
        walked = [next(job for job in jobs if str(job.number) == step) for step in found.bad.steps]
        rests = [order for order in every_order.orders(jobs) if order[: len(walked)] == walked]
        assert any(every_order.first_bad(order, limits) == len(walked) for order in rests)


def waiting(jobs: list[Job], waits: tuple[tuple[int, int], ...]) -> list[Job] | None:
    """Return jobs with more waits, pairs of (job, what it waits for); None where they then wait for each other."""
    more = [replace(job, after=(*job.after, *(b for a, b in waits if a == job.number))) for job in jobs]
    return more if next(every_order.orders(more), None) is not None else None


@given(works().filter(lambda jobs: len(jobs) <= 6), LIMITS)
@settings(max_examples=120, deadline=None)
def test_waits_that_cure_are_as_few_as_is_said(jobs, limits):
    """With the waits that are offered every order is clear to the page; with fewer, or with none, it isn't."""
    found = searched(jobs, limits)
    if found.bad is None:
        return
    pairs = [(a.number, b.number) for a in jobs for b in jobs if a.track != b.track]

    def is_clear(waits: tuple[tuple[int, int], ...]) -> bool:
        more = waiting(jobs, waits)
        return more is not None and every_order.shortest_bad(more, limits) is None

    if found.cure is None:
        event("none")
        assert not any(is_clear((pair,)) for pair in pairs)
        return
    waits = tuple((int(wait.step), int(wait.waits_for)) for wait in found.cure)
    event(f"{len(waits)} waits")
    assert is_clear(waits)
    if found.fewest:
        assert not any(is_clear(some) for some in combinations(pairs, len(waits) - 1))
    else:
        assert not any(is_clear((*waits[:i], *waits[i + 1 :])) for i in range(len(waits)))
