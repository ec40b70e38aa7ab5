"""The modes that speak of time against an independent monitor: rtamt 0.4's signal temporal logic over dense time.

A trace is a switch that is thrown, looked at (the trigger) and measured (which undoes the trigger) at whole seconds,
several of these at one instant. For rtamt it becomes piecewise constant signals of +1 (true) and -1 (false).
"""

from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.files.definition import shipped
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.within import Within

SWITCH = "U:S"
SECOND = 1_000_000
LAST = 30
END = 50
ON = Status(Selection(ids=(SWITCH,)), ("on",))
TRACES = st.lists(
    st.tuples(st.integers(1, LAST), st.sampled_from(["throw", "throw", "inspect", "measure"])), max_size=14
).map(lambda steps: sorted(steps, key=lambda s: s[0]))
LIMITS = st.integers(1, 6)


def plant():
    """Return a plant of one switch."""
    defaults = shipped()
    parts = {"box": Part("box", ports={"S": Port("S", "switch")})}
    return Plant(defaults.media, defaults.kinds, parts, {"U": Unit("U", "box")}, {})


PLANT = plant()


def history(trace):
    """Return a trace as events, and when the switch is on: (time, +1 or -1) at each change."""
    events, on, signal = [], False, {0: -1.0}
    for number, (time, what) in enumerate(trace):
        action = what
        if what == "throw":
            action, on = ("de-energise", False) if on else ("energise", True)
            signal[time] = 1.0 if on else -1.0
        events.append(Event(f"e{number}", action, (SWITCH,), time * SECOND))
    return events, signal


def broken(trace, mode):
    """Return for each breach that the engine finds the second since when its clock ran, and when it was broken."""
    rule = Rule("r", "", "", 1, "", mode, ON)
    engine = Engine(RuleSet((rule,)), Configuration(PLANT), start=0)
    for event in history(trace)[0]:
        engine.step(event)
    engine.finish(END * SECOND)
    return sorted((b.since // SECOND, b.time // SECOND) for b, _ in engine.breaches())


@cache
def monitor(formula):
    """Return a monitor of rtamt for a formula over on, trigger and undone."""
    import rtamt

    spec = rtamt.StlDenseTimeSpecification()
    for name in ("on", "trigger", "undone", "out"):
        spec.declare_var(name, "float")
    spec.spec = f"out = {formula}"
    spec.parse()
    return spec


def verdict(formula, time, **signals):
    """Return whether rtamt finds the formula true at a time. Every signal is padded to the same end."""
    spec = monitor(formula)
    padded = {n: [[t, s[t]] for t in sorted(s)] + [[END + 50, s[max(s)]]] for n, s in signals.items()}
    out = spec.evaluate(*([name, signal] for name, signal in padded.items()))
    return next(value for at, value in reversed(out) if at <= time) > 0


def triggers(trace):
    """Yield (time of a trigger, when it is undone or END) for each look at the switch."""
    for i, (time, what) in enumerate(trace):
        if what == "inspect":
            yield time, next((t for t, w in trace[i:] if w == "measure"), END)


LOOK = ActionMatch(("inspect",))
MEASURE = ActionMatch(("measure",))


@given(TRACES, LIMITS)
@settings(max_examples=300)
def test_bounded_response(trace, limit):
    """A look at the switch is answered in time by the engine exactly where eventually[0,limit](on) holds."""
    formula = f"(trigger>=0) implies (eventually[0,{limit}](on>=0))"
    signal = history(trace)[1]
    late = []
    for time, _ in triggers(trace):
        pulse = {0: -1.0, time: 1.0, time + 0.5: -1.0}
        if not verdict(formula, time, on=signal, trigger=pulse):
            late.append((time, time + limit))
    assert broken(trace, Within(limit * SECOND, LOOK)) == late


@given(TRACES, LIMITS)
@settings(max_examples=300)
def test_tolerance(trace, limit):
    """A fault outlasts its tolerance exactly where eventually[0,tolerance](on) fails at its start."""
    signal = history(trace)[1]
    changes = sorted(signal)
    starts = [t for i, t in enumerate(changes) if signal[t] < 0 and (i == 0 or signal[changes[i - 1]] > 0)]
    formula = f"eventually[0,{limit}](on>=0)"
    broken_ones = [(t, t + limit) for t in starts if not verdict(formula, t, on={**signal, END: 1.0})]
    assert broken(trace, Always(limit * SECOND)) == broken_ones


@given(TRACES, LIMITS)
@settings(max_examples=300)
def test_stays(trace, limit):
    """What must stay does so exactly where (off) until[0,limit] (on until undone) holds at the trigger.

    Several looks are several clocks, each judged for itself; one may be broken more than once. rtamt's until asks for
    its left side at the very instant of its right side too; the rule doesn't, hence the right side once more on the
    left.
    """
    signal = history(trace)[1]
    stays = "((on>=0) and (((on>=0) or (undone>=0)) until (undone>=0)))"
    formula = f"((not(on>=0)) or {stays}) until[0,{limit}] {stays}"
    kept = []
    for time, undone in triggers(trace):
        if not verdict(formula, time, on=signal, undone={0: -1.0, undone: 1.0}):
            kept.append(time)
    found = broken(trace, Within(limit * SECOND, LOOK, stays=True, until=MEASURE))
    assert {since for since, _ in found} == set(kept)
