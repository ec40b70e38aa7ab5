"""Locks and tags over every sequence of up to four steps, against a page of obvious code written from the regulation.

Two people, one group lock box, a breaker and a valve; three steps with a plug, too, whose shell has contacts. Whatever
anybody may say of them is tried, each action with each person, thing and holder. The page is 29 CFR 1910.147 (b),
(d)(4), (e)(3), (f)(3) and (f)(4) read as they stand, and knows nothing of ports, events or views.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from itertools import product

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import parse_phrase
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.lock import bars, locks_on, tags_on
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.presence import Telling

# --- the page of obvious code ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Page:
    """A and B are people, X the box, K breaker, V valve, J plug. A lock is (what it hangs on, whose it is)."""

    on: frozenset[str] = frozenset()  # which of K and V let through, and whether J is mated
    locks: frozenset[tuple[str, str]] = frozenset()
    tags: frozenset[tuple[str, str]] = frozenset()


def step(page, action):
    """Return the page after an action in the words `DOER VERB WHAT WHOSE TO`, None when it is impossible."""
    doer, verb, what, whose, to = action.split()
    return {
        "on": switch_on,
        "off": switch_off,
        "found-on": lambda page, _, what, *__: replace(page, on=page.on | {what}),
        "found-off": lambda page, _, what, *__: replace(page, on=page.on - {what}),
        "lock": put_lock,
        "unlock": lift_lock,
        "cut": cut,
        "transfer": transfer,
        "tag": hang_tag,
        "untag": take_tag,
    }[verb](page, doer, what, whose, to)


def switch_on(page, _doer, what, *_):
    """(b) Lockout: it "cannot be operated until the lockout device is removed". A tag only forbids it, (d)(4)(iii)."""
    if what in page.on or any(thing == what for thing, _ in page.locks):
        return None
    return replace(page, on=page.on | {what})


def switch_off(page, _doer, what, *_):
    """A lock keeps nothing from being made safe."""
    return replace(page, on=page.on - {what}) if what in page.on else None


def put_lock(page, doer, what, whose, _):
    """(d)(4)(ii) It holds the device in the safe or off position; (f)(3)(ii)(D) everybody puts his own on a box."""
    if what in page.on or (what, whose) in page.locks or what == whose:
        return None
    if whose not in (doer, "X"):
        return None
    return replace(page, locks=page.locks | {(what, whose)})


def lift_lock(page, doer, what, whose, _):
    """(e)(3) By who applied it; (f)(3)(ii) what the box holds, only when nobody's lock is on the box."""
    if (what, whose) not in page.locks or whose not in (doer, "X"):
        return None
    if whose == "X" and any(thing == "X" for thing, _ in page.locks):
        return None
    return replace(page, locks=page.locks - {(what, whose)})


def cut(page, doer, what, whose, _):
    """(e)(3) The exception: who applied it isn't there, and another takes it off. Not while people lock the box."""
    if doer == whose or not {(what, whose)} & (page.locks | page.tags):
        return None
    if whose == "X" and any(thing == "X" for thing, _ in page.locks):
        return None
    return replace(page, locks=page.locks - {(what, whose)}, tags=page.tags - {(what, whose)})


def transfer(page, doer, what, whose, to):
    """(f)(4) From the off-going employee to the oncoming one, with nothing between: it was locked, and is."""
    if (what, whose) not in page.locks or doer != whose or "X" in (whose, to):
        return None
    if (what, to) in page.locks or whose == to:
        return None
    return replace(page, locks=page.locks - {(what, whose)} | {(what, to)})


def hang_tag(page, doer, what, whose, _):
    """(d)(4)(iii) A tag says that it must not be operated; one a person is enough."""
    if (what, whose) in page.tags or whose != doer:
        return None
    return replace(page, tags=page.tags | {(what, whose)})


def take_tag(page, doer, what, whose, _):
    """(e)(3) A tag, too, is removed by who applied it."""
    if (what, whose) not in page.tags or whose != doer:
        return None
    return replace(page, tags=page.tags - {(what, whose)})


# --- the same plant for the tool ------------------------------------------------------------------------------------

WORLD = """
[[part]]
id = "panel"
port = [
  { name = "K", kind = "switch" },
  { name = "J", kind = "electrical-connector", contact = [{ name = "1" }, { name = "2", medium = "data" }] },
]
[[part]]
id = "lead"
flexible = true
port = [{ name = "P", kind = "electrical-connector", contact = [{ name = "1" }, { name = "2", medium = "data" }] }]
[[part]]
id = "pipe"
port = [{ name = "V", kind = "valve" }]

[[place]]
id = "A"
mobile = true
[[place]]
id = "B"
mobile = true
[[place]]
id = "X"
lock_box = true
[[unit]]
id = "S"
part = "panel"
[[unit]]
id = "L"
part = "lead"
[[unit]]
id = "T"
part = "pipe"
"""
DEFINITION = parse_definition({"world.toml": WORLD})
PLANT = DEFINITION.plant()
THINGS = {"K": "S:K", "V": "T:V", "J": "L:P", "X": "X"}
STATUS = {"K": ("off", "on"), "V": ("shut", "open"), "J": ("demated", "mated")}

PHRASES = {
    "lock": "lock {what} with {whose} by {doer}",
    "unlock": "unlock {what} from {whose} by {doer}",
    "cut": "cut {what} from {whose} by {doer} reason=away",
    "transfer": "transfer {what} from {whose} to {to} by {doer}",
    "tag": "tag {what} with {whose} by {doer}",
    "untag": "untag {what} from {whose} by {doer}",
    "found-on": "as-found {what} {on}",
    "found-off": "as-found {what} {off}",
}
VERBS = {
    ("on", "K"): "energise {what} by {doer}",
    ("off", "K"): "de-energise {what} by {doer}",
    ("on", "V"): "open {what} by {doer}",
    ("off", "V"): "shut {what} by {doer}",
    ("on", "J"): "mate {what} S:J by {doer}",
    ("off", "J"): "demate {what} S:J by {doer}",
    ("found-on", "J"): "as-found {what} S:J {on}",
    ("found-off", "J"): "as-found {what} {off}",
}

ACTIONS = [  # some of all: what tells most
    *(f"{doer} {verb} {what} - -" for doer in "A" for verb in ("on", "off") for what in "KVJ"),
    *(f"A {verb} {what} - -" for verb in ("found-on", "found-off") for what in "KVJ"),
    *(f"{doer} {verb} {what} {doer} -" for doer in "AB" for verb in ("lock", "unlock") for what in "KVXJ"),
    *(f"{doer} {verb} {what} X -" for doer in "AB" for verb in ("lock", "unlock") for what in "KVJ"),
    *("A lock X X -", "A lock K B -", "B unlock K A -", "A unlock X B -", "A unlock X X -"),
    *("A cut K B -", "B cut K A -", "A cut K A -", "A cut K X -", "B cut X A -", "B cut V A -"),
    *("A transfer K A B", "B transfer K B A", "B transfer K A B", "A transfer X A B", "A transfer K X B"),
    *("A transfer K A X", "A transfer V A A"),
    *("A tag K A -", "A untag K A -", "B tag V B -", "B untag K A -", "A tag K B -", "A tag X A -"),
]


def said(action):
    """Return an action in letters as the tool is told it."""
    doer, verb, what, whose, to = action.split()
    off, on = STATUS.get(what, ("", ""))
    form = VERBS.get((verb, what)) or PHRASES[verb]
    text = form.format(what=THINGS[what], whose=whose, to=to, doer=doer, on=on, off=off)
    return parse_phrase(text.split(), PLANT, id=action.replace(" ", "."))


def every(things):
    """Return all that two people may do with some things, as far as an action can be said at all."""
    held = ("lock", "unlock", "cut", "tag", "untag")
    return [
        *(
            f"{doer} {verb} {what} - -"
            for doer, verb, what in product("AB", ("on", "off", "found-on", "found-off"), things)
            if what != "X"
        ),
        *(
            f"{doer} {verb} {what} {whose} -"
            for doer, verb, what, whose in product("AB", held, things, "ABX")
        ),
        *(
            f"{doer} transfer {what} {whose} {to}"
            for doer, what, whose, to in product("AB", things, "ABX", "ABX")
        ),
    ]


SAID = {action: said(action) for action in {*ACTIONS, *every("KVJX")}}


def seen(now):
    """Return the page that a configuration of the tool amounts to."""
    return Page(
        on=frozenset(what for what, (_, on) in STATUS.items() if now.state(THINGS[what]).value == on),
        locks=frozenset((what, one.holder) for what, thing in THINGS.items() for one in locks_on(now, thing)),
        tags=frozenset((what, one.holder) for what, thing in THINGS.items() for one in tags_on(now, thing)),
    )


@pytest.mark.parametrize("telling", [Telling.PROPOSED, Telling.RECORDED])
@pytest.mark.parametrize(("things", "steps"), [("KVX", 4), ("KVJX", 3)])
def test_every_sequence_of_steps_is_judged_as_the_page_does(things, steps, telling):
    """What is possible, and which locks and tags then hang where, is the same in both, step by step.

    Sequences that come to the same have the same future, so each state is looked at once, and counted as often as
    sequences lead to it.
    """
    states = {Page(): (Configuration(PLANT), 1)}
    counts: Counter[str] = Counter()
    actions = every(things)
    for _ in range(steps):
        ahead: dict[Page, tuple[Configuration, int]] = {}
        for page, (here, ways) in states.items():
            for action in actions:
                outcome = resolve(here, SAID[action], telling)
                expected = step(page, action)
                assert isinstance(outcome, Event) == (expected is not None), (action, page, outcome)
                counts["possible" if expected else "impossible"] += ways
                if isinstance(outcome, Impossible):
                    counts.update(dict.fromkeys((r.code for r in outcome.refusals), ways))
                    continue
                assert expected is not None
                then = here.fork()
                _, undo = then.apply(outcome)
                assert seen(then) == expected, (action, page)
                back = then.fork()
                back.undo(undo)
                assert seen(back) == page, action
                counts[action.split()[1]] += ways
                ahead[expected] = (then, ahead[expected][1] + ways if expected in ahead else ways)
        states = ahead
    assert counts["possible"] > 50_000
    assert min(counts[verb] for verb in ("transfer", "cut", "unlock", "untag", "found-on", "on")) > 50
    assert min(counts[code] for code in ("locked", "not-yours", "boxed", "no-lock", "not-safe")) > 50


def test_a_refusal_says_who_locked_it_and_what_lifts_it():
    """Who reads it knows whom to ask: the person, or those whose locks are on the box."""
    now = Configuration(PLANT)
    for second, action in enumerate(("A lock K X -", "A lock X A -", "B lock X B -", "B lock K B -")):
        outcome = resolve(now, replace(SAID[action], happened=(1_900_000_000 + second) * 1_000_000))
        assert isinstance(outcome, Event)
        now.apply(outcome)
    refused = resolve(now, SAID["A on K - -"])
    assert isinstance(refused, Impossible)
    (refusal,) = refused.refusals
    assert refusal.code == "locked"
    assert refusal.collides == "A.lock.K.X.-"
    assert "2030-03-17T17:46:40Z" in refusal.sentence
    assert "X's lock" in refusal.sentence
    assert "A and B" in refusal.sentence
    assert "B's lock" in refusal.sentence
    assert bars(now, "S:K", "on") == tuple(locks_on(now, "S:K"))
    assert not bars(now, "S:K", "off")
