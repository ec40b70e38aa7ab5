"""One state at one time: its networks, what a selection names, and which conditions are true of it, and for whom."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import networkx as nx

from tests.rules.oracle.plant import SECOND, Plant, Table, like, listed, micros, si
from tests.rules.oracle.state import State, around, carries

Part = tuple[str, ...]
"""Which instance of a condition: an item, or an item and what it reaches; or nothing, under `all` its position
alone."""

Short = dict[Part, frozenset[str]]
"""The instances that are false, each with the items that fall short."""

MOVING = ("at", "loop")
"""The fields of a selection whose answer changes as things move."""

Custom = Callable[["Moment", str | None, Table], bool]


class Moment:
    """A state at a time. Everything is worked out anew each time it is asked."""

    def __init__(
        self, plant: Plant, state: State, time: int, customs: dict[str, Custom] | None = None
    ) -> None:
        """Take what is so and when it is asked."""
        self.plant = plant
        self.state = state
        self.time = time
        self.customs = customs or {}
        self._networks: dict[str, nx.DiGraph[str]] = {}

    # --- networks -------------------------------------------------------------------------------------------------

    def network(self, medium: str) -> nx.DiGraph[str]:
        """Return a medium's made links, each in the direction in which it passes."""
        if medium not in self._networks:
            self._networks[medium] = self._made(medium)
        return self._networks[medium]

    def _made(self, medium: str) -> nx.DiGraph[str]:
        plant, state = self.plant, self.state
        made: nx.DiGraph[str] = nx.DiGraph()
        made.add_nodes_from(item for item in plant.items() if plant.medium(item) == medium)
        for link in plant.links:
            if medium not in (plant.medium(link.a), plant.medium(link.b)):
                continue
            if link.gate and not plant.at_least(link.gate, state.status[link.gate], "carries"):
                continue
            made.add_edge(link.a, link.b, link=link.gate or frozenset([link.a, link.b]))
            if not link.one_way:
                made.add_edge(link.b, link.a, link=link.gate or frozenset([link.a, link.b]))
        for a, b in state.mate.items():
            if plant.medium(a) == medium and carries(plant, state, a, b):
                made.add_edge(a, b, link=frozenset([a, b]))
        if medium == "hold":
            for a, b in self._holds():
                made.add_edge(a, b, link=frozenset([a, b]))
                made.add_edge(b, a, link=frozenset([a, b]))
        return made

    def _holds(self) -> list[tuple[str, str]]:
        """Return what hangs together without an interface.

        A thing and its own hold ports; a fixed place and the place around it; what stands in a place that holds.
        """
        plant, state = self.plant, self.state
        found = [(plant.owner[port], port) for port in plant.ports if plant.medium(port) == "hold"]
        for place, told in plant.places.items():
            if not told.get("mobile") and "parent" in told:
                found.append((place, told["parent"]))
        found += [(thing, place) for thing, place in state.at.items() if plant.places[place].get("holds")]
        return found

    def reached(self, medium: str, item: str) -> set[str]:
        """Return what an item reaches, itself included: against one-way links where the medium is asked upstream."""
        network = self.network(medium)
        if item not in network:
            return {item}
        if self.plant.media[medium].get("upstream"):
            network = network.reverse()
        return {item, *nx.descendants(network, item)}

    # --- selections -----------------------------------------------------------------------------------------------

    def select(self, selection: str | Table | list[str], it: str | None = None) -> list[str]:
        """Return the items that a selection names at this moment, sorted."""
        if isinstance(selection, str):
            if selection == "it" or selection.endswith(" of it"):
                return self._of(selection, it)
            return [item for item in self.plant.items() if like(item, selection)]
        if isinstance(selection, list):
            return sorted({item for one in selection for item in self.select(one, it)})
        if "of" in selection:
            return [item for item in self._of(selection["of"], it) if self.fits(item, selection)]
        standing = {name: value for name, value in selection.items() if name not in MOVING}
        chosen = self.plant.chosen
        key = repr(standing)
        if key not in chosen:
            # What doesn't ask where things are names the same items at every moment.
            chosen[key] = [item for item in self.plant.items() if self.fits(item, standing)]
        return (
            [item for item in chosen[key] if self.fits(item, selection)]
            if standing != selection
            else chosen[key]
        )

    def _of(self, words: str, it: str | None) -> list[str]:
        assert it is not None, f"{words}: nothing is it here"
        plant, owner = self.plant, self.plant.owner.get(it, it)
        if words == "it":
            return [it]
        if words == "peer of it":
            return [self.state.mate[it]] if it in self.state.mate else []
        if words == "unit of it":
            return [owner] if owner in plant.units else []
        if words == "place of it":
            places = around(plant, self.state, it)
            return places[:1]
        owned = {"ports of it": plant.ports, "nodes of it": plant.nodes}[words]
        return sorted(item for item in owned if plant.owner[item] == owner)

    def fits(self, item: str, selection: Table) -> bool:
        """Return whether an item is as a selection says; fields are joined by and, what a field lists by or."""
        return all(self._answer(item, name, value) for name, value in selection.items())

    def _answer(self, item: str, name: str, value: Any) -> bool:
        """Return whether an item is as one field of a selection says; what is no such field says nothing."""
        plant = self.plant
        owner = plant.owner.get(item, item)
        port, node, place = plant.ports.get(item), plant.nodes.get(item), plant.places.get(item)
        if name in ("what", "id", "medium", "loop"):
            words = {
                "what": plant.what(item),
                "id": item,
                "medium": plant.medium(item),
                "loop": self._loop(item),
            }
            return like(words[name] or "", value)
        if name == "part":
            return like(plant.told(owner).get("part", ""), value)
        if name == "kind":
            return port is not None and like(port["kind"], value)
        if name == "tag":
            return bool(plant.tags(item) & set(listed(value)))
        if name == "at":
            return self.stands(item, value)
        if name in ("source", "expansion", "load"):
            return node is not None and bool(node.get(name, False)) == value
        if name == "liquid":
            needs = (
                "nothing" if node is None else plant.media[node["medium"]].get("volumes_need", "expansion")
            )
            return node is not None and ("litres" in node and needs != "nothing") == value
        if name == "mobile":
            return place is not None and bool(place.get("mobile", False)) == value
        return True

    def _loop(self, item: str) -> str | None:
        """Return the loop that an item belongs to: its owner's own, else that of the nearest place around with one."""
        owner = self.plant.owner.get(item, item)
        loops = [
            self.plant.told(thing).get("loop") for thing in [owner, *around(self.plant, self.state, item)]
        ]
        return next((loop for loop in loops if loop is not None), None)

    def stands(self, item: str, wanted: Any) -> bool:
        """Return whether an item stands at a place or within it: by id, by `#tag`, at its `home`, or anywhere (`*`)."""
        owner = self.plant.owner.get(item, item)
        places = around(self.plant, self.state, item)
        if owner in self.plant.places and owner in self.state.at:
            places = places[1:]
        for one in listed(wanted):
            if one == "*" and places:
                return True
            if one == "home" and self.plant.told(owner).get("home") in places:
                return True
            if one.startswith("#") and any(one[1:] in self.plant.tags(place) for place in places):
                return True
            if one in places:
                return True
        return False

    # --- conditions -----------------------------------------------------------------------------------------------

    def is_true(self, condition: Table, it: str | None = None) -> bool:
        """Return whether a condition is true now."""
        return not self.short(condition, it)

    def short(self, condition: Table, it: str | None = None) -> Short:
        """Return the instances of a condition that are false now, each with the items that fall short.

        An item of the checked selection for path, status, value and done; an item and what it reaches for no_path;
        the one instance of count, any, not and custom. Under `all` the items and pairs of its members are the same
        instance in each of them, and those that are one each have their position.
        """
        name = sort_of(condition)
        if name == "all":
            found: Short = {}
            for position, member in enumerate(condition["all"]):
                for part, items in self.short(member, it).items():
                    key = part if has_items(part) else (str(position), *part)
                    found[key] = found.get(key, frozenset()) | items
            return found
        if name == "no_path":
            wanted = set(self.select(condition["to"], it))
            checked = self.select(condition["from"], it)
            pairs = [(x, y) for x in checked for y in self.reached(condition["no_path"], x) & wanted]
            return {pair: frozenset(pair) for pair in sorted(pairs)}
        if name in ("path", "status", "value", "done"):
            return {
                (x,): frozenset([x]) for x in self.checked(condition, it) if not self.is_met(condition, x, it)
            }
        if self._one_is_true(name, condition, it):
            return {}
        return {(): self.lacking(condition, it)}

    def checked(self, condition: Table, it: str | None) -> list[str]:
        """Return the items of which a condition asks something, each by itself."""
        name = sort_of(condition)
        field = {"path": "from", "no_path": "from", "done": "of"}.get(name, name)
        return self.select(condition[field], it)

    def is_met(self, condition: Table, x: str, it: str | None) -> bool:
        """Return whether one item is as a condition asks each of its items to be."""
        name = sort_of(condition)
        if name in ("path", "no_path"):
            reaches = bool(self.reached(condition[name], x) & set(self.select(condition["to"], it)))
            return reaches == (name == "path")
        if name == "status":
            return self._is_so(condition, x)
        if name == "value":
            return self._in_range(condition, x)
        if name == "done":
            last = self.state.last(self._with_ports(x), listed(condition["done"]), condition.get("quantity"))
            since = self.state.last(self._with_ports(x), listed(condition["since"]))
            return last is not None and (since is None or last.number > since.number)
        if "path" in condition:
            return bool(self.reached(condition["path"], x) & set(self.select(condition["to"], it)))
        return self._is_so(condition, x)

    def _is_so(self, condition: Table, x: str) -> bool:
        """Return whether an item has the status and stands where a condition says; where it says nothing, all do."""
        if "is" in condition and not any(self._has(x, word) for word in listed(condition["is"])):
            return False
        return "at" not in condition or self.stands(x, condition["at"])

    def _has(self, x: str, word: str) -> bool:
        if word == "empty":
            return not any(x in around(self.plant, self.state, unit) for unit in self.plant.units)
        return self.state.status.get(x) == word

    def _in_range(self, condition: Table, x: str) -> bool:
        value = self._value(condition, x)
        if value is None:
            return bool(condition.get("unmeasured", False))
        low, high = condition.get("min"), condition.get("max")
        if condition.get("rated"):
            port = self.plant.ports.get(x, {})
            if condition["quantity"] == "cycles":
                high = port.get("cycles")
            elif "torque" in port:
                low, high = port["torque"]
        # A range is inclusive; a few parts in 10^12 are the rounding of its own units.
        slack = 1e-12 * max(1.0, abs(value))
        return (low is None or value >= si(low) - slack) and (high is None or value <= si(high) + slack)

    def _value(self, condition: Table, x: str) -> float | None:
        """Return an item's value, None where it has none that counts: too old, or from before what it must be since."""
        quantity = condition["quantity"]
        if quantity == "cycles":
            return float(self.state.cycles[x])
        if quantity == "elapsed":
            began = self.state.last(self._with_ports(x), listed(condition["since"]))
            return None if began is None else (self.time - began.happened) / SECOND
        taken = self.state.measured(x, quantity)
        if taken is None:
            return None
        if "max_age" in condition and self.time - taken.happened > micros(condition["max_age"]):
            return None
        if "since" in condition:
            since = self.state.last(self._with_ports(x), listed(condition["since"]))
            if since is not None and taken.number <= since.number:
                return None
        return taken.values[quantity]

    def _with_ports(self, x: str) -> list[str]:
        ports = self.plant.ports if x in self.plant.units else []
        return [x, *(port for port in ports if self.plant.owner[port] == x)]

    def _one_is_true(self, name: str, condition: Table, it: str | None) -> bool:
        if name == "count":
            chosen = [x for x in self.checked(condition, it) if self.is_met(condition, x, it)]
            return bool(condition.get("at_least", 0) <= len(chosen) <= condition.get("at_most", len(chosen)))
        if name == "any":
            return any(self.is_true(member, it) for member in condition["any"])
        if name == "not":
            return not self.is_true(condition["not"], it)
        return bool(self.customs[condition["custom"]](self, it, condition))

    def lacking(self, condition: Table, it: str | None) -> frozenset[str]:
        """Return the items that fall short of a condition that is false."""
        name = sort_of(condition)
        if name == "custom":
            return frozenset()
        if name == "any":
            return frozenset.intersection(*(self.lacking(member, it) for member in condition["any"]))
        if name == "not":
            return self.meeting(condition["not"], it)
        if name == "count":
            items = self.checked(condition, it)
            met = {x for x in items if self.is_met(condition, x, it)}
            return frozenset(met if len(met) > condition.get("at_most", len(met)) else set(items) - met)
        return frozenset().union(*self.short(condition, it).values())

    def meeting(self, condition: Table, it: str | None) -> frozenset[str]:
        """Return the items that make a condition true which is true."""
        name = sort_of(condition)
        if name == "custom":
            return frozenset()
        if name in ("all", "any"):
            true = [member for member in condition[name] if self.is_true(member, it)]
            return frozenset().union(*(self.meeting(member, it) for member in true))
        if name == "not":
            return self.lacking(condition["not"], it)
        items = self.checked(condition, it)
        met = {x for x in items if self.is_met(condition, x, it)}
        return frozenset(met if name != "count" or "at_least" in condition else set(items) - met)


def sort_of(condition: Table) -> str:
    """Return which condition a table is: a count may ask for a path, and a value since when, so they come first."""
    for name in ("count", "value", "done", "status", "path", "no_path", "all", "any", "not", "custom"):
        if name in condition:
            return name
    raise KeyError(f"no condition: {condition}")


def leaves(condition: Table) -> list[Table]:
    """Return the members of a condition under `all`, down to what is no `all`; itself, where it is none."""
    if sort_of(condition) != "all":
        return [condition]
    return [leaf for member in condition["all"] for leaf in leaves(member)]


def has_items(part: Part) -> bool:
    """Return whether an instance is an item or a pair, and not one in all."""
    return bool(part) and not part[-1].isdigit()


def tightening_order(moment: Moment, it: str | None, condition: Table) -> bool:
    """Return whether every bolt of the same joint that comes earlier in its pattern is tight, as far as is known.

    One that is released isn't, nor one that was engaged since it was torqued; one that stands engaged and that no
    action touched is as it was found.
    """
    for port in moment.select(condition["of"], it):
        joint, _, place = moment.plant.ports[port].get("pattern", "/0").partition("/")
        for other, told in moment.plant.ports.items():
            name, _, number = told.get("pattern", "/0").partition("/")
            if (
                moment.plant.owner[other] != moment.plant.owner[port]
                or name != joint
                or int(number) >= int(place)
            ):
                continue
            loosened = moment.state.last([other], ["engage", "release"])
            torqued = moment.state.last([other], ["torque"])
            if moment.state.status[other] == "released":
                return False
            if loosened is not None and (torqued is None or torqued.number < loosened.number):
                return False
    return True


CUSTOMS: dict[str, Custom] = {"tightening-order": tightening_order}
