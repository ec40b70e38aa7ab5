"""What can't be done: every sequence of up to three steps against a page of obvious code; and what is said of it.

A unit U with a valve G and a plug P, a panel W with two sockets, two bays. The page knows of each action only which
defects bar it, written down one by one, and nothing of ports, events or views.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import parse_phrase, phrase, split_phrase
from cfgtrack.model import defect
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event, effects
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.presence import Telling
from cfgtrack.model.trouble import BadInput, NoAnswer

WORLD = """
[[kind]]
id = "plug"
medium = "power"
joined = "mated"
carries = "mated"
statuses = ["demated", "mated"]
move = [
  { action = "mate", from = ["demated"], to = "mated" },
  { action = "demate", from = ["mated"], to = "demated" },
]
[[kind]]
id = "collar"
medium = "data"
joined = "on"
carries = "on"
statuses = ["off", "on", "tight"]
move = [
  { action = "slip", from = ["off"], to = "on" },
  { action = "tighten", from = ["on"], to = "tight", each = true },
]
[[part]]
id = "pump"
port = [{ name = "G", kind = "valve" }, { name = "P", kind = "plug" }]
[[part]]
id = "panel"
port = [{ name = "P", kind = "plug" }, { name = "Q", kind = "plug" }, { name = "B", kind = "latch" },
  { name = "C", kind = "collar" }]
[[part]]
id = "box"
port = [{ name = "B", kind = "latch" }, { name = "C", kind = "collar" }]
[[unit]]
id = "U"
part = "pump"
[[unit]]
id = "W"
part = "panel"
[[unit]]
id = "X"
part = "box"
[[place]]
id = "HALL"
[[place]]
id = "BAY"
parent = "HALL"
[[place]]
id = "CART"
parent = "HALL"
mobile = true
"""
DEFINITION = parse_definition({"world.toml": WORLD})
PLANT = DEFINITION.plant()

# --- the page of obvious code ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Page:
    """Whether the valve is open, what the plug is in, where U stands, and what stands: (barred, of what, why)."""

    valve: str = "shut"
    plug: str = ""
    at: str = "HALL"
    stands: frozenset[tuple[str, str, str]] = frozenset()


BARRED = {
    "open": {"open U:G", "open U", "* U"},
    "shut": {"shut U:G", "shut U", "* U"},
    "mate P": {"mate U:P", "mate U", "mate W:P", "mate W", "mate U:P W:P", "* U", "* W"},
    "mate Q": {"mate U:P", "mate U", "mate W:Q", "mate W", "mate U:P W:Q", "* U", "* W"},
    "demate P": {"demate U:P", "demate U", "demate W:P", "demate W", "demate U:P W:P", "* U", "* W"},
    "demate Q": {"demate U:P", "demate U", "demate W:Q", "demate W", "demate U:P W:Q", "* U", "* W"},
    "place BAY": {"place U", "place BAY", "* U", "* BAY"},
    "place HALL": {"place U", "place HALL", "* U", "* HALL"},
}
"""What bars each action: an action and what it is of; * is any action."""

OF = (
    "open U:G",
    "open U",
    "* U",
    "mate W:P",
    "mate W",
    "mate U:P W:P",
    "demate U:P",
    "place U",
    "place BAY",
    "* W",
)
WHY = ("seized", "won't seat")
DEFECTS = [f"{verb} {of} = {why}" for verb in ("defect", "rectify") for of in OF for why in WHY]
MOVES = ["open", "shut", "found open", "mate P", "mate Q", "demate", "found out", "place BAY", "place HALL"]
ACTIONS = [*MOVES, *DEFECTS]


def step(page, action):
    """Return the page after an action, None when it is impossible."""
    verb, _, rest = action.partition(" ")
    if verb in ("defect", "rectify"):
        of, _, why = rest.partition(" = ")
        barred, _, things = of.partition(" ")
        key = (barred, things, why)
        alike = [
            one
            for one in page.stands
            if things in (one[1], *one[1].split()) and barred in ("*", one[0]) and why == one[2]
        ]
        if verb == "rectify" and key not in page.stands and len(alike) == 1:
            (key,) = alike  # what is left out is plain where only one can be meant
        if (key in page.stands) == (verb == "defect"):
            return None
        stands = page.stands | {key} if verb == "defect" else page.stands - {key}
        return replace(page, stands=stands)
    name = f"demate {page.plug}" if action == "demate" else action
    if BARRED.get(name, set()) & {f"{barred} {things}" for barred, things, _ in page.stands}:
        return None
    if action in ("open", "shut"):
        to = "open" if action == "open" else "shut"
        return None if page.valve == to else replace(page, valve=to)
    if action == "found open":
        return replace(page, valve="open")
    if verb == "mate":
        return None if page.plug else replace(page, plug=rest)
    if action == "demate":
        return replace(page, plug="") if page.plug else None
    if action == "found out":
        return replace(page, plug="")
    return None if page.at == rest or page.plug else replace(page, at=rest)  # a cable holds it where it is


PHRASES = {
    "open": "open U:G",
    "shut": "shut U:G",
    "found open": "as-found U:G open",
    "mate P": "mate U:P to W:P",
    "mate Q": "mate W:Q U:P",
    "demate": "demate U:P",
    "found out": "as-found U:P demated",
    "place BAY": "place U at BAY",
    "place HALL": "place U at HALL",
}


def said(action):
    """Return an action of the page as the tool is told it."""
    verb, _, rest = action.partition(" ")
    text = PHRASES.get(action)
    if text is None:
        of, _, why = rest.partition(" = ")
        text = f'{verb} {of.removeprefix("* ")} "{why}"'
    return parse_phrase(split_phrase(text), PLANT, id=action.replace(" ", ".")[:40])


SAID = {action: said(action) for action in ACTIONS}


def seen(now):
    """Return the page that a configuration of the tool amounts to."""
    mate = now.state("U:P").other
    stands = {
        (one.bars or "*", f"{one.thing} {one.mate}" if one.mate else one.thing, one.cause)
        for thing in ("U", "U:G", "U:P", "W", "W:P", "W:Q", "BAY", "HALL")
        for one in defect.defects_on(now, thing)
        if one.mate is None or one.thing == "U:P"
    }
    place = now.state("U").value
    return Page(now.state("U:G").value, mate.partition(":")[2] if mate else "", place, frozenset(stands))


def begun():
    """Return the configuration of an empty page."""
    now = Configuration(PLANT)
    for number, text in enumerate(("place U at HALL", "place W at HALL", "place X at HALL")):
        event = resolve(now, parse_phrase(text.split(), PLANT, id=f"s{number}"))
        assert isinstance(event, Event)
        now.apply(event)
    return now


@pytest.mark.parametrize("telling", [Telling.PROPOSED, Telling.RECORDED])
def test_every_sequence_of_three_steps_is_judged_as_the_page_does(telling):
    """What is possible, and what then stands, is the same in both, step by step, and a step back is one."""
    states = {Page(): begun()}
    assert seen(states[Page()]) == Page()
    possible = barred = 0
    for _ in range(3):
        ahead = {}
        for page, here in states.items():
            for action in ACTIONS:
                outcome = resolve(here, SAID[action], telling)
                expected = step(page, action)
                assert isinstance(outcome, Event) == (expected is not None), (action, page, outcome)
                if isinstance(outcome, Impossible):
                    barred += any(one.code == "barred" for one in outcome.refusals)
                    continue
                possible += 1
                if expected in ahead:
                    continue
                then = here.fork()
                _, undo = then.apply(outcome)
                assert seen(then) == expected, (action, page)
                back = then.fork()
                back.undo(undo)
                assert seen(back) == page, action
                ahead[expected] = then
        states = ahead
    assert possible > 5_000
    assert barred > 500


# --- what is said, and what is answered -----------------------------------------------------------------------------


def told(now, text, **more):
    """Return what comes of a phrase."""
    number = len(list(now.touched())) + len(now.values)
    action = parse_phrase(
        split_phrase(text), PLANT, id=more.pop("id", f"e{number}"), happened=1_900_000_000_000_000
    )
    return resolve(now, replace(action, **more))


def after(*texts):
    """Return a configuration after some phrases."""
    now = begun()
    for number, text in enumerate(texts):
        outcome = told(now, text, id=f"d{number}")
        assert isinstance(outcome, Event), outcome
        now.apply(outcome)
    return now


@pytest.mark.parametrize(
    ("text", "bars", "subjects", "cause"),
    [
        ("defect open U:G seized", "open", ("U:G",), "seized"),
        ("defect open U:G is stuck in half", "open", ("U:G",), "stuck in half"),
        ('defect mate U:P to W:P "won\'t seat"', "mate", ("U:P", "W:P"), "won't seat"),
        ("defect U missing", None, ("U",), "missing"),
        ("defect U:G status=open", None, ("U:G",), "open"),
        ("defect open U:G 3 threads gone", "open", ("U:G",), "3 threads gone"),
        ('defect U:G bars=open status="a=1"', "open", ("U:G",), "a=1"),
        ("defect lift U jammed", "lift", ("U",), "jammed"),
        ("defect de-energise U:G x", "de-energise", ("U:G",), "x"),
        ("defect let go CART stuck", "let-go", ("CART",), "stuck"),
        ("rectify open U:G", "open", ("U:G",), None),
        ("rectify U", None, ("U",), None),
    ],
)
def test_what_can_t_be_done_is_read_and_written_as_it_is_said(text, bars, subjects, cause):
    """A phrase says what is barred (or nothing: anything), of what, and why; it reads back the same."""
    action = parse_phrase(split_phrase(text), PLANT)
    assert (action.bars, action.subjects, action.status) == (bars, subjects, cause)
    assert parse_phrase(split_phrase(phrase(action)), PLANT) == action


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("defect open U:G", "missing"),
        ("defect", "subjects"),
        ("defect opne U:G seized", "unknown"),
        ("defect open U:Z seized", "unknown"),
        ("defect U:G bars=opne status=seized", "unknown"),
        ("open U:G bars=shut", "unexpected"),
        ("open U:G status=seized", "unexpected"),
        ('defect open U:G seized torque="12 bar"', "bad-quantity"),
    ],
)
def test_what_makes_no_sense_is_refused_where_it_is_read(text, code):
    """A defect without a cause, of nothing, of what isn't there, of no known action, is no action."""
    with pytest.raises((BadInput, NoAnswer)) as refused:
        parse_phrase(split_phrase(text), PLANT)
    assert code in [problem.code for problem in refused.value.problems]


@pytest.mark.parametrize(
    ("before", "text", "code"),
    [
        ([], "defect torque U:G seized", "action"),
        ([], "defect cap W stuck", "action"),
        ([], "defect measure U:G broken", None),
        ([], "defect unlock U:G jammed", None),
        ([], "defect mate U:P to U:G bent", "action"),
        ([], "defect mate U:P to U:P bent", "same"),
        ([], "defect tighten X:C to W:C worn", "subjects"),
        ([], "defect open U:G status=", "status"),
        (["defect open U:G seized"], "defect open U:G seized", "already"),
        (["defect open U:G seized"], "defect open U:G jammed", None),
        ([], "rectify U", "no-defect"),
        (["defect open U:G seized"], "rectify shut U:G", "no-defect"),
        (["defect open U:G seized"], "rectify open U:G jammed", "no-defect"),
        (["defect open U:G seized", "defect open U:G jammed"], "rectify open U:G", "several"),
        (["defect open U:G seized", "defect open U:G jammed"], "rectify open U:G jammed", None),
        (["defect U missing", "defect open U missing"], "rectify U missing", None),
    ],
)
def test_refusals(before, text, code):
    """What can't be so is refused for its own reason, and its near neighbour isn't."""
    words = [word for word in split_phrase(text) if word != "status="]
    action = (
        replace(parse_phrase([*words, "x"], PLANT), status=None)
        if "status=" in text
        else parse_phrase(words, PLANT, id="n")
    )
    outcome = resolve(after(*before), action)
    found = [one.code for one in outcome.refusals] if isinstance(outcome, Impossible) else [None]
    assert found == [code]


def test_what_is_barred_says_why_since_when_who_and_what_lifts_it():
    """Who is refused reads what is wrong, what was measured, when, by whom, with which event, and the way out."""
    now = begun()
    event = told(now, 'defect open U:G seized torque="140 N*m"', by="INA", id="E7")
    assert isinstance(event, Event)
    now.apply(event)
    refused = told(now, "open U:G")
    assert isinstance(refused, Impossible)
    [refusal] = refused.refusals
    assert (refusal.code, refusal.collides, refusal.subject) == ("barred", "E7", "U:G")
    assert refusal.sentence == (
        "U:G has a defect (no open): seized, torque 140 N*m; `rectify open U:G seized` first, or as-found;"
        " told by INA at 2030-03-17T17:46:40Z"
    )
    one = defect.bars(now, told(now, "as-found U:G open")) or defect.bars(now, refused.action)
    assert one is not None
    assert (one.by, one.event, one.values["torque"].shown, one.why) == (
        "INA",
        "E7",
        140.0,
        "seized, torque 140 N*m",
    )
    # Measured is measured: the value is a reading like any other, too.
    assert now.values["U:G", "torque"].value == "140.0"


def test_a_defect_of_one_half_leaves_its_mate_free():
    """What is done to each half by itself is barred of the half that has it; what is done to both, by either."""
    now = after("slip X:C to W:C", "defect tighten W:C seized")
    assert isinstance(told(now, "tighten W:C"), Impossible)
    assert isinstance(told(now, "tighten X:C"), Event)
    assert isinstance(told(after("mate U:P W:P", "defect demate W:P seized"), "demate U:P"), Impossible)


def test_what_moves_along_is_barred_too():
    """A unit that is stuck where it stands keeps what is fixed to it there as well; its neighbour goes."""
    now = after("engage X:B to W:B", "defect place W stuck")
    moved = told(now, "place X at BAY")
    assert isinstance(moved, Impossible)
    assert [one.subject for one in moved.refusals] == ["W"]
    assert isinstance(told(now, "place U at BAY"), Event)


def test_nothing_is_done_with_what_is_missing_and_it_is_still_looked_for():
    """All that could be done to it, on it or with it is barred; to look, to measure, to remark and to find is not."""
    now = after("defect U missing")
    for text in ("open U:G", "mate U:P W:P", "place U at BAY", "lift U by CART"):
        assert isinstance(told(now, text), Impossible), text
    for text in (
        "inspect U",
        'measure U:G pressure="1 bar"',
        "remark U gone",
        "as-found U at BAY",
        "rectify U",
    ):
        assert isinstance(told(now, text), Event), text
    jammed = after("defect CART jammed")
    assert isinstance(told(jammed, "lift U by CART"), Impossible)
    assert isinstance(told(jammed, "place CART at BAY"), Impossible)
    assert isinstance(told(jammed, "open U:G"), Event)


def test_what_can_do_nothing_does_nothing():
    """Where it is judged who does what, a machine that can do nothing any more does nothing; others do."""
    sited = (
        WORLD.replace('id = "HALL"', 'id = "HALL"\nsite = true')
        + '[[place]]\nid = "ANN"\nparent = "HALL"\nmobile = true\n'
    )
    now = Configuration(parse_definition({"world.toml": sited}).plant())
    for number, text in enumerate(("place U at HALL", "defect CART jammed by ANN")):
        event = resolve(now, parse_phrase(text.split(), now.plant, id=f"s{number}"))
        assert isinstance(event, Event), event
        now.apply(event)
    assert isinstance(resolve(now, parse_phrase(["open", "U:G", "by", "ANN"], now.plant)), Event)
    refused = resolve(now, parse_phrase(["open", "U:G", "by", "CART"], now.plant))
    assert isinstance(refused, Impossible)
    assert [one.code for one in refused.refusals] == ["barred"]


def test_what_was_found_is_no_repair():
    """Found open, a valve that can't be opened is open, and still can't be opened until that is rectified."""
    now = after("defect open U:G seized", "as-found U:G open", "shut U:G")
    assert isinstance(told(now, "open U:G"), Impossible)
    found = told(after("defect open U:G seized"), "as-found U:G open")
    assert isinstance(found, Event)
    assert found.expected == "U:G shut, open can't be done: seized"


def test_an_event_says_all_that_it_writes():
    """What rectifies a defect names it, whatever was left out: its effects need no state."""
    now = after("defect open U:G seized")
    event = told(now, "rectify U:G", id="R")
    assert isinstance(event, Event)
    assert (event.bars, event.status) == ("open", "seized")
    assert [(e.subject, e.aspect, e.value, e.other) for e in effects(PLANT, event)] == [
        ("U:G", "!defect open - seized", "", "R")
    ]
    assert told(now, "rectify U:G", id="R") == resolve(now, event)


def test_all_that_stands_is_listed_once():
    """A defect of two halves is listed by the first, what stands on a unit's ports with the unit."""
    now = after("defect mate U:P to W:P bent", "defect W damaged", "defect open U:G seized")
    assert [(one.what, one.cause) for one in defect.all_defects(now)] == [
        ("open U:G", "seized"),
        ("mate U:P to W:P", "bent"),
        ("W", "damaged"),
    ]
    assert [one.cause for one in defect.defects_about(now, "W")] == ["damaged", "bent"]
    assert {phrase(defect.rectified(one)) for one in defect.all_defects(now)} == {
        "rectify open U:G seized",
        "rectify mate U:P to W:P bent",
        "rectify W damaged",
    }
