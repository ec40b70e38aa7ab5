"""What does a new definition, or new rules, change in what counts? Two plants with their rules are compared.

A *guarded* item is one that a rule `guards`, as `rules explain` says: an item of its scope, else of the action that it
is tied to, else of what its condition checks. A rule *watches* more: whatever its conditions look at for each of those
(`Rule.watches`). With one of either less it asks less than before, however many others came.

Nothing here reads a file or a database, and nothing is decided: `Redefinition.grounds` says what somebody must accept.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from itertools import product
from typing import ClassVar, NamedTuple

from cfgtrack.model.action import FOUND, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.kind import with_mate
from cfgtrack.model.lock import locks_on
from cfgtrack.model.part import Contact, Port
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import misfits
from cfgtrack.network.facing import joined, unlike
from cfgtrack.rules.finding import SEVERITIES
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.saying import say_list

WORST = 2
"""The severity up to which a rule may not guard less unless somebody says why: catastrophic and critical."""

_UNTOUCHED = "untouched"


class Side(NamedTuple):
    """One of the two that are compared: a configuration with its plant, the rules, and why some don't fit the plant.

    `joints`: the pairs of the initial configuration, each in alphabetical order, with the status of both.
    """

    now: Configuration
    rules: RuleSet = RuleSet()
    unfit: Collection[str] = ()
    joints: Mapping[tuple[str, str], str] = {}


@dataclass(frozen=True, slots=True)
class RuleChange:
    """How many items a rule guarded and guards, and watched and watches; None where it is on one side alone.

    `lost` is what it guarded or watched and no longer does, `gained` the other way round; of a rule that goes away, or
    that is no longer catastrophic or critical, all is lost. `severity` is what it was, of a new rule what it is;
    `severity_now` None of one that goes away. `differs`: it asks something else now, whatever it guards. `eased`: how
    an exception to it is approved more easily now, in words.
    """

    told: ClassVar[tuple[str, ...]] = ("category",)

    rule: str
    title: str
    severity: int
    severity_now: int | None
    guarded: int | None
    guards: int | None
    watched: int | None
    watches: int | None
    lost: tuple[str, ...] = ()
    gained: tuple[str, ...] = ()
    differs: bool = False
    eased: str = ""

    @property
    def category(self) -> str:
        """The severity in its word."""
        return SEVERITIES[self.severity]

    @property
    def is_gone(self) -> bool:
        """Whether the rule goes away."""
        return self.guards is None

    @property
    def is_less(self) -> bool:
        """Whether less is guarded by a catastrophic or critical rule than before, or excepted from more easily."""
        return self.severity <= WORST and (self.is_gone or bool(self.lost or self.eased))

    @property
    def is_same(self) -> bool:
        """Whether the rule is the same, and of the same items."""
        return not (self.lost or self.gained or self.differs or self.eased) and None not in (
            self.guarded,
            self.guards,
        )


@dataclass(frozen=True, slots=True)
class Misfit:
    """A joint that is made now and can't be any more. `code`: why, a word of what is impossible, or `gone`; or
    `contacts`: of its shells some that were joined are no longer, or some are joined to one another. `words`: what the
    kind calls the status.
    """

    a: str
    b: str
    status: str
    code: str
    why: str
    words: str = ""

    untold: ClassVar[tuple[str, ...]] = ("words",)


@dataclass(frozen=True, slots=True)
class Joint:
    """A joint of the initial configuration: the status of both halves as recorded and as the files have it.

    None where it isn't there. `now` is what the record has of the first half at present, `now_words` in words; `words`
    are those for the status before and after.
    """

    untold: ClassVar[tuple[str, ...]] = ("now_words", "words")

    a: str
    b: str
    before: str | None
    after: str | None
    now: str
    now_words: str = ""
    words: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class Gone:
    """A unit or place that the files no longer have. It stays, and so do the joints of its ports to `mates`."""

    sort: str
    id: str
    mates: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PortField:
    """One thing about a port, or about its kind (``kind.``), as text: what it was and what it is now."""

    field: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class PortChange:
    """A port that is mated now and that the new definition makes another one."""

    port: str
    mate: str
    fields: tuple[PortField, ...]


@dataclass(frozen=True, slots=True)
class Redefinition:
    """What differs between two plants with their rules, in what counts.

    `unfit`: why rules no longer fit the plant; while there is one, no rule judges anything.
    """

    told: ClassVar[tuple[str, ...]] = ("grounds",)

    rules: tuple[RuleChange, ...] = ()
    misfits: tuple[Misfit, ...] = ()
    ports: tuple[PortChange, ...] = ()
    joints: tuple[Joint, ...] = ()
    gone: tuple[Gone, ...] = ()
    unfit: tuple[str, ...] = ()
    judges: bool = field(default=False)

    untold: ClassVar[tuple[str, ...]] = ("judges",)

    @property
    def grounds(self) -> tuple[str, ...]:
        """What somebody has to accept, and say why, before the new definition counts: in words, the worst first."""
        rules = sorted((one for one in self.rules if one.is_less), key=lambda one: one.severity)
        less = (_less(one) for one in rules)
        unfit = [f"no rule can be judged: {self.unfit[0]}"] if self.unfit and self.judges else []
        if unfit and len(self.unfit) > 1:
            unfit[0] += f"; and {len(self.unfit) - 1} more"
        return (
            *less,
            *(f"{one.a} is {with_mate(one.words, one.b)}: {one.why}" for one in self.misfits),
            *unfit,
        )


def _less(one: RuleChange) -> str:
    name = f"{one.category} rule {one.rule}"
    if one.is_gone:
        return f"{name} goes away; it guarded {one.guarded}"
    if one.severity_now is not None and one.severity_now > WORST:
        return f"{name} is {SEVERITIES[one.severity_now]} now; it guarded {one.guarded}"
    if not one.lost:
        return f"{name}: {one.eased}"
    if one.guards == one.guarded and one.watches != one.watched:
        return f"{name} watches {one.watches} of what were {one.watched}: no longer {say_list(one.lost)}"
    return f"{name} guards {one.guards}, and guarded {one.guarded}: no longer {say_list(one.lost)}"


def redefinition(before: Side, after: Side, gone: Iterable[tuple[str, str]] = ()) -> Redefinition:
    """Return what differs. `gone` are items, by sort and id, that the new files no longer mention, and that stay.

    The configuration after is that of the same moment, over the new plant.
    """
    plant = after.now.plant
    pairs = tuple(made_joints(before.now))
    judges = any(rule.severity <= WORST for rule in (*before.rules.rules, *after.rules.rules))
    return Redefinition(
        tuple(_rules(before, after)),
        tuple(misfit for one in pairs for misfit in _misfit(before.now, plant, *one)),
        tuple(change for one in pairs for change in _changed_ports(before.now.plant, plant, *one)),
        tuple(_joints(before, after)),
        tuple(_gone(after.now, gone)),
        tuple(why for why in after.unfit if why not in before.unfit),
        judges,
    )


def locked_otherwise(before: Configuration, after: Plant) -> Iterator[str]:
    """Yield a sentence for every lock on what gates other links in the plant after, or none."""
    for thing in sorted(before.with_devices()):
        was, now = (_gated(plant, thing) for plant in (before.plant, after))
        for lock in locks_on(before, thing) if was - now else ():
            left = say_list(sorted(was - now))
            what = f"no longer gates {left}" if now else f"gates nothing any more; it gated {left}"
            yield f"{lock.what} is on {thing}, which {what}"


def _gated(plant: Plant, port: str) -> set[str]:
    if plant.port(port) is None:
        return set()
    owner, name = owner_of(port), port.partition(":")[2]
    links = plant.part_of(owner).links
    return {f"{owner}:{link.a} - {owner}:{link.b}" for link in links if link.gate == name}


def joints_of(events: Iterable[Action]) -> dict[tuple[str, str], str]:
    """Return the pairs that events of an initial configuration join, with the status of both."""
    out: dict[tuple[str, str], str] = {}
    for event in events:
        if event.action == FOUND and len(event.subjects) == 2:
            a, b = sorted(event.subjects)
            out[a, b] = event.status or ""
    return out


def made_joints(now: Configuration) -> Iterator[tuple[str, str]]:
    """Yield every pair that is joined in a configuration, once, its halves in alphabetical order."""
    for subject, state in sorted(now.touched()):
        if state.other is not None and ":" in subject and subject < state.other:
            yield subject, state.other


# --- rules --------------------------------------------------------------------------------------------------------


def _rules(before: Side, after: Side) -> Iterator[RuleChange]:
    old = {rule.id: rule for rule in before.rules.rules}
    new = {rule.id: rule for rule in after.rules.rules}
    for name in dict.fromkeys([*old, *new]):
        yield _rule(old.get(name), new.get(name), before.now, after.now)


def _rule(old: Rule | None, new: Rule | None, before: Configuration, after: Configuration) -> RuleChange:
    guarded, watched = _asked(old, before)
    guards, watches = _asked(new, after)
    first = old or new
    assert first is not None
    counts = new
    if old is not None and new is not None and old.severity <= WORST < new.severity:
        counts = None
    lost = _without(guarded, guards if counts else ()) | _without(watched, watches if counts else ())
    return RuleChange(
        first.id,
        (new or first).title,
        first.severity,
        None if new is None else new.severity,
        None if old is None else len(guarded),
        None if new is None else len(guards),
        None if old is None else len(watched),
        None if new is None else len(watches),
        tuple(lost),
        tuple(_without(guards, guarded) | _without(watches, watched)),
        old is not None and new is not None and old.asks != new.asks,
        "" if old is None or new is None else _eased(old, new),
    )


def _eased(old: Rule, new: Rule) -> str:
    """Return how an exception to a rule is approved more easily than before, in words; "" where it isn't."""
    if new.approvals < old.approvals:
        return f"an exception needs {new.approvals} who approves it, and needed {old.approvals}"
    if old.approvers and (not new.approvers or set(new.approvers) - set(old.approvers)):
        now = say_list(new.approvers) if new.approvers else "whoever may approve"
        return f"exceptions are left to {now}, and were to {say_list(old.approvers)}"
    return ""


def _without(items: Sequence[str], others: Sequence[str]) -> dict[str, None]:
    left = set(others)
    return {item: None for item in items if item not in left}


def _asked(rule: Rule | None, now: Configuration) -> tuple[Sequence[str], Sequence[str]]:
    return ((), ()) if rule is None else (rule.guards(now), rule.watches(now))


# --- joints -------------------------------------------------------------------------------------------------------


def _misfit(before: Configuration, plant: Plant, a: str, b: str) -> Iterator[Misfit]:
    """Yield why a joint that is made can't be any more; what misfitted before was found so, and is known."""
    status = before.state(a).value
    words = before.plant.says(a, status)
    missing = [half for half in (a, b) if plant.port(half) is None]
    if missing:
        yield Misfit(a, b, status, "gone", f"{' and '.join(missing)}: there is no such port any more", words)
        return
    there = all(before.plant.port(half) is not None for half in (a, b))
    known = {refusal.code for refusal in misfits(before.plant, a, b)} if there else set[str]()
    for refusal in misfits(plant, a, b):
        if refusal.code not in known:
            yield Misfit(a, b, status, refusal.code, refusal.sentence, words)
    if there:
        yield from (
            Misfit(a, b, status, "contacts", why, words) for why in _other_contacts(before.plant, plant, a, b)
        )


def _other_contacts(before: Plant, after: Plant, a: str, b: str) -> Iterator[str]:
    """Yield, in words, which contacts of two mated halves the new plant no longer joins, or joins to one another."""
    old, new = ((_port(plant, a), _port(plant, b)) for plant in (before, after))
    if not any(port.contacts for port in (*old, *new)):
        return
    was, now = joined(before, *old), joined(after, *new)
    parted = [
        one or other for (one, other), medium in was.items() if not _still(one, other, medium, new, now)
    ]
    said = []
    if parted:
        named = _contacts(parted) if all(parted) else "they"
        said.append(f"{named} {'is' if len(parted) == 1 and all(parted) else 'are'} no longer joined")
    if bridged := _bridged(was, now, old):
        said.append(f"{_contacts(bridged)} are joined to one another")
    if said:
        yield ": ".join([", and ".join(said), *filter(None, ["; ".join(unlike(*new, a, b))])])


def _contacts(names: Sequence[str]) -> str:
    return f"contact{'s' if len(names) > 1 else ''} {say_list(names)}"


_Pairs = Mapping[tuple[str, str], str]
"""What two halves join: contacts by name, "" for a half without any, each pair with its medium."""


def _still(one: str, other: str, medium: str, new: tuple[Port, Port], now: _Pairs) -> bool:
    """Return whether what two contacts joined is joined yet: by themselves, or by what stands for them now."""
    pairs = product(_standing_for(one, new[0]), _standing_for(other, new[1]))
    return any(now.get(pair) == medium for pair in pairs)


def _standing_for(name: str, port: Port) -> Collection[str]:
    """Return what stands for a contact in the new half: itself, that half if it has none, or of all it had any."""
    return (
        (name,)
        if name in port.contacts
        else ("",)
        if not port.contacts
        else port.contacts
        if not name
        else ()
    )


def _bridged(was: _Pairs, now: _Pairs, old: tuple[Port, Port]) -> list[str]:
    """Return the contacts of one half that a half without any joins to one another now, and didn't before."""
    for near, far in ((0, 1), (1, 0)):
        for medium in dict.fromkeys(m for pair, m in now.items() if not pair[far]):
            names = [pair[near] for pair, m in now.items() if m == medium and not pair[far]]
            if names == [""]:
                names = [c.name for c in old[near].contacts.values() if c.medium == medium]
            before = {pair[near] for pair in was if not pair[far]}
            if len(names) > 1 and not before.issuperset(names):
                return names
    return []


def _port(plant: Plant, address: str) -> Port:
    found = plant.port(address)
    assert found is not None
    return found[0]


def _changed_ports(before: Plant, after: Plant, a: str, b: str) -> Iterator[PortChange]:
    for port, mate in ((a, b), (b, a)):
        was, now = before.port(port), after.port(port)
        if was is None or now is None or was == now:
            continue
        differ = [*_fields("", was[0], now[0])]
        if was[0].kind == now[0].kind:
            differ += _fields("kind.", was[1], now[1])
        if differ:
            yield PortChange(port, mate, tuple(differ))


def _fields(prefix: str, before: object, after: object) -> Iterator[PortField]:
    for one in fields(Port if not prefix else type(before)):  # type: ignore[arg-type] # a kind is a dataclass, too
        if one.compare:
            was, now = getattr(before, one.name), getattr(after, one.name)
            if one.name == "contacts":
                yield from _contact_fields(was, now)
            elif was != now:
                yield PortField(f"{prefix}{one.name}", _told(was), _told(now))


def _contact_fields(before: Mapping[str, Contact], after: Mapping[str, Contact]) -> Iterator[PortField]:
    """Yield what differs of the contacts of a shell: those that only one side has, and what is said of each."""
    for name in dict.fromkeys([*before, *after]):
        was, now = before.get(name), after.get(name)
        if was is None or now is None:
            told = ("" if one is None else one.medium for one in (was, now))
            yield PortField(f"contacts.{name}", *told)
            continue
        for one in fields(Contact):
            if getattr(was, one.name) != getattr(now, one.name):
                values = (_told(getattr(side, one.name)) for side in (was, now))
                yield PortField(f"contacts.{name}.{one.name}", *values)


def _told(value: object) -> str:
    if isinstance(value, Mapping):
        value = tuple(f"{name}: {said}" if isinstance(said, str) else name for name, said in value.items())
    if isinstance(value, frozenset | tuple):
        return ", ".join(sorted(map(str, value)) if isinstance(value, frozenset) else map(str, value))
    return "" if value is None else str(value)


def _joints(before: Side, after: Side) -> Iterator[Joint]:
    for a, b in sorted({*before.joints, *after.joints}):
        was, now = before.joints.get((a, b)), after.joints.get((a, b))
        if was != now:
            words = (before.now.plant.says(a, was or ""), after.now.plant.says(a, now or ""))
            yield Joint(a, b, was, now, *_at_present(before.now, a), words)


def _at_present(now: Configuration, port: str) -> tuple[str, str]:
    """Return what the record has of a port at present: by the id of its status, and in words."""
    if now.plant.port(port) is None:
        return "", ""
    state = now.state(port)
    if state.event is None:
        return _UNTOUCHED, _UNTOUCHED
    return with_mate(state.value, state.other), now.plant.says_joined(port, state.value, state.other)


def _gone(now: Configuration, gone: Iterable[tuple[str, str]]) -> Iterator[Gone]:
    for sort, name in gone:
        if sort in ("unit", "place") and now.plant.has_owner(name):
            mates = (now.state(port).other for port in now.plant.ports_of(name))
            yield Gone(sort, name, tuple(mate for mate in mates if mate is not None))
