"""Units that are alike in every respect that a picture shows are drawn once, when there are many boxes."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from cfgtrack.model.plant import owner_of
from cfgtrack.show.arrange import look_of
from cfgtrack.show.boxes import alarms, lock_rows
from cfgtrack.show.ties import Survey, Tie

MANY_BOXES = 24
"""Up to so many boxes a picture draws each unit for itself."""

_FEWEST = 3


@dataclass(frozen=True, slots=True)
class Alike:
    """`ties` with every unit replaced by the first one that is like it; `members` of each first one."""

    ties: list[Tie]
    members: dict[str, tuple[str, ...]]

    @property
    def left_out(self) -> set[str]:
        """The units that are drawn as another."""
        return {unit for units in self.members.values() for unit in units[1:]}


def merge_alike(
    survey: Survey,
    ties: Sequence[Tie],
    flagged: Collection[str],
    group_of: Callable[[str, str], str] | None = None,
) -> Alike:
    """Find units of one part, at one place, in one state, with the same ties to the same others.

    Nothing that stands out, has a lock or tag or is `flagged` by a finding is merged. `group_of` (owner, port) tells to
    which group of rows of its box a line leads, where that matters.
    """
    near: dict[str, list[tuple[str, str, Tie]]] = {}
    for tie in ties:
        near.setdefault(owner_of(tie.a), []).append((tie.a, tie.b, tie))
        near.setdefault(owner_of(tie.b), []).append((tie.b, tie.a, tie))
    if len(near) <= MANY_BOXES:
        return Alike(list(ties), {})
    found: dict[tuple[object, ...], list[str]] = {}
    for unit, ends in near.items():
        marked = any(alarms(survey, unit)) or any(lock_rows(survey, unit))
        if unit in survey.plant.units and unit not in flagged and not marked:
            found.setdefault(_signature(survey, unit, ends, group_of), []).append(unit)
    members = {units[0]: tuple(units) for units in found.values() if len(units) >= _FEWEST}
    first = {unit: units[0] for units in members.values() for unit in units}
    return Alike([_moved(tie, first) for tie in ties], members)


def _signature(
    survey: Survey,
    unit: str,
    ends: Sequence[tuple[str, str, Tie]],
    group_of: Callable[[str, str], str] | None,
) -> tuple[object, ...]:
    configuration = survey.configuration
    statuses = tuple(configuration.state(p).value for p in survey.plant.ports_of(unit))
    leads = {
        (
            near.partition(":")[2],
            owner_of(far),
            group_of(owner_of(far), far) if group_of else "",
            tie.medium,
            look_of(survey, tie),
        )
        for near, far, tie in ends
    }
    return survey.plant.units[unit].part, configuration.state(unit).value, statuses, frozenset(leads)


def _moved(tie: Tie, first: Mapping[str, str]) -> Tie:
    return replace(tie, a=_renamed(tie.a, first), b=_renamed(tie.b, first))


def _renamed(port: str, first: Mapping[str, str]) -> str:
    owner, _, name = port.partition(":")
    return f"{first.get(owner, owner)}:{name}"
