"""What is cut off if something is shut or parted, what isolates a thing, which segments has a medium? By no rule."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from cfgtrack.analysis import isolation as analysis
from cfgtrack.analysis.isolation import CutOff, Isolation, Segments
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past
from cfgtrack.model.defect import told
from cfgtrack.model.lock import all_devices, is_box, wrong_holder
from cfgtrack.model.plant import HOLD, Plant, port_of
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.model.unknown import OWNER, THING, UNKNOWN, expect_thing, find, no_such
from cfgtrack.network.cut import MOST
from cfgtrack.network.network import Network

TAG, LOOP = "tag=", "loop="
"""What stands before a tag or loop where ends are named."""


@dataclass(frozen=True, slots=True)
class WithoutAnswer(Answer):
    """What is cut off, medium by medium, if `things` are shut, off or parted. `already`: those that are so now."""

    things: tuple[str, ...]
    already: tuple[str, ...]
    cut_off: tuple[CutOff, ...]


def without(asking: Asking, things: Sequence[str], *, ends: Sequence[str] = ()) -> WithoutAnswer:
    """Return what is cut off from what if `things` are shut, off or parted: ports, units, places. NoAnswer for others.

    From `ends` (things, ``tag=...``, ``loop=...``), else from the sources, the expansions, and what stays.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        plant, now = past.plant, past.configuration
        found = tuple(
            dict.fromkeys(_shell(past, expect_thing(plant, t, (*OWNER, "port", "contact"))) for t in things)
        )
        named = tuple(_ends(past, ends))
        parts = analysis.cut_off(past.networks, now, found, named)
        touched = {thing for thing in found if any(analysis.is_joined(past.networks, now, thing))}
        already = tuple(thing for thing in found if thing not in touched)
        return WithoutAnswer(past.moment, found, already, tuple(parts))


def _shell(past: Past, thing: str) -> str:
    return port_of(thing) if past.plant.contact(thing) is not None else thing


@dataclass(frozen=True, slots=True)
class IsolationAnswer(Answer):
    """What isolates things, medium by medium; `no_ends` are media of theirs in which nothing is a source or expansion.

    `holders`: who is to work behind the locks, as the asking says; `boxes`: the group lock boxes of the plant.
    `sides`: of each valve or switch that is meant, what it joins: that is what is isolated then.
    """

    things: tuple[str, ...]
    isolation: tuple[Isolation, ...]
    no_ends: tuple[str, ...]
    holders: tuple[str, ...]
    boxes: tuple[str, ...]
    sides: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def isolate(
    asking: Asking,
    things: Sequence[str],
    *,
    media: Sequence[str] = (),
    ends: Sequence[str] = (),
    holders: Sequence[str] = (),
    most: int = MOST,
) -> IsolationAnswer:
    """Return the fewest devices that isolate things, in `media`, else in all of theirs but hold; `most` sets of them.

    From `ends`, as of `without`. NoAnswer for what isn't there, and for `holders` who can have no lock.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        plant, now = past.plant, past.configuration
        found = tuple(dict.fromkeys(expect_thing(plant, thing, THING) for thing in things))
        named = tuple(_ends(past, ends))
        who = tuple(plant.resolve(holder) for holder in holders)
        for holder in who:
            if why := wrong_holder(plant, holder) or _unknown_holder(past, holder):
                raise NoAnswer(Problem("--for", UNKNOWN, why))
        chosen = [find("medium", m, plant.media).id for m in media] or _of_energy(plant)
        parts, silent, notes = list[Isolation](), list[str](), list[str]()
        sides = dict[str, tuple[str, ...]]()
        for medium in chosen:
            network = past.networks[medium]
            joins = {thing: both for thing in found if (both := _sides(network, thing))}
            within = [one for thing in found for one in joins.get(thing, (thing,))]
            if not any(network.items(one) for thing in within for one in analysis.inside(now, thing)):
                continue
            sides |= joins
            one = analysis.isolation(network, now, within, named, most=most)
            notes += (f"note: counted as no device: {told(d)}" for d in analysis.barred_of(network, now))
            if one.ends or one.own:
                parts.append(one)
            else:
                silent.append(medium)
        if not parts and not silent:
            sentence = f"nothing of {' and '.join(found)} carries {' or '.join(chosen)}"
            owners = dict.fromkeys(thing.partition(":")[0] for thing in found if ":" in thing)
            if owners:
                sentence += f": name what it belongs to, {' or '.join(owners)}, or a volume or port of it"
            raise NoAnswer(Problem(found[0], "no-medium", sentence))
        boxes = [owner for owner in plant.owners() if is_box(plant, owner)]
        return IsolationAnswer(
            past.moment,
            found,
            tuple(parts),
            tuple(silent),
            who,
            tuple(boxes),
            sides,
            notes=tuple(dict.fromkeys(notes)),
        )


def _sides(network: Network, thing: str) -> tuple[str, ...]:
    """Return what a valve or switch joins in a medium, none for all else: to isolate it is to isolate both sides."""
    joined = (item for arc in network.gates.get(thing, ()) for item in (arc.a, arc.b))
    return tuple(network.address(item) for item in dict.fromkeys(joined))


def _unknown_holder(past: Past, name: str) -> str:
    """Return why nobody of this name is known: nobody that the plant has, holds a lock, or did anything; else ""."""
    plant, now = past.plant, past.configuration
    known = {one.id for one in plant.places.values() if one.mobile or is_box(plant, one.id)}
    if name in known:
        return ""
    known |= {device.holder for device in all_devices(now) if not device.is_tag}
    known |= {line.entry.event.by or "" for line in past.journal.log(known=past.moment.known)}
    return "" if name in known else no_such("person or lock box", name, sorted(known - {""}))


def _of_energy(plant: Plant) -> list[str]:
    """Return the media but hold, those first that hurt most often."""
    return sorted((m for m in plant.media if m != HOLD), key=lambda m: m not in ("fluid", "power"))


def _ends(past: Past, words: Sequence[str]) -> Iterator[str]:
    """Yield the addresses of the ends that are named. NoAnswer for what isn't there, or has no such tag or loop."""
    from cfgtrack.rules.selection import Selection

    what = ("node", "unit", "place")
    for word in words:
        for mark, chosen in (
            (TAG, Selection(what=what, tags=(word[4:],))),
            (LOOP, Selection(what=what, loops=(word[5:],))),
        ):
            if word.startswith(mark):
                found = chosen.items(past.configuration)
                if not found:
                    raise NoAnswer(Problem("--from", UNKNOWN, no_such(mark[:-1], word.removeprefix(mark))))
                yield from found
                break
        else:
            yield from analysis.inside(past.configuration, expect_thing(past.plant, word, THING))


@dataclass(frozen=True, slots=True)
class SegmentsAnswer(Answer):
    """The segments of a medium."""

    segments: Segments


def segments(asking: Asking, medium: str) -> SegmentsAnswer:
    """Return what is joined as one in a medium, largest first, and what bounds it. NoAnswer for no such medium."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        find("medium", medium, past.plant.media)
        return SegmentsAnswer(past.moment, analysis.segments_of(past.networks[medium], past.configuration))
