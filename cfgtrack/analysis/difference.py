"""What differs between two configurations: statuses and mates, places, last values, mate cycles."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any, ClassVar

from cfgtrack.model.configuration import Configuration, State
from cfgtrack.model.defect import Defect, defects_on
from cfgtrack.model.event import LOCK_OF, TAG_OF, Effect, defect_aspect, is_reading
from cfgtrack.model.part import InternalLink, Port
from cfgtrack.model.plant import Plant


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs. None: the thing, or its value, is not there on that side.

    `aspect` is ``part`` (of a unit that came, was retired or is another part), ``link`` (inside a part: one that is on
    one side alone), ``defined`` (of a part that was revised, its ports and nodes), ``status`` (the other side: the
    mate), ``place`` (the other side: the facing), ``cycles``, ``lock`` or ``tag`` (whose is on it),
    ``defect`` (what can't be done, and why), or the name of a measured quantity (in SI units; the other side: the unit
    that the user wrote). `event` is the one that wrote the later state, where there is one. `words_before`,
    `words_after`: what a port's kind calls its statuses.
    """

    untold: ClassVar[tuple[str, ...]] = ("words_before", "words_after")

    subject: str
    aspect: str
    before: str | float | None
    after: str | float | None
    before_other: str | None = None
    after_other: str | None = None
    event: str | None = None
    words_before: str = field(default="", compare=False)
    words_after: str = field(default="", compare=False)


def difference(before: Configuration, after: Configuration) -> list[Difference]:
    """Return what differs, sorted by subject. The two may belong to different plants: what one lacks is
    None there.
    """
    rows = [
        *_units(before.plant, after.plant),
        *_parts(before.plant, after.plant),
        *_states(before, after),
        *_cycles(before, after),
        *_devices(before, after),
        *_defects(before, after),
        *_values(before, after),
    ]
    return sorted(rows, key=lambda row: (row.subject, row.aspect, str(row.before), str(row.after)))


def _units(before: Plant, after: Plant) -> Iterator[Difference]:
    """Yield the units that are of the plant on one side only, or of another part."""
    for unit in before.units.keys() | after.units.keys():
        old, new = before.units.get(unit), after.units.get(unit)
        if old is None or new is None or old.part != new.part:
            yield Difference(unit, "part", old.part if old else None, new.part if new else None)


def _parts(before: Plant, after: Plant) -> Iterator[Difference]:
    """Yield what was revised of the parts that both plants have."""
    for name in before.parts.keys() & after.parts.keys():
        old, new = before.parts[name], after.parts[name]
        if old is new or old == new:
            continue
        was, now = ({link_text(link) for link in part.links} for part in (old, new))
        yield from (Difference(name, "link", link, None) for link in was - now)
        yield from (Difference(name, "link", None, link) for link in now - was)
        yield from _defined(name, old, new, besides=("links", "ports", "nodes"))
        for side in ("ports", "nodes"):
            theirs, ours = getattr(old, side), getattr(new, side)
            for inside in theirs.keys() | ours.keys():
                yield from _defined(f"{name}:{inside}", theirs.get(inside), ours.get(inside))


def _defined(subject: str, old: Any, new: Any, *, besides: Sequence[str] = ()) -> Iterator[Difference]:
    if old is None or new is None:
        there = old or new
        kind = there.kind if isinstance(there, Port) else there.medium
        yield Difference(subject, "defined", kind if old else None, kind if new else None)
        return
    names = [one.name for one in fields(old) if one.name not in besides]
    for name in names:
        was, now = getattr(old, name), getattr(new, name)
        if was != now:
            yield Difference(subject, "defined", _said(name, was), _said(name, now))


def _said(name: str, value: object) -> str | None:
    if isinstance(value, Mapping | frozenset | tuple):
        value = ", ".join(sorted(map(str, value)))
    return f"{name} {value}" if value not in (None, "") else None


def link_text(link: InternalLink) -> str:
    """Return a link inside a part: ``BUS - J1 by K1``, with an arrow where it goes one way."""
    return f"{link.a} {'->' if link.one_way else '-'} {link.b}" + (f" by {link.gate}" if link.gate else "")


def _states(before: Configuration, after: Configuration) -> Iterator[Difference]:
    subjects = {subject for side in (before, after) for subject, _ in side.touched()}
    for subject in subjects:
        old, new = _state(before, subject), _state(after, subject)
        was, now = old or _NOTHING, new or _NOTHING
        if (was.value, was.other) != (now.value, now.other):
            aspect = "status" if ":" in subject else "place"
            yield Difference(
                subject,
                aspect,
                old.value if old else None,
                new.value if new else None,
                was.other,
                now.other,
                now.event,
                before.plant.says(subject, was.value),
                after.plant.says(subject, now.value),
            )


_NOTHING = State("", None, None)


def _state(side: Configuration, subject: str) -> State | None:
    try:
        return side.state(subject)
    except KeyError:
        return None


def _cycles(before: Configuration, after: Configuration) -> Iterator[Difference]:
    for subject in {*before.cycles, *after.cycles}:
        old, new = before.cycles.get(subject, 0), after.cycles.get(subject, 0)
        if old != new:
            yield Difference(subject, "cycles", old, new)


def _devices(before: Configuration, after: Configuration) -> Iterator[Difference]:
    """Yield the locks and tags, each by itself, that are on it on one side alone."""
    for key in {*before.values, *after.values}:
        subject, aspect = key
        for what, of in (("lock", LOCK_OF), ("tag", TAG_OF)):
            if aspect.startswith(of):
                old, new = before.values.get(key), after.values.get(key)
                was, now = old is not None and bool(old.value), new is not None and bool(new.value)
                if was != now:
                    whose = aspect.removeprefix(of)
                    wrote = None if new is None else new.other
                    yield Difference(
                        subject, what, whose if was else None, whose if now else None, event=wrote
                    )


def _defects(before: Configuration, after: Configuration) -> Iterator[Difference]:
    """Yield the defects, each by itself, that stand on one side alone, or since another event."""
    then, now = (
        {(one.thing, one.bars, one.mate, one.cause): one for one in _standing(side)}
        for side in (before, after)
    )
    for key in {*then, *now}:
        was, stands = then.get(key), now.get(key)
        if was is None or stands is None or was.event != stands.event:
            wrote = stands.event if stands is not None else _rectified_by(after, was)
            told_before, told_after = (
                None if one is None else f"{one.barred}: {one.why}" for one in (was, stands)
            )
            yield Difference(key[0], "defect", told_before, told_after, event=wrote)


def _standing(side: Configuration) -> Iterator[Defect]:
    return (one for thing in side.with_devices() for one in defects_on(side, thing))


def _rectified_by(after: Configuration, was: Defect | None) -> str | None:
    """Return the event that took away a defect, where one did."""
    if was is None:
        return None
    found = after.values.get((was.thing, defect_aspect(was.bars, was.mate, was.cause)))
    return None if found is None else found.other


def _values(before: Configuration, after: Configuration) -> Iterator[Difference]:
    for subject, quantity in {*before.values, *after.values}:
        if not is_reading(quantity):
            continue
        old, new = before.values.get((subject, quantity)), after.values.get((subject, quantity))
        if (old and old.value) != (new and new.value):
            (was, was_unit), (now, now_unit) = _reading(old), _reading(new)
            yield Difference(subject, quantity, was, now, was_unit, now_unit)


def _reading(effect: Effect | None) -> tuple[float | None, str | None]:
    return (None, None) if effect is None else (float(effect.value), effect.other)
