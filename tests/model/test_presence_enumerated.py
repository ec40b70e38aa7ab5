"""Presence over every sequence of up to four steps, against a page of obvious code written from the meanings alone.

Two sites, a worker, an arm that he may ride, a unit with an eye to grip and a bolt, and a hose with two ends. The page
keeps letters: who is where, who grips, what is bolted, mated, tied. It knows nothing of ports, events or views.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import parse_phrase
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.presence import Telling, site_at

# --- the page of obvious code ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Page:
    """A is one site, B the other; W the worker, R the arm, U the unit, H the hose with its ends P and Q."""

    at: tuple[tuple[str, str], ...] = (("H", "A"), ("R", "A"), ("U", "A"), ("W", "A"))
    grips: str = ""  # who grips U
    bolted: bool = False  # U to A
    tied: bool = False  # W to an anchor at A, with a line that ends there
    mated: tuple[tuple[str, str], ...] = ()  # end of the hose, and the site of the panel that it is on
    lies: tuple[tuple[str, str], ...] = ()  # free end, and the site where it was parted

    def place(self, who):
        """Return what a thing stands in."""
        return dict(self.at)[who]

    def site(self, who):
        """Return the site of a thing: up through whatever it stands in."""
        while who not in "AB":
            who = self.place(who)
        return who

    def end(self, end):
        """Return the site of an end of the hose."""
        return dict(self.mated).get(end) or dict(self.lies).get(end) or self.site("H")

    def inside(self, who, of):
        """Return whether a thing stands in another, directly or not."""
        while who not in "AB":
            who = self.place(who)
            if who == of:
                return True
        return False

    def put(self, who, to):
        """Return the page with a thing somewhere else."""
        return replace(self, at=tuple(sorted({**dict(self.at), who: to}.items())))


def moved(page, who, to, was):
    """Return the page after a thing is taken somewhere from where all `was`, None when something keeps it."""
    if page.bolted and (who == "U" or page.inside("U", who)):
        return None  # what is bolted down keeps whoever has it in his hands
    after = page.put(who, to)
    if page.grips and after.site(page.grips) != after.site("U"):
        if page.bolted or was.site(page.grips) == after.site(page.grips):
            return None  # torn apart
        after = after.put("U", page.grips)  # the gripper goes away and can take it along
    if (page.bolted and after.site("U") != "A") or (page.tied and after.site("W") != "A"):
        return None
    if who == "H" or page.inside("H", who):
        after = replace(after, lies=())  # the unit was moved: its free ends go with it
    return after


def found_at(page, doer, site, but=""):
    """Return the page with a doer where the record says he worked: what he holds, but for one thing, is left."""
    if page.site(doer) == site:
        return page
    for thing, place in page.at:
        if place == doer and thing != but:
            page = page.put(thing, page.place(doer))
    page = page.put(doer, site)
    if page.grips == doer and page.site("U") != site and but != "U":
        page = replace(page, grips="")
    if doer == "W":
        page = replace(page, tied=page.tied and site == "A")
    return page


def step(page, action, *, recorded):
    """Return the page after an action in the words `DOER VERB WHAT TO`, None when it is impossible."""
    doer, verb, what, to = action.split()
    if verb == "place":
        return placed(page, doer, what, to, recorded=recorded)
    if verb in ("grip", "let-go"):
        where = [page.site("U"), *([page.site(to)] if to != doer else [])]
    elif verb in ("engage", "release"):
        where = [page.site("U") if what == "U" else "A", "A"]
    else:
        where = [page.end(what)] if verb == "demate" else [page.end(what), to]
    if recorded:
        page = found_at(page, doer, where[-1])
        if verb == "mate":
            where[0] = page.end(what)
        elif what == "U":
            where[0] = page.site("U")
    if {page.site(doer)} != set(where):
        return None
    return {
        "grip": grip,
        "let-go": let_go,
        "engage": engage,
        "release": release,
        "mate": mate,
        "demate": demate,
    }[verb](page, what, to)


def placed(page, doer, what, to, *, recorded):
    """Return the page after somebody puts a thing somewhere, or goes there himself."""
    if page.place(what) == to or what == to or page.inside(to, what):
        return None
    if what == doer:
        return moved(page, what, to, page)
    if not recorded:
        after = moved(page, what, to, page)
        there = (
            page.site(doer) == page.site(what) and after is not None and after.site(doer) == after.site(to)
        )
        return after if there else None
    if not page.inside(doer, what):
        # Where he put it is where he ended; what he takes into his own hands he takes where it is.
        where = page.site(what) if to == doer or page.inside(to, doer) else page.site(to)
        return moved(found_at(page, doer, where, but=what), what, to, page)
    return moved(page, what, to, page)


def grip(page, _, by):
    """Return the page with U in a grip."""
    return None if page.grips else replace(page, grips=by)


def let_go(page, _, by):
    """Return the page with U in no grip."""
    return replace(page, grips="") if page.grips == by else None


def engage(page, what, _):
    """Return the page with U bolted down, or W tied."""
    if what == "W":
        return None if page.tied else replace(page, tied=True)
    return None if page.bolted else replace(page, bolted=True)


def release(page, what, _):
    """Return the page with U unbolted, or W untied."""
    if what == "W":
        return replace(page, tied=False) if page.tied else None
    return replace(page, bolted=False) if page.bolted else None


def mate(page, end, site):
    """Return the page with an end of the hose on the panel of a site."""
    if end in dict(page.mated) or site in dict(page.mated).values():
        return None
    lies = tuple(pair for pair in page.lies if pair[0] != end)
    return replace(page, mated=tuple(sorted((*page.mated, (end, site)))), lies=lies)


def demate(page, end, _):
    """Return the page with an end of the hose parted: it lies where its panel is."""
    mated = dict(page.mated)
    if end not in mated:
        return None
    site = mated.pop(end)
    return replace(
        page, mated=tuple(sorted(mated.items())), lies=tuple(sorted({**dict(page.lies), end: site}.items()))
    )


# --- the same plant for the tool ------------------------------------------------------------------------------------

WORLD = """
[[part]]
id = "yard"
port = [
  { name = "BOLT", kind = "bolt" },
  { name = "ANCHOR", kind = "tether" },
  { name = "PANEL", kind = "fluid-disconnect" },
]
[[part]]
id = "somebody"
port = [{ name = "HAND", kind = "grip" }, { name = "LINE", kind = "tether" }]
[[part]]
id = "box"
port = [{ name = "EYE", kind = "grip" }, { name = "BOLT", kind = "bolt" }]
[[part]]
id = "hose"
flexible = true
port = [{ name = "P", kind = "fluid-disconnect" }, { name = "Q", kind = "fluid-disconnect" }]

[[place]]
id = "A"
part = "yard"
site = true
[[place]]
id = "B"
part = "yard"
site = true
[[place]]
id = "W"
parent = "A"
part = "somebody"
mobile = true
[[place]]
id = "R"
parent = "A"
part = "somebody"
mobile = true
[[unit]]
id = "U"
part = "box"
[[unit]]
id = "H"
part = "hose"

[initial]
at = 2031-01-01T00:00:00Z
[initial.place]
U = "A"
H = "A"
"""
DEFINITION = parse_definition({"world.toml": WORLD})
PLANT = DEFINITION.plant()

PHRASES: dict[str, str | dict[str, str]] = {
    "place": "place {what} at {to}",
    "grip": "grip U:EYE with {to}:HAND",
    "let-go": "let go U:EYE from {to}:HAND",
    "engage": {"U": "engage U:BOLT A:BOLT", "W": "engage W:LINE A:ANCHOR"},
    "release": {"U": "release U:BOLT A:BOLT", "W": "release W:LINE"},
    "mate": "mate H:{what} {to}:PANEL",
    "demate": "demate H:{what}",
}
ACTIONS = [
    *(f"W place W {to}" for to in "ABR"),
    *(f"R place R {to}" for to in "ABW"),
    *(f"W place R {to}" for to in "AB"),
    *(f"W place U {to}" for to in "ABWR"),
    *(f"R place U {to}" for to in "ABR"),
    *(f"W place H {to}" for to in "ABWR"),
    "R place W B",
    "R place H R",
    *("W grip U W", "R grip U R", "W grip U R", "W let-go U W", "R let-go U R", "W let-go U R"),
    *("W engage U A", "W release U A", "R release U A", "W engage W A", "W release W A"),
    *(f"W mate {end} {site}" for end in "PQ" for site in "AB"),
    *("W demate P A", "W demate Q A", "R mate P B", "R demate P B"),
]


def started():
    """Return the configuration in which every sequence starts."""
    now = Configuration(PLANT)
    for action in DEFINITION.initial:
        event = resolve(now, action)
        assert isinstance(event, Event), event.refusals
        now.apply(event)
    return now


def said(action):
    """Return an action in letters as the tool is told it."""
    doer, verb, what, to = action.split()
    words: str | dict[str, str] = PHRASES[verb]
    text = (words[what] if isinstance(words, dict) else words).format(what=what, to=to)
    return replace(parse_phrase(text.split(), PLANT, id=action), by=doer)


SAID = {action: said(action) for action in ACTIONS}


def seen(now):
    """Return the page that a configuration of the tool amounts to."""
    state = now.state
    mated = {end: state(f"H:{end}").other for end in "PQ"}
    lies = {end: now.end_at(f"H:{end}") for end in "PQ" if mated[end] is None and now.end_at(f"H:{end}")}
    held = [state("U:EYE").other] if state("U:EYE").value == "held" else []
    assert [who for who in "WR" if state(f"{who}:HAND").value == "held"] == [h[0] for h in held]
    return Page(
        at=tuple((thing, state(thing).value) for thing in "HRUW"),
        grips=held[0][0] if held else "",
        bolted=state("U:BOLT").other == "A:BOLT",
        tied=state("W:LINE").other == "A:ANCHOR",
        mated=tuple((end, mate[0]) for end, mate in mated.items() if mate),
        lies=tuple(lies.items()),
    )


def plain(page):
    """Return a page without the ends that lie where the unit is, which says nothing more than where it is."""
    return replace(page, lies=tuple(pair for pair in page.lies if pair[1] != page.site("H")))


def same(now, page):
    """Return whether the tool has all as the page has it, and every end of the hose at the same site."""
    return plain(seen(now)) == plain(page) and all(site_at(now, f"H:{end}") == page.end(end) for end in "PQ")


@pytest.mark.parametrize("telling", [Telling.PROPOSED, Telling.RECORDED])
def test_every_sequence_of_four_steps_is_judged_as_the_page_does(telling):
    """What is possible, and where it leaves everybody and everything, is the same in both, step by step.

    Sequences that come to the same have the same future, so each such pair of states is looked at once, and counted as
    often as sequences lead to it.
    """
    recorded = telling is Telling.RECORDED
    now = started()
    pairs = {(seen(now), Page()): (now, 1)}
    counts: Counter[str] = Counter()
    for _ in range(4):
        ahead: dict[tuple[Page, Page], tuple[Configuration, int]] = {}
        for (_, page), (here, ways) in pairs.items():
            for action in ACTIONS:
                outcome = resolve(here, SAID[action], telling)
                expected = step(page, action, recorded=recorded)
                assert isinstance(outcome, Event) == (expected is not None), (action, page, outcome)
                counts["possible" if expected else "impossible"] += ways
                if isinstance(outcome, Impossible):
                    counts.update({r.code: ways for r in outcome.refusals})
                    continue
                then = here.fork()
                then.apply(outcome)
                assert same(then, expected), (action, page, seen(then), expected)
                counts["found elsewhere"] += ways * bool(outcome.expected)
                counts["came along"] += ways * bool(outcome.carried)
                counts["end lies elsewhere"] += ways * bool(seen(then).lies)
                key = (seen(then), expected)
                ahead[key] = (then, ahead[key][1] + ways if key in ahead else ways)
        pairs = ahead
    assert counts["possible"] > 50_000
    assert counts["came along"] > 100
    assert counts["end lies elsewhere"] > 100
    assert counts["found elsewhere"] > 1_000 if recorded else counts["absent"] > 1_000
    assert counts["gripped"] > 100
    assert counts["tethered"] > 100
