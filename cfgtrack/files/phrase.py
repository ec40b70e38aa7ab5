"""Action phrases: an action in the words of the trade, as on the command line and in a sequence's steps.

    ACTION SUBJECT [SUBJECT] [filler words] [name=value ...]

    mate PUMP-1:F1 to PANEL-A:F1          torque PUMP-1:B1 torque="25 N*m"
    place PUMP-2 at BAY-1 facing up       lift PUMP-1 by CRANE-1
    lock PANEL-A:V1 by ANN                transfer PANEL-A:V1 from ANN to BEN
    as-found PUMP-1:F2 mated to PANEL-B:F1
    defect release PUMP-1:B1 seized       rectify release PUMP-1:B1
    defect mate PUMP-2:F1 to PANEL-A:F1 stuck

Filler words (to, on, at, from, with, and, in, by, is) make it readable; `by` also names who did it, but in a lift
the first names who or what it then hangs on: `lift PUMP-1 by CRANE-1 by ANN`. A breaker that is found on is on.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator, Sequence

from cfgtrack.files.action import Note, Said, actions_of, understood
from cfgtrack.files.trade_words import WORDS, meant_by, two_words
from cfgtrack.model import action as ac
from cfgtrack.model.action import Action, device_words
from cfgtrack.model.codec import TEXTS
from cfgtrack.model.naming import FILLERS
from cfgtrack.model.plant import Plant
from cfgtrack.model.quantity import DIMENSIONS, NEVER_NEGATIVE, QUANTITIES, as_written
from cfgtrack.model.trouble import BadInput, Problems, or_no_answer
from cfgtrack.model.unknown import ANYTHING, PLACE, PORT, THING, UNKNOWN

_SETTINGS = frozenset(TEXTS) - {"supersedes"}
_SETTING = re.compile(r"([a-z][a-z-]*)=(.*)", re.DOTALL)
_SAFE = re.compile(r"[A-Za-z0-9._/+:@%,=-]+")
_VALUE = re.compile(r"[+-]?[\d.]*\d([ ,.]|$)|[+-]?\d[\d.]* ?[a-zA-Z*]+$")
_CAUSE = re.compile(r"[a-z][a-z' -]*")
_ABOUT = {
    ac.BEGIN: "outing",
    ac.END: "outing",
    ac.WITHDRAW: "withdraws",
    ac.EXPLAIN: "explains",
    ac.SKIP: "step",
}
_AT = frozenset(("at", "in", "on", "into", "onto"))
_APART = frozenset(("demate", "release", "let-go"))


def parse_phrase(
    words: Sequence[str],
    plant: Plant,
    *,
    id: str = "",  # noqa: A002 - the event's own name for it
    happened: int = 0,
    where: str = "action",
) -> Action:
    """Return the action that the words say, with the given id and time.

    `where` stands before each problem, as its author knows the place. Raises BadInput with all of them, or
    NoAnswer: see `or_no_answer`.
    """
    problems = Problems()
    row = " ".join(quoted(word) for word in words)

    def note(name: str, code: str, sentence: str) -> None:
        is_thing = code == UNKNOWN and name in ("subject", "place")
        problems.add(where, code, sentence, row=row or None, thing=is_thing)

    said = _said([word for word in words if word], plant, note)
    event = understood(said, plant, note, event_id=id, happened=happened)
    for name, quantity in event.values.items() if event else ():
        if quantity.value < 0 and name in NEVER_NEGATIVE:
            note(name, "bad-quantity", f"{name} is never below zero, found {quantity}")
    if event is None or problems:
        raise or_no_answer(BadInput(problems.found))
    return event


def split_phrase(text: str) -> list[str]:
    """Return the words of a phrase that is written as one text, quoted as in a shell. ValueError if unclosed."""
    return shlex.split(text)


def read_settings(text: str, note: Note) -> dict[str, str]:
    """Return the settings of a text such as `torque="25 N*m" pressure="2 bar"`, noting what is none."""
    found: dict[str, str] = {}
    try:
        words = split_phrase(text)
    except ValueError:
        note("values", "syntax", f"a quote is opened and never closed: {text}")
        return found
    for word in words:
        setting = _SETTING.fullmatch(word)
        if setting is None:
            note("values", "syntax", f'expected such as torque="25 N*m", found {word}')
        elif setting[1] in found:
            note("values", "duplicate", f"{setting[1]} is given twice")
        else:
            found[setting[1]] = setting[2]
    return found


def phrase(action: Action) -> str:
    """Return the phrase that says an action: its subjects, destination, finding and values.

    `parse_phrase` reads it back, save for `define` and `approve`, which are made of more than words.
    """
    return " ".join(_words(action))


def _words(action: Action) -> Iterator[str]:
    yield "let go" if action.action == "let-go" else action.action
    subjects = list(action.subjects)
    if action.action in (ac.BEGIN, ac.END):
        yield quoted(action.outing) if action.outing else ""
    elif action.action == ac.FOUND:
        yield from _found_words(action)
    elif action.action in ac.DEVICE_ACTIONS and not any(":" in one for one in subjects[1:]):
        yield from map(quoted, device_words(action)[1:])
        if action.action == ac.CUT and action.reason:
            yield f"reason={quoted(action.reason)}"
    elif action.action in ac.DEFECT_ACTIONS and (action.status or action.bars):
        yield from _defect_words(action)
    elif action.action in ac.BOOK_ACTIONS:
        yield from map(quoted, (action.acknowledges or "").split())
        about = (action.withdraws, action.explains, action.step if action.action == ac.SKIP else None)
        yield from (quoted(one) for one in (*about, *subjects) if one)
        if action.reason:
            yield f"reason={quoted(action.reason)}"
    else:
        between = _between(action.action)
        yield from f" {between} ".join(subjects).split() if between else subjects
    if action.action in (ac.PLACE, ac.LIFT) and action.place:
        yield from ("at" if action.action == ac.PLACE else "by", action.place)
        if action.facing:
            yield from ("facing", quoted(action.facing))
    if action.action == ac.REMARK:
        yield quoted(action.remark or "")
        return
    for name, quantity in action.values.items():
        yield f"{name}={quoted(as_written(quantity))}"


def _between(action: str) -> str:
    if action in ac.NOTES:
        return ""
    return "from" if action in _APART else "to"


def _found_words(action: Action) -> Iterator[str]:
    yield from action.subjects[:1]
    if action.place:
        yield from ("at", action.place)
        if action.facing:
            yield from ("facing", quoted(action.facing))
    elif action.status:
        yield action.status
        if len(action.subjects) == 2:
            yield from ("to", action.subjects[1])


def _defect_words(action: Action) -> Iterator[str]:
    if action.bars:
        yield action.bars
    yield from " to ".join(action.subjects).split()
    cause = action.status or ""
    if _CAUSE.fullmatch(cause) and cause not in FILLERS:
        yield quoted(cause)
    elif cause:
        yield f"status={quoted(cause)}"


def quoted(text: str) -> str:
    """Return a word written so that both a shell and `split_phrase` read it as one."""
    if _SAFE.fullmatch(text):
        return text
    return shlex.quote(text) if set(text) & set('"\\$`!') else f'"{text}"'


def _said(words: list[str], plant: Plant, note: Note) -> Said:
    said, rest = _action(words, plant)
    if said.action == ac.REMARK:
        said.subjects, said.texts["remark"] = rest[:1], " ".join(rest[1:])
        return said
    if said.action in ac.DEFECT_ACTIONS:
        said.texts["bars"], rest = _barred(rest, plant)
    before = ""
    waiting = iter(rest)
    for word in waiting:
        setting = None if plant.names.meant(word, ANYTHING) else _SETTING.fullmatch(word)
        if setting is not None:
            _set(said, setting[1], setting[2], note)
        elif word == "facing":
            _set(said, word, next(waiting, ""), note)
        elif word in FILLERS and not _is_found(said, word, plant) and not _is_why(said, word):
            before = word
        else:
            _operand(said, word, before, plant, note)
            before = ""
    return said


def _action(words: list[str], plant: Plant) -> tuple[Said, list[str]]:
    """Return the action, which may be written as two words (`let go`), and the words that follow it."""
    two = "-".join(words[:2]).lower()
    if len(words) > 1 and two in actions_of(plant):
        return Said(action=two), words[2:]
    if words:
        other, rest = two_words(words, plant)  # refused, with what to say instead
        if other:
            return Said(action=other), rest
    return Said(action=words[0].lower() if words else ""), words[1:]


def _set(said: Said, name: str, value: str, note: Note) -> None:
    if not value.strip():
        note(name, "missing", f"{name} has no value")
    elif name not in _SETTINGS:
        if name in said.values:
            note(name, "duplicate", f"{name} is given twice")
        said.values[name] = value
    elif said[name]:
        note(name, "duplicate", f"{name} is given twice: {said[name]} and {value}")
    else:
        said.texts[name] = value


def _is_found(said: Said, word: str, plant: Plant) -> bool:
    """Return whether a word is the status in which a port was found, though it could be a filler: on."""
    if said.action != ac.FOUND or not said.subjects or said["status"]:
        return False
    return _is_status(said, word, plant)


def _barred(rest: list[str], plant: Plant) -> tuple[str, list[str]]:
    """Return which action a defect bars, "" where none is said, and the words that follow it."""
    action, after = _action(rest, plant)
    if not after:
        return "", rest
    if action.action not in actions_of(plant):
        is_other = meant_by(action.action) in WORDS and not _is_thing(rest[0], plant)
        return (action.action, after) if is_other and _is_thing(after[0], plant) else ("", rest)
    return (
        (action.action, after) if _is_thing(after[0], plant) or not _is_thing(rest[0], plant) else ("", rest)
    )


def _is_thing(word: str, plant: Plant) -> bool:
    return ":" in word or bool(plant.names.meant(word, THING)) or bool(plant.sort_of(word))


def _is_why(said: Said, word: str) -> bool:
    """Return whether a filler word is one of those that say what is wrong: not at their beginning, and never who."""
    return said.action in ac.DEFECT_ACTIONS and bool(said["status"]) and word != "by"


def _is_status(said: Said, word: str, plant: Plant) -> bool:
    """Return whether a word is a status of the port that was found so."""
    port = plant.port(plant.resolve(said.subjects[0], PORT))
    return port is not None and word in port[1].statuses


def _is_a_place(said: Said, word: str, before: str, plant: Plant) -> bool:
    """Return whether a word says where a thing was found, and not in which status: ids are meant first."""
    if before in _AT or word in plant.places:
        return True
    return not _is_status(said, word, plant) and bool(plant.names.meant(word, PLACE))


def _is_port(word: str, plant: Plant) -> bool:
    """Return whether a word with a colon is a port: an alias of a place may have one, too."""
    return ":" in word and (bool(plant.port(word)) or not plant.names.meant(word, PLACE))


def _operand(said: Said, word: str, before: str, plant: Plant, note: Note) -> None:
    """Take in a word that is no filler and no setting, by the action and the filler `before` it."""
    action = said.action
    if action == ac.ACKNOWLEDGE:
        said.texts["acknowledges"] = f"{said['acknowledges']} {word}".strip()
    elif action in _ABOUT:
        _set(said, _ABOUT[action], word, note)
    elif action in ac.DEFECT_ACTIONS and before != "by" and said.subjects:
        is_mate = said["bars"] and not said["status"] and len(said.subjects) == 1 and _is_thing(word, plant)
        if is_mate:
            said.subjects.append(word)
        else:
            said.texts["status"] = f"{said['status']} {word}".strip()
    elif before == "by" and not (action == ac.LIFT and said.subjects and not said["place"]):
        _set(said, "by", word, note)
    elif action in (ac.PLACE, ac.LIFT) and said.subjects:
        if before == "from":
            sentence = f"say only where it goes; where it is, is known: leave out 'from {word}'"
            note("place", "unexpected", sentence)
        else:
            _set(said, "place", word, note)
    elif action == ac.FOUND and said.subjects and not _is_port(word, plant):
        _set(said, "place" if _is_a_place(said, word, before, plant) else "status", word, note)
    elif action == ac.TRANSFER and before == "from" and len(said.subjects) == 2:
        said.subjects.insert(1, word)
    else:
        _subject(said, word, plant, note)


def _subject(said: Said, word: str, plant: Plant, note: Note) -> None:
    """Take in what an action is done to; a value without its name is none."""
    is_of_value = said.action in QUANTITIES or said.action == ac.MEASURE
    if is_of_value and _VALUE.match(word) and not _is_thing(word, plant):
        name = said.action if said.action in QUANTITIES else "pressure"
        such = DIMENSIONS[QUANTITIES[name]][1]
        note(
            "values",
            "unexpected",
            f'a value is said with its name and unit, as in {name}="{such}", found {word}',
        )
    else:
        said.subjects.append(word)
