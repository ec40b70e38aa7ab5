"""Locks and tags: whose hang on what, what they bar, and who takes them off again.

After 29 CFR 1910.147, the control of hazardous energy; its paragraphs stand beside what rests on them. What isn't
taken from there: a lock holds what is shut, off, parted or covered, and keeps it from being opened, energised, mated or
uncovered, while nothing keeps it from being made safe; what lets a medium through (a valve, a switch, a connector or
coupling), and a cover, takes locks, any port and any lock box takes tags. A contact's are its shell's. Nothing here
says what is possible: `possibility` does, and asks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action, Objection
from cfgtrack.model.configuration import Configuration, View
from cfgtrack.model.event import DEFECT_OF, LOCK_OF, TAG_OF, is_of_device
from cfgtrack.model.kind import Kind
from cfgtrack.model.plant import HOLD, Plant, port_of
from cfgtrack.model.presence import not_a_doer
from cfgtrack.model.time import Instant, format_instant


@dataclass(frozen=True, slots=True)
class Device:
    """A lock, or a tag, as it hangs on a `thing` since an instant. `holder`: whose it is, a person or a lock box.

    `event` put it there.
    """

    thing: str
    holder: str
    since: Instant
    event: str
    is_tag: bool = False

    @property
    def what(self) -> str:
        """Whose it is, and what."""
        return f"{self.holder}'s {'tag' if self.is_tag else 'lock'}"


LOCKABLE = "a valve, switch, connector, cover or lock box"
"""What takes locks, in words."""


def holders_named(action: str) -> int:
    """Return how many say whose a lock or tag is: who hands his over names who takes it, too."""
    return 2 if action == ac.TRANSFER else 1


# --- what hangs where ------------------------------------------------------------------------------------------------


def devices_on(view: View, thing: str) -> list[Device]:
    """Return the locks and tags on a port or lock box, of a contact those on its shell; which hang longest first."""
    thing, found = port_of(thing), []
    for one in view.devices_on(thing):
        if one.aspect.startswith(DEFECT_OF):
            continue
        is_tag = one.aspect.startswith(TAG_OF)
        holder = one.aspect.removeprefix(TAG_OF if is_tag else LOCK_OF)
        found.append(Device(thing, holder, int(one.value), one.other or "", is_tag))
    return sorted(found, key=lambda one: (one.since, one.is_tag, one.holder))


def locks_on(view: View, thing: str) -> list[Device]:
    """Return the locks on a port or lock box, those that hang there longest first."""
    return [one for one in devices_on(view, thing) if not one.is_tag]


def tags_on(view: View, thing: str) -> list[Device]:
    """Return the tags on a port or lock box, those that hang there longest first."""
    return [one for one in devices_on(view, thing) if one.is_tag]


def all_devices(now: Configuration) -> list[Device]:
    """Return every lock and tag that hangs anywhere, by what they hang on."""
    return [one for thing in sorted(now.with_devices()) for one in devices_on(now, thing)]


def devices_of(now: Configuration, holder: str) -> list[Device]:
    """Return the locks and tags of a person or lock box, by what they hang on."""
    return [one for one in all_devices(now) if one.holder == holder]


def could_be_done(view: View, thing: str, by: str | None) -> Iterator[tuple[str, str]]:
    """Yield what may be worth a try with a port or lock box: an action, and whose lock or tag.

    Whatever hangs there comes off; who is named can put on his own, or that of a box.
    """
    plant = view.plant
    if plant.port(thing) is None and not is_box(plant, thing):
        return
    for one in devices_on(view, thing):
        yield (ac.UNTAG if one.is_tag else ac.UNLOCK), one.holder
    if by and takes_locks(plant, thing):
        yield ac.LOCK, by
        yield ac.TAG, by
        boxes = (
            *plant.places,
            *(unit.id for unit in plant.units.values() if plant.parts[unit.part].lock_box),
        )
        yield from ((ac.LOCK, box) for box in boxes if is_box(plant, box))


def protected_by(now: Configuration, box: str) -> dict[str, None]:
    """Return all on which a lock box has a lock, and what the boxes among that have locked."""
    found: dict[str, None] = {}
    queue = [box]
    while queue:
        things = [one.thing for one in devices_of(now, queue.pop()) if one.thing not in found]
        found.update(dict.fromkeys(things))
        queue += [thing for thing in things if is_box(now.plant, thing)]
    return found


def holders_over(view: View, thing: str) -> dict[str, None]:
    """Return whose locks keep a thing locked: those on it, and, for that of a lock box, those on the box."""
    found: dict[str, None] = {}
    queue = [thing]
    while queue:
        holders = [one.holder for one in locks_on(view, queue.pop()) if one.holder not in found]
        found.update(dict.fromkeys(holders))
        queue += [holder for holder in holders if is_box(view.plant, holder)]
    return found


# --- what can be locked, and what that bars --------------------------------------------------------------------------


def is_box(plant: Plant, owner: str) -> bool:
    """Return whether a unit or place is a group lock box, as its definition, or its part's, says."""
    place = plant.places.get(owner)
    return (place is not None and place.lock_box) or (
        plant.has_owner(owner) and plant.part_of(owner).lock_box
    )


def takes_locks(plant: Plant, thing: str) -> bool:
    """Return whether a lock can hang on a thing: a lock box, or a port with something to be barred.

    (b): what holds an energy isolating device, a blank flange or slip blind too: so a coupling that is capped or parted
    takes one. What holds a thing in its place (a bolt, a grip) lets no energy through.
    """
    found = plant.port(thing)
    if found is None:
        return is_box(plant, thing)
    kind = found[1]
    barred = len(kind.statuses) - 1 if kind.carries is None else kind.rank(kind.carries)
    return barred > 0 and kind.medium != HOLD


def is_safe(kind: Kind, status: str) -> bool:
    """Return whether a lock can hold a port of this kind where it is: shut, off, parted, or covered.

    (d)(4)(ii): lockout devices hold what they are on in a "safe" or "off" position. What carries nothing, and never
    does, is safe anywhere but at the bottom of its ladder: a cover that is fitted.
    """
    return kind.rank(status) > 0 if kind.carries is None else not kind.is_carrying(status)


def frees(kind: Kind, status: str, target: str) -> bool:
    """Return whether a move from a status to another is what a lock is to keep from happening.

    A valve is opened, a cover taken off; a half goes any step from its cap towards carrying.
    """
    if kind.carries is None:
        return kind.rank(target) < kind.rank(status)
    return kind.is_carrying(target) if kind.joined is None else kind.rank(target) > kind.rank(status)


def bars(view: View, port: str, target: str) -> tuple[Device, ...]:
    """Return the locks that keep a port from being moved to a status: energised, opened, mated or uncovered.

    (b), lockout: what is locked can't be operated until the lock is removed; the last of them, where there are several.
    """
    found = view.plant.port(port)
    if found is None or not frees(found[1], view.state(port).value, target):
        return ()
    return tuple(locks_on(view, port))


def warnings(view: View, action: Action) -> Iterator[str]:
    """Yield what is tagged of the things that an action opens, energises, mates or uncovers: a tag forbids it, no more.

    (d)(4)(iii): tagout devices indicate that operation or movement from the "safe" or "off" position is prohibited.
    """
    for subject in action.subjects:
        found = view.plant.port(subject)
        move = found[1].moves.get(action.action) if found is not None else None
        if move is not None and found is not None and frees(found[1], view.state(subject).value, move.target):
            for one in tags_on(view, subject):
                yield f"{subject} is tagged, {action.action} is prohibited: {told(view, one)}"


def told(view: View, device: Device) -> str:
    """Return in words whose lock or tag this is, since when, and what takes it off."""
    return f"{device.what}, on since {format_instant(device.since)}, {_comes_off(view, device)}"


def _comes_off(view: View, device: Device) -> str:
    if not is_box(view.plant, device.holder):
        return f"comes off by {device.holder} alone"
    people = [one.holder for one in locks_on(view, device.holder)]
    if not people:
        return f"comes off now that no lock is on {device.holder}"
    theirs = "theirs" if len(people) > 1 else "his"
    return f"comes off once {_all_of(people)} {'have' if len(people) > 1 else 'has'} taken {theirs} off {device.holder}"


def _all_of(names: list[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


# --- putting on, handing over, taking off ----------------------------------------------------------------------------


def with_holder(plant: Plant, action: Action) -> Action:
    """Return an action that names whose lock or tag it is: the doer's own where nobody else is named."""
    own = (ac.LOCK, ac.UNLOCK, ac.TAG, ac.UNTAG)
    if action.action in own and len(action.subjects) == 1 and action.by and is_of_device(plant, action):
        return replace(action, subjects=(*action.subjects, action.by))
    return action


def wrong_holder(plant: Plant, name: str) -> str:
    """Return why nobody of this name can have a lock, "" when somebody can."""
    if is_box(plant, name):
        return ""
    if plant.has_sites:
        return not_a_doer(plant, name)
    sort = plant.sort_of(name)
    if sort and sort != "mobile place":
        return f"{name} is a {sort}, not a person or a lock box"
    if ":" in name or len(name.split()) != 1:
        return f"a person's name is one word, as in ANN, not '{name}'"
    return ""


def objections(view: View, action: Action) -> Iterator[Objection]:
    """Yield why a lock or tag can't be put on, handed over or taken off; its thing and its holders are known."""
    thing, *holders = action.subjects
    for holder in holders:
        if holder == thing:
            yield Objection("same", f"{holder}'s own lock can't be on {holder} itself", thing)
            return
    match action.action:
        case ac.LOCK | ac.TAG:
            yield from _put_on(view, action, *holders)
        case ac.TRANSFER:
            yield from _handed_over(view, action, *holders)
        case _:
            yield from _taken_off(view, action, *holders)


def _put_on(view: View, action: Action, holder: str) -> Iterator[Objection]:
    """(d)(4)(i), (f)(3)(ii)(D): everybody puts on his own, a box's is put on by whoever does it."""
    thing, is_tag = action.subjects[0], action.action == ac.TAG
    what = "tag" if is_tag else "lock"
    yield from _not_own(view, action, holder)
    if is_tag and is_box(view.plant, holder):
        yield Objection("kind", f"{holder} is a lock box: a tag is somebody's own", holder)
    there = _find(view, thing, holder, is_tag=is_tag)
    if there is not None:
        yield Objection("already", f"{holder}'s {what} is on {thing} already", thing, there.event)
    port = view.plant.port(thing)
    if is_tag or port is None:
        if port is None and not is_tag and thing in _keeping_shut(view, holder):
            yield Objection("same", f"{thing}'s own lock keeps {holder} shut: neither could be opened", thing)
        return
    state = view.state(thing)
    if not is_safe(port[1], state.value):
        safe = [port[1].says(status) for status in port[1].statuses if is_safe(port[1], status)]
        sentence = f"{thing} is {port[1].says(state.value)}: a lock holds what is {' or '.join(safe)}"
        yield Objection("not-safe", sentence, thing, state.event)


def _keeping_shut(view: View, holder: str) -> dict[str, None]:
    """Return whose locks keep a lock box shut, nothing for a person."""
    return holders_over(view, holder) if is_box(view.plant, holder) else {}


def _taken_off(view: View, action: Action, holder: str) -> Iterator[Objection]:
    """(e)(3): by who put it on; by another, under the employer's direction, only when he isn't there to do it.

    (f)(3): what a box's lock is on stays locked while anybody's own is on the box.
    """
    thing, by = action.subjects[0], action.by
    if action.action == ac.CUT:
        found = _find(view, thing, holder, is_tag=False) or _find(view, thing, holder, is_tag=True)
        if by == holder:
            yield Objection("not-yours", f"{holder} is there to take it off: unlock {thing}", thing)
        if not action.reason:
            yield Objection("reason", "cut needs a reason: why isn't its owner there to take it off?", thing)
    else:
        found = _find(view, thing, holder, is_tag=action.action == ac.UNTAG)
        if found is not None or not _others(view, action):
            yield from _not_own(view, action, holder)
    if found is None:
        yield _none_there(view, action, holder)
    elif is_box(view.plant, holder) and (people := locks_on(view, holder)):
        on_it = "; ".join(told(view, one) for one in people)
        sentence = f"{holder}'s lock stays on {thing} while {holder} is locked: {on_it}"
        yield Objection("boxed", sentence, thing, people[0].event)


def _handed_over(view: View, action: Action, before: str, after: str) -> Iterator[Objection]:
    """(f)(4): from who goes to who comes, both at once, so that it is locked all the time."""
    thing = action.subjects[0]
    boxes = [one for one in (before, after) if is_box(view.plant, one)]
    if boxes:
        sentence = f"{boxes[0]} is a lock box: only a person's lock is transferred, to another person"
        yield Objection("kind", sentence, boxes[0])
        return
    if before == after:
        yield Objection("same", f"{before} can't transfer a lock to himself: name the other person", thing)
        return
    found = _find(view, thing, before, is_tag=False)
    if found is None:
        yield _none_there(view, action, before)
    else:
        yield from _not_own(view, action, before)
    there = _find(view, thing, after, is_tag=False)
    if there is not None:
        sentence = f"{after}'s lock is on {thing} already: {before} can take the other off"
        yield Objection("already", sentence, thing, there.event)


def _not_own(view: View, action: Action, holder: str) -> Iterator[Objection]:
    if action.by is None or action.by == holder or is_box(view.plant, holder):
        return
    thing, is_tag = action.subjects[0], action.action in (ac.TAG, ac.UNTAG)
    found = _find(view, thing, holder, is_tag=is_tag)
    if action.action in (ac.LOCK, ac.TAG):
        sentence = (
            f"{action.by} can't put on {holder}'s {'tag' if is_tag else 'lock'}: everybody puts on his own"
        )
    else:
        what = told(view, found) if found is not None else f"{holder}'s, not {action.by}'s"
        first = f"lock {thing} by whoever comes, then " if action.action == ac.TRANSFER else ""
        sentence = (
            f"{thing}: {what}. Where {holder} isn't there and the employer has it taken off:"
            f" {first}cut {thing} from {holder} by {action.by} reason=..."
        )
    yield Objection("not-yours", sentence, thing, found.event if found is not None else None)


def _others(view: View, action: Action) -> list[Device]:
    """Return what hangs there of the sort that an action is about."""
    devices = tags_on if action.action == ac.UNTAG else locks_on
    return devices(view, action.subjects[0])


def _none_there(view: View, action: Action, holder: str) -> Objection:
    thing, what = action.subjects[0], "tag" if action.action == ac.UNTAG else "lock"
    there = _others(view, action)
    others = "; ".join(told(view, one) for one in there) or "nobody's is"
    return Objection(
        "no-lock", f"no {what} of {holder} is on {thing}: {others}", thing, there[0].event if there else None
    )


def _find(view: View, thing: str, holder: str, *, is_tag: bool) -> Device | None:
    hung: Iterable[Device] = devices_on(view, thing)
    return next((one for one in hung if one.holder == holder and one.is_tag == is_tag), None)
