"""Random actions on a plant, most of them possible: as words, as rows of a journal, as steps of a sequence."""

from __future__ import annotations

import csv
import io
import json
import shlex
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

from tests.corpus.paper import toml
from tests.corpus.plants import HOLDS, JOINS, LADDERS, PLACES, STATUSES, Standing

START = datetime(2031, 5, 1, 9, tzinfo=UTC)
GAPS = (0, 0, 1, 1, 59.999999, 60, 60, 60.000001, 120, 300, 3600)
"""Seconds from one action to the next: about the limits of the rules, to the microsecond."""


def at(seconds: float) -> str:
    """Return a time so many seconds after the work began."""
    return (START + timedelta(microseconds=round(seconds * 1e6))).isoformat().replace("+00:00", "Z")


@dataclass
class Deed:
    """An action in the words of the trade; `more` are the other columns of its row."""

    action: str
    subjects: tuple[str, ...] = ()
    place: str = ""
    facing: str = ""
    status: str = ""
    values: str = ""
    more: dict[str, str] = field(default_factory=dict)

    def words(self) -> list[str]:
        """Return it as it is typed."""
        if self.action in ("begin", "end"):
            return [self.action, self.more["outing"]]
        if self.action == "remark":
            return [self.action, *self.subjects, self.more["remark"]]
        found = [self.action, *self.subjects[:1]]
        found += [self.status] if self.status else []
        found += [("from" if self.action in ("demate", "release") else "to"), self.subjects[1]] if len(
            self.subjects
        ) > 1 else []  # fmt: skip
        if self.place:
            found += [("by" if self.action == "lift" else "at"), self.place]
        found += ["facing", self.facing] if self.facing else []
        return found + shlex.split(self.values)

    def row(self, time: str, name: str) -> dict[str, str]:
        """Return it as a row of a journal."""
        row = {"id": name, "at": time, "action": self.action, "subject": " ".join(self.subjects[:1]),
               "subject2": " ".join(self.subjects[1:]), "place": self.place, "facing": self.facing,
               "status": self.status, "values": self.values, **self.more}  # fmt: skip
        return {key: value for key, value in row.items() if value}


def phrase(deed: Deed) -> str:
    """Return it as a step of a sequence says it."""
    return " ".join(shlex.quote(word) if " " in word else word for word in deed.words())


def jsonl(rows: Iterable[dict[str, Any]]) -> str:
    """Return rows as JSON Lines."""
    return "".join(json.dumps(row) + "\n" for row in rows)


def sheet(rows: list[dict[str, str]]) -> str:
    """Return rows as CSV."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(dict.fromkeys(key for row in rows for key in row)), restval="")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


class Drafter:
    """Draws actions one after the other; `now` goes along, roughly."""

    def __init__(self, r: Random, now: Standing) -> None:
        self.r = r
        self.now = now
        self.outing = 0
        self.open = False

    def draw(self) -> Deed:
        """Return something that is likely to be possible now, and take it as done."""
        r = self.r
        chosen = r.random()
        if chosen < 0.06:
            return self._noted()
        if chosen < 0.12:
            return self._measured()
        if chosen < 0.18:
            return self._found()
        if chosen < 0.36:
            return self._moved() or self._noted()
        if chosen < 0.42:
            return self._outing()
        return self._along() or self._noted()

    def impossible(self) -> Deed:
        """Return something that is likely to be impossible, each time for another reason."""
        r, now = self.r, self.now
        ports = list(now.plant.ports)
        port = r.choice(ports)
        kind = now.plant.ports[port]
        unit = r.choice(now.plant.units)
        alike = [p for p in ports if now.plant.ports[p] == kind and p != port]
        joining = [p for p in ports if any(a in LADDERS[now.plant.ports[p]] for a in JOINS)]
        plug, other = r.choice(joining), r.choice(joining)
        join = next(a for a in JOINS if a in LADDERS[now.plant.ports[plug]])
        same_owner = [p for p in joining if p != plug and p.partition(":")[0] == plug.partition(":")[0]
                      and join in LADDERS[now.plant.ports[p]]]  # fmt: skip
        made = sorted(now.mate)
        choices = [
            Deed(join, (plug, plug)),
            Deed(join, (plug, r.choice(same_owner or [other]))),
            Deed(join, (plug, other)),
            Deed(join, (plug, other)),
            Deed(join, (plug,)),
            Deed(r.choice(list(LADDERS[kind])), (port,)),
            Deed(r.choice(("cap", "torque", "open", "energise")), (port,)),
            Deed("mate", ("PUMP-1:F1", "BASE:F4")),
            Deed("mate", (f"{unit}:J1", r.choice(("BASE:J2", "BASE:J3", "BASE:J1")))),
            Deed("lift", (unit,)),
            Deed("lift", (unit,), place="RACK"),
            Deed("place", (unit,), place=now.place.get(unit, "BASE")),
            Deed("place", ("BAG",), place="POCKET"),
            Deed("place", ("ANN",), place=r.choice(("POCKET", "BAG"))),
            Deed("place", (unit,), place="SHELF"),
            Deed("place", (unit,), place="SHELF", facing="left"),
            Deed("place", (unit,), place="STAND"),
            Deed("place", (unit,), place="AISLE"),
            Deed("as-found", (plug,), status=now.status[plug]),
            Deed("as-found", ("BAG",), place="POCKET"),
        ]
        if alike and made:
            one = r.choice(made)
            undo = {"bolt": "release", "latch": "release", "rail": "release", "tether": "release",
                    "grip": "let-go"}.get(now.plant.ports[one], "demate")  # fmt: skip
            choices += [Deed(undo, (one, r.choice(ports))), Deed(undo, (one, r.choice(ports)))]
        return r.choice(choices)

    def _along(self) -> Deed | None:
        """Return a move along a ladder; half of the time one that joins."""
        r, now = self.r, self.now
        ports = list(now.plant.ports)
        joins = r.random() < 0.5
        for port in r.sample(ports, len(ports)):
            kind = now.plant.ports[port]
            moves = [a for a, (froms, _) in LADDERS[kind].items() if now.status[port] in froms]
            moves = [a for a in moves if (a in JOINS) == joins]
            if not moves or (kind == "grip" and joins and r.random() < 0.5):
                continue
            action = r.choice(moves)
            if action not in JOINS:
                both = port in now.mate and r.random() < 0.4 and action not in ("cap", "uncap")
                subjects = (port, now.mate[port]) if both else (port,)
                values = f'torque="{r.choice((15, 25, 28, 35))} N*m"' if action == "torque" else ""
                now.apply(action, port, "")
                return Deed(action, subjects, values=values)
            mates = [o for o in ports if now.can_join(port, o) and now.status[o] == now.status[port]]
            if mates:
                other = r.choice(mates)
                now.apply(action, port, other)
                return Deed(action, (port, other))
        return None

    def _moved(self) -> Deed | None:
        r, now = self.r, self.now
        held = [
            p for p, o in now.mate.items() if now.plant.ports[p] == "grip" and o.partition(":")[0] in PLACES
        ]
        units = [u for u in now.plant.units if not now.is_tied(u)]
        if held and r.random() < 0.5:
            port = r.choice(held)
            unit, by = port.partition(":")[0], now.mate[port].partition(":")[0]
            if unit in units:
                now.place[unit] = by
                return Deed("lift", (unit,), place="" if r.random() < 0.5 else by)
        unit = r.choice([*units, "ANN", "BEN", "ARM", "BAG"])
        place = r.choice(
            [p for p in (*PLACES, "BASE", "BASE", "BASE") if p not in (now.place.get(unit), unit)]
        )
        now.place[unit] = place
        return Deed("place", (unit,), place=place, facing="up" if place == "SHELF" else "")

    def _found(self) -> Deed:
        r, now = self.r, self.now
        if r.random() < 0.25:
            unit, place = r.choice([*now.plant.units, "BEN"]), r.choice(list(PLACES))
            now.place[unit] = place
            return Deed("as-found", (unit,), place=place)
        port = r.choice(list(now.plant.ports))
        kind = now.plant.ports[port]
        join = next((a for a in JOINS if a in LADDERS[kind]), "")
        status = r.choice(STATUSES[kind])
        rank = ("mated", "open", "engaged", "torqued", "held")
        if join and status in rank and kind != "valve":
            mates = [p for p in now.plant.ports if p != port and now.plant.ports[p] == kind]
            if port in now.mate and r.random() < 0.5:
                now.status[port] = status
                return Deed("as-found", (port,), status=status)
            other = r.choice(mates) if mates else port
            for half in (port, other):
                now.mate.pop(now.mate.pop(half, ""), "")
            now.mate.update({port: other, other: port})
            now.status[port] = now.status[other] = status
            return Deed("as-found", (port, other), status=status)
        left = now.mate.pop(port, "")
        if left:
            now.mate.pop(left, "")
            now.status[left] = "released" if kind in HOLDS else "demated"
        now.status[port] = status
        return Deed("as-found", (port,), status=status)

    def _measured(self) -> Deed:
        r, now = self.r, self.now
        where = r.choice([*now.plant.ports, *now.plant.units, *now.plant.nodes])
        bolts = [p for p, kind in now.plant.ports.items() if kind == "bolt"]
        value = r.choice(('pressure="0 bar"', 'pressure="3 bar"', 'temperature="15 degC"', 'volume="0.05 l"',
                          'torque="22 N*m"', 'voltage="0 V"', 'temperature="90 degF"'))  # fmt: skip
        if "torque" in value:
            where = r.choice(bolts)
        elif "temperature" in value:
            where = r.choice(now.plant.units)
        elif "volume" in value:
            where = r.choice(now.plant.nodes)
        return Deed("measure", (where,), values=value)

    def _noted(self) -> Deed:
        r, now = self.r, self.now
        thing = r.choice([*now.plant.units, *now.plant.ports, "RACK", "BASE"])
        if r.random() < 0.5:
            return Deed("inspect", (thing,))
        return Deed(
            "remark", (r.choice((thing, "pump")),), more={"remark": r.choice(("it hums", "stiff to turn"))}
        )

    def _outing(self) -> Deed:
        self.open = not self.open
        self.outing += self.open
        return Deed("begin" if self.open else "end", more={"outing": f"W{self.outing}"})


def said(r: Random, deed: Deed, outing: str) -> Deed:
    """Say more of an action: who did it, how well it is known, in which outing."""
    if r.random() < 0.5:
        deed.more.setdefault("by", r.choice(("ann", "ben")))
    if r.random() < 0.2:
        deed.more["basis"] = r.choice(("witnessed", "measured"))
    if outing and r.random() < 0.5 and deed.action not in ("begin", "end"):
        deed.more.setdefault("outing", outing)
    if r.random() < 0.1:
        deed.more.setdefault("remark", "seen by torchlight")
    return deed


def draw_sequence(r: Random, now: Standing, start: str) -> str:
    """Return a sequence of one or two outings, with tracks side by side."""
    drafter = Drafter(r, now)
    texts = ['title = "A random plan"\n']
    names: list[str] = []
    if r.random() < 0.5:
        texts.append('default_takes = ["1 min", "2 min", "4 min"]\n')
    for number in range(1, r.randint(1, 2) + 1):
        texts.append(f'[[outing]]\nid = "P{number}"\n')
        texts.append(f"start = {start}\n" if number == 1 and r.random() < 0.7 else "")
        texts.append(f'budget = "{r.choice((5, 30, 90))} min"\n' if r.random() < 0.5 else "")
        for track in ("ann", "ben", "cat")[: r.randint(1, 3)]:
            steps = [_step(r, drafter, names, f"{number}{track[0]}") for _ in range(r.randint(2, 6))]
            told = ",\n  ".join(toml(step) for step in steps)
            texts.append(f'[[outing.track]]\nname = "{track}"\nsteps = [\n  {told},\n]\n')
    return "".join(texts)


def _step(r: Random, drafter: Drafter, names: list[str], track: str) -> dict[str, Any]:
    deed = drafter.impossible() if r.random() < 0.06 else drafter.draw()
    while deed.action in ("begin", "end"):
        deed = drafter.draw()
    step: dict[str, Any] = {"do": phrase(deed)}
    name = f"{track}-{len(names)}"
    if r.random() < 0.7:
        step["id"] = name
        if names and r.random() < 0.2:
            step["after"] = [r.choice(names)]
        names.append(name)
    if r.random() < 0.7:
        step["takes"] = r.choice(("1 min", "5 min", "20 s", "1 h", ["1 min", "3 min", "9 min"]))
    return step
