"""Reads a proposed sequence: outings, their tracks, and the steps of each, from TOML."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.files.source import in_order, parse_toml, read_text
from cfgtrack.files.table import Table
from cfgtrack.model.action import BEGIN, BOOK_ACTIONS, END, Action
from cfgtrack.model.plant import Plant
from cfgtrack.model.presence import needs_nobody, not_a_doer
from cfgtrack.model.sequence import ASSUMED, Deadlock, LeftRunning, Outing, Sequence, Step, lay_out
from cfgtrack.model.time import LONGEST
from cfgtrack.model.trouble import BadInput, Problems, Trouble
from cfgtrack.model.unknown import DOER, UNKNOWN


def read_sequence(path: Path, plant: Plant) -> Sequence:
    """Read the sequence in a TOML file against a plant. Raises BadInput with every problem of the file."""
    problems = Problems()
    text = read_text(path, problems)
    problems.raise_if_any()
    return parse_sequence(text or "", plant, name=str(path))


def parse_sequence(text: str, plant: Plant, *, name: str = "sequence.toml") -> Sequence:
    """Read the sequence in a TOML text of that name against a plant. Raises BadInput as `read_sequence` does."""
    problems = Problems()
    document = parse_toml(name, text, problems)
    if document is None:
        raise BadInput(problems.found)
    root = Table(document, (), document.data, problems)
    reader = _SequenceReader(plant, problems)
    title = root.text("title")
    reader.assumed = read_takes(root, "default_takes") or ASSUMED
    for outing in root.tables("outing"):
        reader.outing(outing)
    if not document.data.get("outing"):
        root.note("", "missing", "a sequence needs at least one [[outing]]")
    leaves_open = root.words("leaves_open")
    leaves_running = tuple(filter(None, map(reader.left_running, root.tables("leaves_running"))))
    root.finish()
    reader.check_waits()
    sequence = Sequence(
        title,
        tuple(reader.outings),
        tuple(reader.steps),
        where=document.name,
        leaves_open=leaves_open,
        leaves_running=leaves_running,
    )
    reader.check_length()
    if not problems:
        reader.check_circles(sequence)
    if problems:
        raise BadInput(in_order(problems.found, [document.name]))
    return sequence


@dataclass(slots=True)
class _Doer:
    """Who does the steps of a track, "" where nobody is named; `missed` are the steps that are then done by nobody."""

    name: str
    assumed: bool
    missed: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _SequenceReader:
    plant: Plant
    problems: Problems
    assumed: tuple[int, int, int] = ASSUMED
    outings: list[Outing] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    tables: dict[str, Table] = field(default_factory=dict)

    def outing(self, table: Table) -> None:
        """Take in one [[outing]] with its tracks."""
        name = table.ident("id")
        if name:
            table.label = f"outing {name}"
        if name in (outing.id for outing in self.outings):
            table.note("id", "duplicate", f"there is an outing {name} already: give each outing its own id")
        start, budget = table.instant("start"), table.duration("budget")
        self.outings.append(Outing(name, start, budget, table.text("title"), table.spot().where))
        seen: set[str] = set()
        for track in table.tables("track"):
            track_name = track.ident("name")
            if track_name in seen and track_name:
                track.note(
                    "name",
                    "duplicate",
                    f"the outing has a track {track_name} already: put the steps of both into one, or rename one",
                )
            seen.add(track_name)
            doer = _Doer(*self._doer(track, track_name))
            steps = list(track.tables("steps"))
            if not steps and track.get("steps") in (None, []):
                track.note(
                    "",
                    "missing",
                    f"the track {track_name} has no steps: give it some, as in [[outing.track.steps]], or leave it out",
                )
            for i, step in enumerate(steps, 1):
                self._step(step, name, track_name, i, doer)
            if doer.missed:
                what = f"nobody does {doer.missed[0]}" + (
                    f" and {len(doer.missed) - 1} more" if doer.missed[1:] else ""
                )
                track.note(
                    "", "missing", f"{what}: say by = ... of the track or the step: a person or machine"
                )
            track.finish()
        table.finish()

    def left_running(self, table: Table) -> LeftRunning | None:
        """Return one [[leaves_running]]: a clock that a later outing, not of this sequence, meets."""
        rule, subject = table.ident("clock"), self.plant.resolve(table.text("of"))
        outing, start = table.ident("outing"), table.instant("start", required=True)
        if outing and outing in (one.id for one in self.outings):
            table.note(
                "outing", "unexpected", f"{outing} is an outing of this sequence: it meets the clock or not"
            )
        table.finish()
        return LeftRunning(rule, subject, outing, start) if rule and outing and start is not None else None

    def _doer(self, track: Table, name: str) -> tuple[str, bool]:
        """Return who does the steps of a track, and whether that is only assumed: its name is somebody's."""
        said, name = self.plant.resolve(track.text("by"), DOER), self.plant.resolve(name, DOER)
        if said and (why := not_a_doer(self.plant, said)):
            track.note("by", UNKNOWN, why, thing=not self.plant.sort_of(said))
        elif not said and not_a_doer(self.plant, name):
            return "", False
        return said or name, not said

    def _step(self, table: Table, outing: str, track: str, number: int, doer: _Doer) -> None:
        name = table.ident("id", required=False) or f"{outing}.{track}.{number}"
        table.label = f"step {name}"
        if name in self.tables:
            table.note(
                "id",
                "duplicate",
                f"there is a step {name} already, at {self.tables[name].spot().where}: give each step its own id",
            )
        self.tables.setdefault(name, table)
        takes = read_takes(table, "takes")
        action = self._action(table, name)
        by = self.plant.resolve(table.text("by"), DOER) or (action.by if action is not None else None)
        after, title = table.words("after"), table.text("title")
        table.finish()
        if action is None:
            return
        if by and (why := not_a_doer(self.plant, by)):
            table.note("by" if "by" in table.values else "do", UNKNOWN, why, thing=not self.plant.sort_of(by))
        elif not by and not doer.name and not needs_nobody(self.plant, action):
            doer.missed.append(name)
        step = Step(
            id=name,
            outing=outing,
            track=track,
            action=replace(action, outing=outing, by=by or doer.name or None),
            takes=takes or self.assumed,
            after=after,
            title=title,
            where=table.spot().where,
            assumed=takes is None,
            doer_assumed=self.plant.has_sites and not by and doer.assumed,
        )
        self.steps.append(step)

    def _action(self, table: Table, step: str) -> Action | None:
        text = table.text("do", required=True)
        if not text:
            return None
        try:
            words = split_phrase(text)
        except ValueError:
            table.note("do", "syntax", f"a quote is opened and never closed: {text}")
            return None
        try:
            event = parse_phrase(words, self.plant, id=step)
        except Trouble as err:
            for problem in err.problems:
                table.note("do", problem.code, problem.sentence)
            return None
        if event.action in (BEGIN, END):
            table.note("do", "unexpected", f"outings begin and end by themselves: leave out {event.action}")
        elif event.action in BOOK_ACTIONS:
            table.note("do", "unexpected", f"{event.action} is done to the record: no step of a sequence")
        return event

    def check_waits(self) -> None:
        """Note every `after` that names no step, the step itself, or one of a later outing."""
        rank = {outing.id: i for i, outing in enumerate(self.outings)}
        outing_of = {step.id: step.outing for step in self.steps}
        for step in self.steps:
            table = self.tables[step.id]
            for name in step.after:
                if not table.is_known("after", "step", name, self.tables):
                    continue
                if name == step.id:
                    table.note("after", "deadlock", "the step waits for itself")
                elif rank.get(outing_of.get(name, step.outing), 0) > rank[step.outing]:
                    table.note("after", "deadlock", f"{name} comes in a later outing, {outing_of[name]}")

    def check_length(self) -> None:
        """Note the step with which the sequence takes longer than any duration may."""
        total = 0
        for step in self.steps:
            total += step.takes[2]
            if total > LONGEST:
                sentence = "with this step the sequence takes more than a hundred years"
                self.tables[step.id].note("takes", "out-of-range", sentence)
                return

    def check_circles(self, sequence: Sequence) -> None:
        """Note the steps that wait for each other in a circle, at the first of them."""
        try:
            lay_out(sequence, 0)
        except Deadlock as deadlock:
            circle = _circle(deadlock.steps, sequence)
            self.tables[circle[0][0]].note(
                "after", "deadlock", f"these steps wait for each other: {_told(circle)}"
            )


def _circle(stuck: tuple[str, ...], sequence: Sequence) -> list[tuple[str, str]]:
    """Return pairs (step, step it waits for) of one circle. `stuck` are the first undone steps of their tracks."""
    steps = {step.id: step for step in sequence.steps}
    place = {step.id: (step.outing, step.track, i) for i, step in enumerate(sequence.steps)}
    head = {place[name][:2]: name for name in stuck}

    def undone(name: str) -> bool:
        first = head.get(place[name][:2])
        return first is not None and place[name] >= place[first]

    line: dict[str, str] = {}
    at = stuck[0]
    while at not in line:
        line[at] = next(name for name in steps[at].after if undone(name))
        at = head[place[line[at]][:2]]
    pairs = list(line.items())
    return pairs[list(line).index(at) :]


def _told(circle: list[tuple[str, str]]) -> str:
    told = []
    before = circle[-1][1]
    for step, waits_for in circle:
        ahead = f" (which comes before {before} on its track)" if step != before else ""
        told.append(f"{step}{ahead} waits for {waits_for}")
        before = waits_for
    return "; ".join(told)


def read_takes(table: Table, name: str) -> tuple[int, int, int] | None:
    """Return low, likely and high duration: from one text, or from a list of the three."""
    value = table.get(name)
    if value is None:
        return None
    if not isinstance(value, list):
        likely = table.lasting(name, value)
        return None if likely is None else (likely, likely, likely)
    if len(value) != 3:
        table.wrong(
            name, 'a duration, or the low, likely and high one such as ["3 min", "4 min", "8 min"]', value
        )
        return None
    low, likely, high = (table.lasting(name, one) for one in value)
    if low is None or likely is None or high is None:
        return None
    if not low <= likely <= high:
        told = ", ".join(value)
        table.note(
            name, "out-of-range", f"expected the low, likely and high duration in that order, found {told}"
        )
        return None
    return low, likely, high
