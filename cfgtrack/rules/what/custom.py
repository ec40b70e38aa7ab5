"""`custom`: conditions written in Python, for what a rules file can't say.

A condition is any object with the attributes of `CustomCondition`. One in another package is found through an entry
point of the group ``cfgtrack.conditions`` that names its class: the entry point's name is what a rules file calls it
by, and what the rules file gives beside it are its settings. A condition that crashes, or that answers neither True
nor False, leaves its rule without a verdict: `NoVerdict`.

An example. A rules file has no sums; this is in the module ``our_conditions`` of some package::

    from cfgtrack.model.quantity import parse_quantity

    class MassAtMost:
        media = frozenset()

        def holds(self, world, items, settings):
            return self._mass(world, items) <= parse_quantity(settings["mass"], dimension="mass").value

        def why(self, world, items, settings):
            return f"{', '.join(items)} weigh {self._mass(world, items):g} kg; at most {settings['mass']} may"

        def _mass(self, world, items):
            return sum(world.plant.part_of(item).mass or 0.0 for item in items)

In that package's ``pyproject.toml``::

    [project.entry-points."cfgtrack.conditions"]
    mass-at-most = "our_conditions:MassAtMost"

And in a rules file::

    condition = { custom = "mass-at-most", of = { what = "unit", at = "SHELF" }, mass = "40 kg" }
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar, Protocol, Self

from cfgtrack.model.plant import owner_of
from cfgtrack.model.trouble import BadInput, Problem
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.rules.condition import WHOLE, Asked, Clause, Condition, Ended, Judge, NoVerdict, Part, line_of
from cfgtrack.rules.dependence import Dependence, depends_on_items
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.world import World

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

ENTRY_POINTS = "cfgtrack.conditions"


class CustomCondition(Protocol):
    """What a condition in Python must offer; its class is called without arguments, once.

    `media` names the media whose links it looks at: an event that changes one of them has the rule judged again.
    `items` are the addresses that the rule's `of` selects now; `settings` are as the rules file gives them.
    """

    media: frozenset[str]

    def holds(self, world: World, items: Sequence[str], settings: Mapping[str, Any]) -> bool:
        """Return whether the condition is true of `items` now. It must not write to `world`."""
        ...

    def why(self, world: World, items: Sequence[str], settings: Mapping[str, Any]) -> str:
        """Return, in words, why it is false."""
        ...


@dataclass(frozen=True, slots=True)
class Custom(Condition):
    """A condition written in Python, found by `name`. `settings` is whatever else the rules file gives."""

    key: ClassVar[str] = "custom"
    name: str
    of: Selection
    settings: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def read(cls, clause: Clause) -> Self | None:
        name, of = clause.text("custom", required=True), clause.selection("of")
        settings = clause.rest()
        try:
            find_custom(name)
        except BadInput as err:
            for problem in err.problems:
                clause.note("custom", problem.code, problem.sentence)
            return None
        return cls(name, of, settings)

    def words(self) -> str:
        return f"{self.name} holds for {self.of.words()}"

    def media(self) -> frozenset[str]:
        return frozenset(find_custom(self.name).media)

    def asked(self) -> Iterator[Asked]:
        """Yield everything: what others have written may ask anything. What is built in asks nothing."""
        if self.name not in _BUILT_IN:
            yield Asked()

    def compile(self, world: World) -> Judge:
        return _Custom(self, world)


class _Custom(Judge):
    """Has a condition in Python judge its items. What that looks at isn't known: so everything may change it.

    What is built in looks at the ports of its items' owners.
    """

    def __init__(self, condition: Custom, world: World) -> None:
        self.condition = condition
        self.world = world
        self.of = world.bind(condition.of)
        self.found = find_custom(condition.name)
        if condition.name in _BUILT_IN:
            self.depends = depends_on_items(condition.of) | Dependence(wide=True)

    def holds(self, it: str | None) -> bool:
        items = self.of.items(it)
        try:
            return _truth(self.found.holds(self.world, items, self.condition.settings))
        except Exception as err:
            raise NoVerdict(self.condition.name, err) from err

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        return {} if self.holds(it) else {WHOLE: self.of.items(it)}

    def met(self, it: str | None) -> tuple[str, ...]:
        return self.of.items(it)

    def reasons(
        self,
        it: str | None,
        ended: Ended,  # noqa: ARG002 - it is asked for words alone
        part: Part | None = None,  # noqa: ARG002 - it is judged as one
    ) -> tuple[Reason, ...]:
        items = self.of.items(it)
        try:
            why = self.found.why(self.world, items, self.condition.settings)
        except Exception as err:
            raise NoVerdict(self.condition.name, err) from err
        return (Reason("custom", why, beyond=items),)


def _truth(answer: object) -> bool:
    if not isinstance(answer, bool):
        raise TypeError(f"holds() returned {answer!r}, neither True nor False")
    return answer


class TighteningOrder:
    """Every bolt of the same joint whose turn comes earlier is torqued: its `pattern` reads JOINT/TURN."""

    media: frozenset[str] = frozenset()

    def holds(self, world: World, items: Sequence[str], settings: Mapping[str, Any]) -> bool:  # noqa: ARG002 - takes none
        """Return whether every bolt with an earlier turn is torqued."""
        return not self._missing(world, items)

    def why(self, world: World, items: Sequence[str], settings: Mapping[str, Any]) -> str:  # noqa: ARG002 - takes none
        """Return which bolts should have come first."""
        return f"not torqued yet, and their turn in this joint comes first: {', '.join(self._missing(world, items))}"

    def _missing(self, world: World, items: Sequence[str]) -> list[str]:
        out: list[str] = []
        for item in items:
            turn = _turn(world, item)
            if turn is None:
                continue
            for other in world.plant.ports_of(owner_of(item)):
                theirs = _turn(world, other)
                if theirs is None or theirs[0] != turn[0] or theirs[1] >= turn[1]:
                    continue
                if world.configuration.state(other).value != "torqued":
                    out.append(other)
        return out


def _turn(world: World, address: str) -> tuple[str, int] | None:
    found = world.plant.port(address)
    if found is None or "/" not in found[0].pattern:
        return None
    joint, _, turn = found[0].pattern.rpartition("/")
    return (joint, int(turn)) if turn.isdigit() else None


_BUILT_IN: dict[str, type[CustomCondition]] = {"tightening-order": TighteningOrder}


@cache
def find_custom(name: str) -> CustomCondition:
    """Return the condition of that name: built in, or from an installed package.

    Raises BadInput when there is none, when it can't be loaded, or when two packages call a condition so.
    """
    built_in = _BUILT_IN.get(name)
    if built_in is not None:
        return built_in()
    from importlib.metadata import entry_points

    points = list(entry_points(group=ENTRY_POINTS, name=name))
    if not points:
        where = "it is neither built in nor in an installed package"
        raise _unusable(name, UNKNOWN, f"{no_such('condition in Python', name)}: {where}")
    if len(points) > 1:
        told = " and ".join(sorted(point.value for point in points))
        raise _unusable(
            name, "ambiguous", f"more than one installed package has a condition of this name: {told}"
        )
    return _load(name, points[0])


def maker_of(name: str) -> str:
    """Return the package that a condition is from, with its version; "" for one that is built in, or isn't there."""
    if name in _BUILT_IN:
        return ""
    from importlib.metadata import entry_points

    made = (point.dist for point in entry_points(group=ENTRY_POINTS, name=name))
    return " ".join(f"{dist.name} {dist.version}" for dist in made if dist is not None)


def _load(name: str, point: EntryPoint) -> CustomCondition:
    try:
        made = point.load()()
    except Exception as err:
        sentence = f"{point.value} can't be loaded: {type(err).__name__}: {err}{line_of(err)}"
        raise _unusable(name, "not-loadable", sentence) from err
    missing = [each for each in ("media", "holds", "why") if not hasattr(made, each)]
    if missing:
        raise _unusable(
            name, "not-loadable", f"{point.value} is no condition: it has no {' and no '.join(missing)}"
        )
    found: CustomCondition = made
    return found


def _unusable(name: str, code: str, sentence: str) -> BadInput:
    return BadInput(Problem(f"condition {name}", code, sentence))
