"""Random rules in TOML, which between them draw every mode with every condition. A rule's id tells both."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product
from random import Random
from typing import Any

from tests.corpus.paper import toml
from tests.corpus.plants import LADDERS, STATUSES

Fields = dict[str, Any]

MODES = ("always", "always-tolerance", "at", "at-after", "within", "within-turning", "within-stays", "within-until",
         "within-thermal", "within-trapped", "by-outing", "by-sequence", "by-stop")  # fmt: skip
CONDITIONS = ("path", "no_path", "status-is", "status-at", "status-is-at", "count-is", "count-at", "count-path",
              "value-measured", "value-cycles", "value-elapsed", "value-rated", "done", "done-since", "done-quantity",
              "all", "any", "not", "custom")  # fmt: skip
PAIRS = tuple(product(MODES, CONDITIONS))
"""Every mode with every condition."""
_SELDOM_BROKEN = (
    ("within-turning", "custom"), ("within-thermal", "all"), ("within-turning", "not"), ("at", "value-cycles"),
    ("within-turning", "value-measured"),
)  # fmt: skip
_DRAWN = (*PAIRS, *_SELDOM_BROKEN * 4)
DRAWN = tuple(Random(0).sample(_DRAWN, len(_DRAWN)))
"""The pairs well mixed, some more often: a history takes the next few."""
WITHIN = tuple(
    product(
        ("within-turning", "within-stays", "within-until", "within-thermal"),
        ("status-is-at", "count-is", "value-cycles", "value-rated", "done", "all", "path"),
    )
)
"""Those of them that few histories break."""
LATE = 500
"""From this number on histories draw `WITHIN` alone."""
REFERENCES = ("it", "peer of it", "unit of it", "ports of it", "nodes of it", "place of it")
LIMITS = ("0 s", "59.999999 s", "1 min", "2 min", "5 min", "1 h")
GENERAL = ("place", "lift", "measure", "inspect", "as-found", "begin", "end", "remark")
ACTIONS = tuple(dict.fromkeys([a for moves in LADDERS.values() for a in moves])) + GENERAL
PLACES_AT = (["RACK"], ["home"], ["#stowage"], ["BASE", "S*"], ["ANN", "BAG"], ["#corridor"])

PORTS: tuple[tuple[Fields, tuple[str, ...]], ...] = (
    ({"kind": "fluid-disconnect"}, STATUSES["fluid-disconnect"]),
    ({"kind": ["fluid-disconnect", "valved-disconnect"]}, STATUSES["valved-disconnect"]),
    ({"id": "PUMP-1:F?"}, STATUSES["fluid-disconnect"]),
    ({"kind": "electrical-connector", "part": "pump"}, STATUSES["electrical-connector"]),
    ({"kind": ["valve", "switch"]}, ("open", "on", "shut")),
    ({"kind": "bolt", "part": ["pump", "pa*"]}, STATUSES["bolt"]),
    ({"kind": "grip"}, STATUSES["grip"]),
    ({"kind": "cover"}, STATUSES["cover"]),
    ({"id": ["BASE:V1", "BASE:K1"]}, ("open", "on", "off")),
    ({"what": "port", "place": "BASE"}, ("mated", "engaged", "open", "capped")),
    ({"medium": "power", "what": "port"}, ("mated", "on")),
)
"""Selections of ports, each with statuses that what it selects can have."""

ITEMS: tuple[Fields, ...] = (
    {"liquid": True}, {"liquid": True, "id": "PUMP-*"}, {"load": True}, {"source": True}, {"expansion": True},
    {"load": False, "medium": "power"}, {"loop": "A"}, {"tag": "redundant"}, {"tag": ["heated", "spare"]},
    {"what": "unit"}, {"what": "unit", "at": "RACK"}, {"what": "unit", "part": "pump"}, {"what": "place"},
    {"mobile": True}, {"place": "RACK"}, {"what": "node", "medium": "power", "at": "BASE"},
    {"kind": "fluid-disconnect", "at": ["#stowage", "ANN"]},
    {"what": "unit", "tag": "loose"}, {"tag": ["supply", "behind"], "what": "port"}, {"id": ["PUMP-1", "TOOL-1"]}, {},
)  # fmt: skip
ENDS: dict[str, Fields] = {
    "fluid": {"expansion": True}, "power": {"source": True}, "data": {"source": True},
    "hold": {"what": "place", "mobile": False},
}  # fmt: skip


class Author:
    """Writes the rules of one history."""

    def __init__(self, r: Random) -> None:
        self.r = r
        self.has_it = False

    def rule(self, number: int, mode: str, condition: str) -> str:
        """Return the text of a rule of a mode and a condition."""
        r = self.r
        scope = self._free() if r.random() < 0.5 else None
        if mode in ("within-turning", "within-stays", "within-until"):
            scope = r.choice((None, *(of for of, _ in PORTS)))
        if mode in ("within-thermal", "within-trapped"):
            scope = r.choice(({"what": "unit"}, {"liquid": True}, {"what": "unit", "id": "P*"}))
        self.has_it = scope is not None
        fields: Fields = {
            "id": f"{mode}.{condition}.{number}",
            "title": f"It is as rule {number} has it",
            "hazard": r.choice(("it bursts", "it freezes", "shock")),
            "severity": r.randint(1, 4),
            "source": "common practice",
            **self._mode(mode),
        }
        if mode.startswith("at") or "action" in fields.get("trigger", {}):
            self.has_it = True
        if scope is not None:
            fields["scope"] = scope
        fields["condition"] = self.condition(condition)
        return "[[rule]]\n" + "".join(f"{name} = {toml(value)}\n" for name, value in fields.items())

    def _mode(self, mode: str) -> Fields:
        r, name = self.r, mode.partition("-")[0]
        if name == "always":
            return {"mode": name, **({"tolerance": r.choice(LIMITS)} if "-" in mode else {})}
        if name == "at":
            return {"mode": name, "at": self._match(), **({"after": True} if "-" in mode else {})}
        if name == "by":
            return {"mode": name, "by": mode.partition("-")[2]}
        limit = mode.partition("-")[2]
        fields: Fields = {
            "mode": name,
            "within": limit if limit in ("thermal", "trapped") else r.choice(LIMITS),
        }
        if mode == "within-turning" or (mode != "within" and r.random() < 0.3):
            fields["trigger"] = {"turns_true": self._turning()}
        else:
            fields["trigger"] = self._match()
        if mode in ("within-stays", "within-until") or (limit in ("thermal", "trapped") and r.random() < 0.3):
            fields["stays"] = True
        if mode == "within-until":
            fields["until"] = self._match()
        return fields

    def _match(self) -> Fields:
        r = self.r
        if r.random() < 0.2:
            return {"action": ["place", "lift"], "what": "unit", "to": r.choice(PLACES_AT)}
        of = self._free() if r.random() < 0.3 else {}
        return {"action": r.sample(ACTIONS, r.randint(4, 16)), **of}

    def _turning(self) -> Fields:
        """Return a condition that is likely to turn true now and then."""
        r = self.r
        if self.has_it and r.random() < 0.6:
            statuses = tuple(dict.fromkeys(s for some in STATUSES.values() for s in some))
            return {"status": "it", "is": r.sample(statuses, len(statuses) // 2)}
        if r.random() < 0.5:
            of, statuses = r.choice(PORTS)
            some = r.sample(statuses, max(1, len(statuses) // 2))
            return {"not": {"count": of, "is": some, "at_least": r.randint(1, 3)}}
        return self.condition(r.choice(CONDITIONS[:12]))

    def condition(self, name: str, depth: int = 0) -> Fields:
        """Return the condition of a name of `CONDITIONS`."""
        return _WRITERS[name](self, depth)

    def _free(self) -> Fields:
        return dict(self.r.choice((*ITEMS, *(of for of, _ in PORTS))))

    def _of(self) -> Any:
        r = self.r
        if not self.has_it or r.random() < 0.3:
            return self._free()
        if r.random() < 0.6:
            return "it"
        of: Fields = {"of": r.choice(REFERENCES)}
        return {**of, **r.choice(({}, {}, {"medium": "fluid"}, {"load": True}, {"at": "#stowage"}))}

    def _ported(self) -> tuple[Any, list[str]]:
        """Return a selection with statuses that it can have."""
        r = self.r
        of: Any
        of, statuses = r.choice(PORTS)
        if self.has_it and r.random() < 0.7:
            of = r.choice(("it", "it", "ports of it", {"of": "peer of it"}))
            statuses = tuple(dict.fromkeys(s for some in STATUSES.values() for s in some))
        return of, r.sample(statuses, r.randint(1, min(len(statuses), 5)))

    def _way(self) -> tuple[str, Any, Any]:
        medium = self.r.choice(("fluid", "fluid", "power", "power", "hold", "data"))
        return medium, self._of(), ENDS[medium] if self.r.random() < 0.7 else self._of()

    def _path(self, _: int) -> Fields:
        medium, start, end = self._way()
        return {"path": medium, "from": start, "to": end}

    def _no_path(self, _: int) -> Fields:
        medium, start, end = self._way()
        if self.r.random() < 0.5:
            start = self.r.choice(({"place": "BASE"}, {"what": "unit"}, {"medium": medium}))
        return {"no_path": medium, "from": start, "to": end}

    def _status_is(self, _: int) -> Fields:
        of, statuses = self._ported()
        return {"status": of, "is": statuses}

    def _status_at(self, _: int) -> Fields:
        return {"status": self._of(), "at": self.r.choice(PLACES_AT)}

    def _status_is_at(self, _: int) -> Fields:
        return {**self._status_is(0), "at": self.r.choice(PLACES_AT)}

    def _bounds(self) -> Fields:
        return self.r.choice(({"at_least": 1}, {"at_least": 2}, {"at_most": 0}, {"at_most": 1},
                              {"at_least": 1, "at_most": 2}))  # fmt: skip

    def _count_is(self, _: int) -> Fields:
        of, statuses = self._ported()
        return {"count": of, "is": statuses, **self._bounds()}

    def _count_at(self, _: int) -> Fields:
        return {"count": self._of(), "at": self.r.choice(PLACES_AT), **self._bounds()}

    def _count_path(self, _: int) -> Fields:
        medium, start, end = self._way()
        return {"count": start, "path": medium, "to": end, **self._bounds()}

    def _value(self, quantity: str, *ranges: Fields) -> Fields:
        more = {"unmeasured": True} if self.r.random() < 0.4 else {}
        return {"value": self._of(), "quantity": quantity, **self.r.choice(ranges), **more}

    def _value_measured(self, _: int) -> Fields:
        if self.r.random() < 0.5:
            return self._value(
                "torque", {"min": "20 N*m"}, {"max": "25 N*m"}, {"min": "20 N*m", "max": "30 N*m"}
            )
        return self._value("pressure", {"max": "0 bar"}, {"min": "1 bar", "max": "200 kPa"})

    def _value_cycles(self, _: int) -> Fields:
        return self._value("cycles", {"max": 0}, {"min": 1}, {"max": 1})

    def _value_elapsed(self, _: int) -> Fields:
        since = {"since": self.r.sample(ACTIONS, 4)}
        return {
            **self._value("elapsed", {"max": "5 min"}, {"min": "1 min"}, {"min": "2 min", "max": "1 h"}),
            **since,
        }

    def _value_rated(self, _: int) -> Fields:
        return self._value(self.r.choice(("torque", "cycles")), {"rated": True})

    def _done(self, _: int) -> Fields:
        return {"done": self.r.sample(ACTIONS, self.r.randint(1, 6)), "of": self._of()}

    def _done_since(self, _: int) -> Fields:
        return {**self._done(0), "since": self.r.sample(ACTIONS, 4)}

    def _done_quantity(self, _: int) -> Fields:
        found: Fields = {"done": ["measure", "torque", "as-found"], "of": self._of(), "quantity": "torque"}
        return {**found, **({"since": self.r.sample(ACTIONS, 4)} if self.r.random() < 0.5 else {})}

    def _parts(self, depth: int) -> list[Fields]:
        simple = CONDITIONS if depth < 1 else CONDITIONS[:15]
        return [
            self.condition(self.r.choice(simple), depth + 1) for _ in range(self.r.choice((1, 1, 2, 2, 3)))
        ]

    def _all(self, depth: int) -> Fields:
        return {"all": self._parts(depth)}

    def _any(self, depth: int) -> Fields:
        return {"any": self._parts(depth)}

    def _negated(self, depth: int) -> Fields:
        return {"not": self.condition(self.r.choice(CONDITIONS if depth < 1 else CONDITIONS[:15]), depth + 1)}

    def _custom(self, _: int) -> Fields:
        return {"custom": "tightening-order", "of": self._of() if self.r.random() < 0.5 else {"kind": "bolt"}}


_WRITERS: dict[str, Callable[[Author, int], Fields]] = {
    name: getattr(Author, "_negated" if name == "not" else f"_{name.replace('-', '_')}")
    for name in CONDITIONS
}


def pairs_of(history: int, number: int) -> list[tuple[str, str]]:
    """Return so many pairs for the rules of a history: the next in `DRAWN`, of a late history in `WITHIN`."""
    drawn = DRAWN if history < LATE else WITHIN
    return [drawn[(history * number + n) % len(drawn)] for n in range(number)]


def draw_rules(r: Random, pairs: Sequence[tuple[str, str]]) -> str:
    """Return a rules file with a rule for each pair of a mode and a condition."""
    author = Author(r)
    texts = [author.rule(n, *pair) for n, pair in enumerate(pairs)]
    return 'title = "Random rules"\nmay_be_empty = true\n\n' + "\n".join(texts)
