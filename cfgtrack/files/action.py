"""Turns an action as people said it - a phrase, a row - into an action, looking up everything that it names."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from cfgtrack.files.trade_words import say_instead
from cfgtrack.model import action as ac
from cfgtrack.model.action import (
    BASES,
    BOOK_ACTIONS,
    DEFECT_ACTIONS,
    DEVICE_ACTIONS,
    GENERAL_ACTIONS,
    Action,
)
from cfgtrack.model.defect import CAUSES
from cfgtrack.model.event import is_of_defect, is_of_device
from cfgtrack.model.lock import LOCKABLE, holders_named, wrong_holder
from cfgtrack.model.plant import Plant
from cfgtrack.model.quantity import (
    COUNTED,
    QUANTITIES,
    BadQuantity,
    Quantity,
    dimension_of,
    parse_quantity,
)
from cfgtrack.model.unknown import (
    AMBIGUOUS,
    ANYTHING,
    CAN_FAIL,
    DOER,
    MOVABLE,
    PLACE,
    PORT,
    THING,
    UNKNOWN,
    look_up,
    no_such,
)

Note = Callable[[str, str, str], None]
"""Takes a field's name ("" for the whole), a code and a sentence."""

_TO_A_PLACE = (ac.PLACE, ac.LIFT, ac.FOUND)
_OUTING = (ac.BEGIN, ac.END)
_PORTS_LISTED = 8
_NOT_SAID = (*ac.DEFINITIONS, *ac.PLANNING, ac.APPROVE, ac.KEEP_CHECK)


class Said:
    """An action as it was said, all in texts: `said[name]` for each of `codec.TEXTS`, "" for what wasn't said.

    `values` are texts by the quantity's name.
    """

    def __init__(self, action: str = "") -> None:
        self.action = action
        self.subjects: list[str] = []
        self.values: dict[str, str] = {}
        self.texts: dict[str, str] = {}

    def __getitem__(self, name: str) -> str:
        return self.texts.get(name, "")


def actions_of(plant: Plant) -> dict[str, None]:
    """Return every action on hardware that is known: those of the kinds of port, then the general ones."""
    known = {action: None for kind in plant.kinds.values() for action in kind.moves}
    known.update(dict.fromkeys(sorted(GENERAL_ACTIONS | DEVICE_ACTIONS | DEFECT_ACTIONS)))
    return known


def by_ids(said: Said, plant: Plant) -> None:
    """Put ids for what is called otherwise, wherever only one thing can be meant."""
    if not plant.names:
        return
    wanted = _wanted(said)
    said.subjects = [plant.resolve(subject, wanted) for subject in said.subjects]
    for name, sort in (("place", PLACE), ("by", DOER)):
        if said[name]:
            said.texts[name] = plant.resolve(said[name], sort)


def _wanted(said: Said) -> tuple[str, ...]:
    """Return of which sorts the subjects of an action are."""
    action = said.action
    if action in (ac.PLACE, ac.LIFT) or (action == ac.FOUND and said["place"]):
        return MOVABLE
    if action in DEFECT_ACTIONS:
        return CAN_FAIL
    if action in DEVICE_ACTIONS:  # a port or lock box, and whose lock it is
        return THING
    return ANYTHING if action in ac.NOTES else PORT


def understood(said: Said, plant: Plant, note: Note, *, event_id: str, happened: int) -> Action | None:
    """Return the action that was said, None after noting everything in it that makes no sense in this plant."""
    noted = False

    def noting(name: str, code: str, sentence: str) -> None:
        nonlocal noted
        noted = True
        note(name, code, sentence)

    if _is_action(said, plant, noting):
        by_ids(said, plant)
        _check(said, plant, noting)
    if said["basis"] and said["basis"] not in BASES:
        noting("basis", UNKNOWN, no_such("basis", said["basis"], BASES))
    values = dict(_values(said, noting))
    if noted:
        return None
    texts: dict[str, Any] = {name: text for name, text in said.texts.items() if text}
    return Action(event_id, said.action, tuple(said.subjects), happened, values=values, **texts)


def no_such_action(said: Said, plant: Plant) -> str:
    """Return that nothing is done under the word that was said, and what to say instead of it."""
    subjects = [plant.resolve(subject, ANYTHING) for subject in said.subjects]
    more = [f"by {said['by']}"] if said["by"] else []
    more += [f'{name}="{text}"' for name, text in said.values.items()]
    told = [*subjects, said["place"]] if said["place"] else subjects
    known = actions_of(plant)
    if not plant.kinds:
        return f"there is no action {said.action}: nothing is defined here yet; `cfgtrack load FILE` defines a plant"
    return f"there is no action {said.action}" + say_instead(said.action, told, known, plant, " ".join(more))


def _is_action(said: Said, plant: Plant, note: Note) -> bool:
    action = said.action
    if action in GENERAL_ACTIONS | DEVICE_ACTIONS | DEFECT_ACTIONS | BOOK_ACTIONS:
        return True
    if any(action in kind.moves for kind in plant.kinds.values()):
        return True
    if not action:
        note("action", "missing", "say what was done, as in mate PUMP-1:F1 PANEL-A:F1")
        return False
    note("action", UNKNOWN, no_such_action(said, plant))
    return False


def _check(said: Said, plant: Plant, note: Note) -> None:
    action = said.action
    _check_extras(said, note)
    if said["place"] and (found := look_up(plant, said["place"], PLACE)).code:
        note("place", found.code, found.why)
    if said["by"] and (found := look_up(plant, said["by"], DOER)).code == AMBIGUOUS:
        note("by", found.code, found.why)
    if action in (ac.PLACE, ac.LIFT) or (action == ac.FOUND and said["place"]):
        _check_thing(said, plant, note)
    elif action in ac.NOTES:
        _check_anything(said, plant, note)
    elif is_of_device(plant, said):
        _check_device(said, plant, note)
    elif is_of_defect(plant, said):
        _check_defect(said, plant, note)
    elif action in _OUTING:
        if not said["outing"]:
            note("outing", "missing", f"say which outing, as in {action} outing-1")
        if said.subjects:
            note("subject", "subjects", f"{action} takes no unit or port, {' '.join(said.subjects)} given")
    elif action in _NOT_SAID:
        note("action", "unexpected", f"{action} is made of more than words: it has a command of its own")
    elif action not in BOOK_ACTIONS:
        _check_ports(said, plant, note)
    _check_texts(said, note)


def _check_extras(said: Said, note: Note) -> None:
    """Note what is given but means nothing for the action: it would be lost."""
    if said["place"] and said.action not in _TO_A_PLACE:
        note("place", "unexpected", f"{said.action} takes no place, {said['place']} given")
    if said["facing"] and not (said["place"] or said.action in (ac.PLACE, ac.LIFT)):
        note("facing", "unexpected", f"facing {said['facing']}, but no place is given")
    if said["bars"] and said.action not in DEFECT_ACTIONS:
        note("bars", "unexpected", f"{said.action} bars nothing, {said['bars']} given")
    if said["status"] and said.action != ac.FOUND and said.action not in DEFECT_ACTIONS:
        note("status", "unexpected", f"{said.action} takes no status, {said['status']} given")
    if said["status"] and said["place"]:
        note("status", "unexpected", "as-found takes a status or a place, not both: make it two")


def _check_texts(said: Said, note: Note) -> None:
    if said.action == ac.REMARK and not said["remark"]:
        about = said.subjects[0] if said.subjects else "PUMP-1"
        note("remark", "missing", f'remark needs its text, as in remark {about} "pin 3 is bent"')
    if said.action == ac.MEASURE and not said.values:
        note("values", "missing", "measure needs a value, as in pressure=12 bar")
    if said.action == ac.WITHDRAW and not said["withdraws"]:
        note("withdraws", "missing", "withdraw needs the id of the event that it withdraws")
    if said.action == ac.EXPLAIN and not said["explains"]:
        note("explains", "missing", "explain needs the id of the event that it explains")
    if said.action == ac.SKIP and not said["step"]:
        note("step", "missing", "skip needs the step that is left out, as in skip 2V-07")
    if said.action == ac.ACKNOWLEDGE and not said["acknowledges"]:
        note("acknowledges", "missing", "acknowledge needs the fingerprints of the findings that it is of")


def _check_thing(said: Said, plant: Plant, note: Note) -> None:
    if len(said.subjects) != 1:
        found = " ".join(said.subjects) or "nothing"
        note("subject", "subjects", f"{said.action} takes one unit and one place, {found} given as the unit")
    sorts = [plant.sort_of(one) for one in (*said.subjects, said["place"])]
    if said.action == ac.PLACE and sorts in (["place", "unit"], ["mobile place", "unit"]):
        told = f"say first what is placed, then where: place {said['place']} at {said.subjects[0]}"
        note("subject", "subjects", told)
    _note_unknown(said, plant, note, MOVABLE)
    if said.action != ac.LIFT and not said["place"]:
        note("place", "missing", "say where, as in place PUMP-1 at BAY-1")


def _check_anything(said: Said, plant: Plant, note: Note) -> None:
    if not said.subjects:
        note("subject", "subjects", f"{said.action} takes a unit, port or place, none given")
    _note_unknown(said, plant, note, ANYTHING)


def _check_device(said: Said, plant: Plant, note: Note) -> None:
    if not said.subjects:
        note("subject", "subjects", f"{said.action} takes {LOCKABLE}, none given")
        return
    thing, *holders = said.subjects
    if (found := look_up(plant, thing, ANYTHING)).code:
        note("subject", found.code, found.why)
    wanted = holders_named(said.action)
    if len(holders) > wanted or (wanted == 2 and len(holders) < wanted):
        form = f"transfer {thing} from ANN to BEN" if wanted == 2 else f"{said.action} {thing} by ANN"
        note("subject", "subjects", f"{said.action} is of one thing and one lock or tag, as in {form}")
    # Whose lock is on it already is looked up there.
    for holder in holders[-1:] if said.action in (ac.LOCK, ac.TAG, ac.TRANSFER) else ():
        if why := wrong_holder(plant, holder):
            note("subject", UNKNOWN, why)


def _check_defect(said: Said, plant: Plant, note: Note) -> None:
    form = f"{said.action} release PUMP-1:B1{' seized' if said.action == ac.DEFECT else ''}"
    if not said.subjects:
        note("subject", "subjects", f"{said.action} takes a port, unit or place, none given, as in {form}")
    elif len(said.subjects) > 2:
        note("subject", "subjects", f"{said.action} takes one thing, or two halves, as in {form}")
    elif said.action == ac.DEFECT and not said["status"]:
        note("status", "missing", f"say what is wrong, as in {form}: {', '.join(CAUSES)}, or your own words")
    if said["bars"] and said["bars"] not in (known := actions_of(plant)):
        told = say_instead(said["bars"], said.subjects, known, plant, "", f"{said.action} {{}}")
        note("bars", UNKNOWN, f"there is no action {said['bars']}{told}")
    _note_unknown(said, plant, note, CAN_FAIL)


def _check_ports(said: Said, plant: Plant, note: Note) -> None:
    if not 1 <= len(said.subjects) <= 2:
        found = " ".join(said.subjects) or "none"
        note("subject", "subjects", f"{said.action} takes one port or two, {found} given")
    _note_unknown(said, plant, note, PORT)
    for subject in said.subjects:
        port = plant.port(subject)
        if port is not None and said["status"] and said["status"] not in port[1].statuses:
            what = no_such("status", said["status"], port[1].statuses)
            what += f" ({port[1].legend})" if port[1].legend else ""
            note("status", UNKNOWN, f"{subject}: {what}")
    if said.action == ac.FOUND and not said["status"]:
        note("status", "missing", "say what was found, as in as-found PUMP-1:F2 capped")


def _note_unknown(said: Said, plant: Plant, note: Note, wanted: tuple[str, ...]) -> None:
    for subject in said.subjects:
        if (found := look_up(plant, subject, wanted)).code:
            note("subject", found.code, found.why + _meant(subject, wanted, plant))


def _meant(subject: str, wanted: tuple[str, ...], plant: Plant) -> str:
    """Return what may be meant by what isn't there or is of another sort: the port of that name, the port's unit."""
    owner, colon, name = subject.partition(":")
    if colon and "unit" in wanted and plant.sort_of(subject) == "port":
        return f"; {owner} is the {plant.sort_of(owner)} that it is on"
    if colon or "port" not in wanted or plant.sort_of(subject):
        return ""
    owner, _, name = subject.rpartition(".")
    owners = (owner,) if owner else tuple(plant.owners())
    named = name if owner else subject
    meant = [f"{one}:{named}" for one in owners if plant.port(f"{one}:{named}")]
    return f"; a port is written {', '.join(meant[:_PORTS_LISTED])}" if meant else ""


def _values(said: Said, note: Note) -> Iterator[tuple[str, Quantity]]:
    for name, text in said.values.items():
        if name not in QUANTITIES:
            note("", UNKNOWN, no_such("quantity", name, QUANTITIES))
            continue
        if name in COUNTED:
            note(name, "counted", COUNTED[name])
            continue
        try:
            yield name, parse_quantity(text, dimension=dimension_of(name))
        except BadQuantity as err:
            note(name, "bad-quantity", str(err))
