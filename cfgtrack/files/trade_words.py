"""The trade's other words for what is done: which of our actions, or commands, each of them means.

Nothing is done under another word: people of different trades mean different things by it (a closed valve stops the
flow, a closed switch starts it). Who says one is told what to say instead, fitted to what he named.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import takewhile

from cfgtrack.model import action as ac
from cfgtrack.model.naming import FILLERS
from cfgtrack.model.plant import Plant
from cfgtrack.model.unknown import ANYTHING, MOVABLE

_MATE = "mate a connector, coupling or hose"
_DEMATE = "demate a connector, coupling or hose"
_ENGAGE = "engage a bolt by hand, a latch, rail or tether"
_RELEASE = "release a bolt, latch, rail or tether"
_GRIP = "grip in a hand, arm or hook"
_LET_GO = "let-go of a grip"
_TORQUE = "torque a bolt to a torque"
_CAP, _UNCAP = "cap an open half with its cap", "uncap a half that has its cap on"
_COVER, _UNCOVER = "cover what has a cover", "uncover what has a cover"
_SHUT, _OPEN = "shut a valve: nothing flows", "open a valve: it flows"
_ON, _OFF = "energise a switch or breaker: power is on", "de-energise a switch or breaker: power is off"
_PLACE = "place a unit where it is put"
_LIFT = "lift a unit from where it is, by whoever takes it"
_LOCK, _TAG = "lock with somebody's own lock", "tag with somebody's own tag"
_DEFECT, _RECTIFY = "defect of what can't be done to a thing", "rectify a defect"
_MEASURE, _INSPECT, _REMARK = "measure a value", "inspect by eye", "remark in words"

_TOGETHER = (_MATE, _ENGAGE, _GRIP)
_ASUNDER = (_DEMATE, _RELEASE, _LET_GO)
_PUT = (_PLACE, _MATE, _ENGAGE, _COVER, _CAP)
_TAKEN = (_LIFT, _DEMATE, _RELEASE, _UNCOVER, _UNCAP, _LET_GO)
_TIGHT = (_TORQUE, _ENGAGE, _MATE)
_LOOSE = (_RELEASE, _DEMATE, _UNCAP)

WORDS: Mapping[str, tuple[str, ...]] = {
    word: meant
    for words, meant in {
        "close, reclose": (_SHUT, "energise a switch or breaker: closed, it conducts", _ENGAGE, _COVER),
        "reopen, open up": (_OPEN, _UNCOVER, "de-energise a switch or breaker: open, it conducts nothing"),
        "connect, reconnect, attach, reattach, couple, join, link, hook up, plug in, remate": _TOGETHER,
        "disconnect, detach, uncouple, decouple, separate, part, unmate, unhook": (*_ASUNDER, _OFF),
        "plug": (_MATE, _CAP),
        "unplug": (_DEMATE, _UNCAP),
        "pull, pull out": (_DEMATE, _LIFT, _RELEASE),
        "install, reinstall, fit, refit, mount, remount, put, put in, insert": _PUT,
        "set, position, put back, replace": (_PLACE,),
        "stow, store, stash, park, put away, put down, set down, lower, land, lay, move, shift, bring, return": (
            _PLACE,
        ),
        "remove, take, take off, take out, take away, dismount, unmount, uninstall, dismantle": _TAKEN,
        "carry, pick, pick up, hoist, raise, hang": (_LIFT, _PLACE),
        "drop": (_LET_GO, _RELEASE, _PLACE),
        "hold, grab, grasp, catch, clamp": (_GRIP, _ENGAGE),
        "ungrip, unclamp": (_LET_GO, _RELEASE),
        "tighten, retighten, retorque, screw, screw in, bolt, fasten, secure": _TIGHT,
        "loosen, slacken, unscrew, unbolt, unfasten, back off, undo": _LOOSE,
        "latch, hook, tie, tether, dock": (_ENGAGE,),
        "unlatch, untie, untether, undock": (_RELEASE,),
        "turn on, switch on, power on, power up, power, enable, activate, live": (_ON, _OPEN),
        "turn off, switch off, power off, power down, shut off, shut down, unpower, disable, kill, trip": (
            _OFF,
            _SHUT,
        ),
        "turn, switch, toggle, flip, operate": (_ON, _OFF, _OPEN, _SHUT),
        "energize, re-energise, re-energize, reenergise": (_ON,),
        "de-energize, deenergise, deenergize": (_OFF,),
        "isolate": (_SHUT, _OFF, _LOCK),
        "block": (_SHUT, _CAP),
        "blank, seal, recap, cap off": (_CAP,),
        "unblank, unseal": (_UNCAP,),
        "protect, recover": (_COVER, _CAP),
        "expose": (_UNCOVER, _UNCAP),
        "vent, drain, bleed, purge, relieve, fill, charge, pressurise, depressurise": (_OPEN, _MEASURE),
        "lock out, lock off, lockout, padlock, relock": (_LOCK,),
        "tag out, tagout, label": (_TAG,),
        "loto": (_LOCK, _TAG),
        "break, damage, fail, fault": (_DEFECT,),
        "fix, repair": (_RECTIFY,),
        "read, test, gauge, reading": (_MEASURE, _INSPECT),
        "look, look at, examine": (_INSPECT,),
        "note, comment, say": (_REMARK,),
        "find, found, saw, see": ("as-found in a status, or at a place",),
        "reset": (_ON,),
        "start": ("begin an outing", _ON),
        "stop, finish": ("end an outing", _OFF),
    }.items()
    for word in words.split(", ")
}
"""The trade's word to what may be meant: our action, and of what it is. A switch: IEC 60050-441 calls it closed on."""

_OTHERWISE = 'correct EVENT-ID ACTION THING --reason "WHY": it happened otherwise'
_WITHDRAWN = ('withdraw EVENT-ID --reason "WHY": it did not happen', _OTHERWISE)

COMMANDS: Mapping[str, tuple[str, ...]] = {
    word: meant
    for words, meant in {
        "undo, delete, cancel, revert": _WITHDRAWN,
        "remove, decommission, scrap": ("retire UNIT: it leaves the plant for good",),
        "edit, change, amend, fix": (_OTHERWISE,),
        "reset": _WITHDRAWN,
        "swap, exchange, replace": (
            "way: finds the steps to what is wanted",
            "which: says what would do best",
        ),
        "spare": ("which --for UNIT: says which spare would do best",),
        "find, path, route": ("way: finds the steps to what is wanted",),
        "status, status-of, show, info, get, where": ("state [THING]: where it is, and how it stands",),
        "locks": ("state [THING]: lists the locks and tags that are on",),
        "whohas": (
            "state [THING]: who or what holds it, whose locks are on",
            "history [THING]: who did what",
        ),
        "attention": ("state: first what needs attention", "findings: what is open, and the running clocks"),
        "log, events, journal": ("history [THING]",),
        "list, ls, units": ("plant: counts what is defined", "state: shows everything"),
        "validate, test, simulate, try, judge": (
            "check SEQUENCE.toml",
            "check --do ACTION: tries one action",
        ),
        "what-if": (
            "check --do ACTION: tries one action",
            "without THING: what is cut off if it is shut, off or demated",
        ),
        "leak": (
            "isolate THING: which devices isolate it",
            'remark THING "it leaks": records that it does',
            "segments fluid: what is joined as one",
        ),
        "plot, graph, picture, diagram, render, map": ("draw: draws what is connected to what",),
        "timeline": ("draw --timeline [--plan FILE] -o timeline.svg: the plan along a time axis",),
        "strip": ("draw --strip [--plan FILE] -o strip.svg: the plan as frames",),
        "print": ("draw [--unit THING] -o picture.pdf: a picture", "state [THING]: the same in words"),
        "init, create, setup": ("new: begins a plant", "load FILE: takes a definition in"),
        "add, define, update": ("load FILE: takes a definition in",),
        "save": ("backup FILE: copies the database", "export: writes the journal"),
        "next, todo, remaining": ("left: writes what is left of the plan",),
        "note, comment, notes, lessons": ("remarks THING: shows them",),
        "upgrade": ("migrate: brings the database to this version",),
        "repair": ("mend SEQUENCE.toml: finds the changes that make it clear",),
        "help, manual": ("--help: lists the commands",),
        "version": ("--version: tells it",),
    }.items()
    for word in words.split(", ")
}
"""Words for what is no action on hardware: the command that does it, and why that one.

What was named takes the place of the word in capitals; what stands in brackets is left out where nothing was named.
"""

PARTICLES = ("on", "off", "in", "out", "up", "down", "away", "back", "at")

_BETWEEN = {"place": "at", "lift": "by", "demate": "from", "release": "from", "let-go": "from"}
_FORMS = {
    "mate": ("PORT", "PORT"),
    "engage": ("PORT", "PORT"),
    "grip": ("PORT", "PORT"),
    "place": ("UNIT", "PLACE"),
    "begin": ("OUTING",),
    "end": ("OUTING",),
}
_ANY = ac.NOTES | ac.DEVICE_ACTIONS | ac.DEFECT_ACTIONS | {ac.FOUND}
_LISTED = 8
_VALVES = ("open", "shut")
_SEQUENCES = (".toml", ".csv")
"""How the name of a sequence's file ends."""


def meant_by(word: str) -> str:
    """Return the word of `WORDS` or `COMMANDS` that is said, in whatever form of it: closed, closing; "" for none."""
    word = word.casefold()
    for stem in _stems(word):
        if stem in WORDS or stem in COMMANDS:
            return stem
    return ""


def two_words(words: Sequence[str], plant: Plant | None = None) -> tuple[str, list[str]]:
    """Return a word of two, such as `turn V1 off`, and what it is said of; "" where it isn't one."""
    for i, particle in enumerate(words[1:], 1):
        both = f"{words[0]} {particle}".casefold()
        if particle in PARTICLES and both in WORDS and not (plant and plant.names.meant(particle, ANYTHING)):
            return both, [*words[1:i], *words[i + 1 :]]
    return "", [*words[1:]]


def say_instead(
    word: str,
    subjects: Sequence[str],
    known: Collection[str],
    plant: Plant | None,
    more: str,
    call: str = "{}",
) -> str:
    """Return what to say instead of a word that is no action: fitted to its subjects, where they are known.

    `known` are the actions that there are, `more` the words that follow in what is said; `call` is how an action is
    put there, with `{}` for it. Where no action is meant, it may be a command.
    """
    meant = meant_by(word)
    is_event = _is_of_event(meant, subjects, plant)
    choices = [] if is_event else [phrase for phrase in WORDS.get(meant, ()) if phrase.split()[0] in known]
    if not choices:
        if calls := _commands_told(meant, subjects, plant):
            return f": say {', or '.join(calls)}"
        if near := near_words(word, known):
            return f"; near names: {', '.join(near)}"
        return f"; known: {', '.join(known)}"
    fit = choices
    if plant is not None and subjects and plant.sort_of(subjects[0]):
        fit = [phrase for phrase in choices if _applies(phrase.split()[0], subjects[0], plant)]
        if not fit:
            return _none_fits(subjects[0], choices, plant)
        whole = [phrase for phrase in fit if phrase.split()[0] in (ac.PLACE, ac.LIFT)]
        of_ports = [phrase.split()[0] for phrase in fit if phrase not in whole]
        if whole and of_ports:
            told = ", or ".join(_told(phrase, subjects, plant, more, call) for phrase in whole)
            such = call.format(f"{of_ports[0]} {subjects[0]}:PORT")
            return f": say {told}; of its ports {', '.join(of_ports)}, as in `{such}`"
    asked = (
        f"; `cfgtrack isolate {subjects[0]}` tells what isolates it"
        if meant == "isolate" and subjects
        else ""
    )
    return f": say {', or '.join(_told(phrase, subjects, plant, more, call) for phrase in fit)}{asked}"


def for_command(
    words: Sequence[str], commands: Collection[str], actions: Collection[str], plant: Plant | None
) -> str:
    """Return what to call instead of a command that there isn't, by the words that stand first on the line.

    `commands` are those that there are, `actions` those of them that are actions.
    """
    _, rest = two_words(words, plant)
    said = call_for(words, actions, plant)
    told = [said.removesuffix(".")] if said else []
    told += _commands_told(meant_by(words[0]), rest, plant)
    if told:
        return f"Say {', or '.join(told)}."
    near = near_words(words[0], commands)
    return (
        f"Did you mean {' or '.join(map(repr, near))}?" if near else "`cfgtrack --help` lists the commands."
    )


def meant_commands(word: str, known: Collection[str]) -> list[str]:
    """Return the commands, of those that are known, that another word may mean: likeliest first; else near ones."""
    meant = meant_by(word)
    phrases = (*WORDS.get(meant, ()), *COMMANDS.get(meant, ()))
    named = dict.fromkeys(phrase.split()[0].rstrip(":") for phrase in phrases)
    return [one for one in named if one in known] or near_words(word, known)


def _things(named: Sequence[str], plant: Plant | None) -> list[str]:
    """Return what of that which is named is a thing of the plant: all of it where there is no plant."""
    return [one for one in named if plant is None or plant.sort_of(plant.resolve(one, ANYTHING))]


def _is_of_event(meant: str, named: Sequence[str], plant: Plant | None) -> bool:
    """Return whether a word is said of an event, as in `undo EV-7`: what is named is no thing of the plant."""
    return _may_be_of_event(meant) and bool(named) and not _things(named, plant)


def _may_be_of_event(meant: str) -> bool:
    return any("EVENT-ID" in one for one in COMMANDS.get(meant, ()))


def _commands_told(meant: str, named: Sequence[str], plant: Plant | None) -> list[str]:
    """Return the calls of the commands that a word may mean, and why: with what was named in them."""
    things = _things(named, plant)
    is_event = _is_of_event(meant, named, plant)
    told = []
    for one in COMMANDS.get(meant, ()):
        call, colon, why = one.partition(": ")
        call = _filled(call, named, things, is_event=is_event)
        told.append(f"`cfgtrack {call}`" + (f" ({why.strip()})" if colon else ""))
    if things and _may_be_of_event(meant):
        told.append(f"`cfgtrack history {shlex.quote(things[0])}` (lists the ids of its events)")
    return told


def _filled(call: str, rest: Sequence[str], things: Sequence[str], *, is_event: bool) -> str:
    """Return a call with what was named in it: `things` of it are known, all of it where there is no plant."""
    call = re.sub(r" ?\[([^]]*)\]", lambda m: f" {m[1]}" if _named(m[1], rest, things) else "", call)
    if is_event:
        return call.replace("EVENT-ID", shlex.quote(rest[0]))
    if things:
        call = re.sub(r"\b(THING|UNIT)\b", lambda _: shlex.quote(things[0]), call)
    if files := [one for one in rest if one.endswith(_SEQUENCES)]:
        call = re.sub(r"\bFILE\b|\bSEQUENCE\.toml", lambda _: shlex.quote(files[0]), call)
    if len(rest) > 1:
        call = re.sub(r"--do ACTION\b", lambda _: f"--do {shlex.quote(' '.join(rest))}", call)
    return call


def _named(optional: str, rest: Sequence[str], things: Sequence[str]) -> bool:
    return any(one.endswith(_SEQUENCES) for one in rest) if "FILE" in optional else bool(things)


def call_for(words: Sequence[str], actions: Collection[str], plant: Plant | None, call: str = "{}") -> str:
    """Return what to call for an action, in our word or another, "" for what is none; `{}` in `call` stands for it."""
    word, rest = two_words(words, plant)
    if not word and words[0].casefold() in actions:
        return f"`cfgtrack {call.format(' '.join(words))}`."
    word = word or words[0]
    meant = meant_by(word)
    if meant not in WORDS or _is_of_event(meant, rest, plant):
        return ""
    more = " ".join(rest[rest.index("by") : rest.index("by") + 2]) if "by" in rest else ""
    subjects = [one for one in rest if one not in FILLERS and one not in more.split()]
    if plant is not None:
        subjects = [plant.resolve(one, ANYTHING) for one in subjects]
    said = say_instead(word, subjects, actions, plant, more, f"cfgtrack {call}")
    return said.removeprefix("; ").removeprefix(": say ") + "."


def near_words(word: str, known: Collection[str]) -> list[str]:
    """Return the known words that are one slip from a word, or of which it is a form: capped, capping.

    What is only alike is left out, since it does something else: who would close a valve wants no cover on it.
    """
    word = word.casefold()
    formed = [stem for stem in _stems(word) if stem in known]
    slips = [one for one in known if _is_slip(word.replace("-", ""), one.replace("-", ""))]
    return list(dict.fromkeys((*formed[:1], *slips)))[:3]


def _stems(word: str) -> Iterator[str]:
    yield word
    yield word.replace("-", " ")  # a column of two words is read as one: turn-off
    if word.endswith("s"):
        yield word[:-1]
    for end in ("ed", "ing"):
        if word.endswith(end):
            stem = word.removesuffix(end)
            yield from (f"{stem}e", stem)
            if stem[-2:-1] == stem[-1:]:
                yield stem[:-1]


def _is_slip(word: str, other: str) -> bool:
    """Return whether two words differ by one letter too many, too few or changed, or by two that are swapped."""
    start = _alike(word, other)
    a, b = word[start:], other[start:]
    end = _alike(a[::-1], b[::-1])
    a, b = a[: len(a) - end], b[: len(b) - end]
    return (len(a) <= 1 and len(b) <= 1) or (len(a) == 2 and a == b[::-1])


def _alike(word: str, other: str) -> int:
    """Return how many letters two words begin with alike."""
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(word, other, strict=False)))


def _applies(verb: str, thing: str, plant: Plant) -> bool:
    """Return whether an action is one on a thing, or on a port of it."""
    if verb in _ANY:
        return True
    if (port := plant.port(thing)) is not None:
        return verb in port[1].moves
    if verb in (ac.PLACE, ac.LIFT):
        return plant.sort_of(thing) in MOVABLE
    return bool(_ports_for(verb, thing, plant))


def _ports_for(verb: str, owner: str, plant: Plant) -> list[str]:
    if not plant.has_owner(owner):
        return []
    found = []
    for name in plant.part_of(owner).ports:
        port = plant.port(f"{owner}:{name}")
        if port is not None and verb in port[1].moves:
            found.append(f"{owner}:{name}")
    return found


def _told(phrase: str, subjects: Sequence[str], plant: Plant | None, more: str, call: str) -> str:
    verb, _, of = phrase.partition(" ")
    if not subjects:
        return f"{verb} ({of})"
    ports = []
    first = subjects[0]
    if plant is not None and plant.port(first) is None and verb not in (ac.PLACE, ac.LIFT, *_ANY):
        ports = _ports_for(verb, first, plant)
        # The only valve of a unit need not be what was meant: of a booster it may be the one to its expansion.
        alone = len(ports) == 1 and verb not in _VALVES
        subjects = [ports[0] if alone else f"{first}:PORT", *subjects[1:]] if ports else subjects
    form = _FORMS.get(verb, ())
    given = [*subjects, *form[len(subjects) :]]
    words = f" {_BETWEEN.get(verb, 'to')} ".join(given) if verb not in _ANY else " ".join(given)
    listed = (
        f"; its ports for that: {', '.join(ports[:_LISTED])}" if ports and ports[0] not in subjects else ""
    )
    if ports[_LISTED:]:
        listed += " ..."
    return f"`{call.format(' '.join(filter(None, (verb, words, more))))}` ({of}{listed})"


def _none_fits(thing: str, choices: Sequence[str], plant: Plant) -> str:
    verbs = ", ".join(phrase.split()[0] for phrase in choices)
    port = plant.port(thing)
    if port is None:
        return f"; what it may mean ({verbs}) is done to ports or units of another sort than {thing}"
    return f"; {thing} is of kind {port[1].id}: it takes {', '.join(port[1].moves)}"
