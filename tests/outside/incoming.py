"""A drawing that nobody here made, brought in as anybody would: converted, and its files read again."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.convert import Converted, convert
from cfgtrack.files.definition import read_definition
from cfgtrack.files.foreign.reader import reader_of
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.path import Path as Way
from cfgtrack.rules.when.always import Always
from tests.happening import happened

AT = 1_900_000_000_000_000


def reaches(medium: str, ids: str, to: Selection) -> Rule:
    """Return the rule that every item of these ids reaches something: broken for whatever is cut off from it."""
    here = Selection(ids=(ids,), media=(medium,))
    return Rule("reach", "", "", 1, "", Always(), Way(medium, here, to), None)


class Incoming:
    """A foreign file as a plant, everything as it was found. `ids` leads from the file's names to ours."""

    def __init__(self, source: Path, folder: Path) -> None:
        self.converted: Converted = convert(Asking(str(folder / "none.db"), at=AT), source, folder / "plant")
        self.ids = reader_of(source).read(source).ids
        definition = read_definition([folder / "plant" / "plant.toml"])
        self.plant = definition.plant()
        self.now = Configuration(self.plant)
        for action in definition.initial:
            self.now.apply(happened(self.now, action))
        self.mates = {
            a: b
            for e in definition.initial
            if len(e.subjects) == 2
            for a, b in (e.subjects, e.subjects[::-1])
        }

    def parting(self, *ports: str) -> list[Event]:
        """Return the events that part these joints."""
        return [Event(f"part {port}", "demate", (port, self.mates[port]), AT + 1) for port in ports]

    def turning(self, port: str, action: str) -> Event:
        """Return the event that shuts or opens a valve, or throws a switch."""
        return Event(f"{action} {port}", action, (port,), AT + 1)

    def judge(self, rule: Rule, touched: Iterable[str]) -> Judge:
        """Return what tells who is cut off after this or that."""
        return Judge(self, rule, touched)


class Judge:
    """The rules engine on a plant, each question asked of the plant as it came in."""

    def __init__(self, plant: Incoming, rule: Rule, touched: Iterable[str]) -> None:
        self.engine = Engine(RuleSet((rule,)), plant.now.fork(), start=AT, touched=list(touched))

    def cut_off(self, events: Iterable[Event]) -> set[str]:
        """Return the addresses that are cut off after some events."""
        mark = self.engine.mark()
        for event in events:
            self.engine.step(event)
        self.engine.settle()
        found = {s for finding in self.engine.findings() for s in finding.subjects}
        self.engine.back(mark)
        return found
