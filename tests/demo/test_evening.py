"""One evening of the demo's exchange as its lead types it: what went otherwise, and what he asks when it is late.

Forty steps of a night are done, one bolt is seized, a step is skipped, a port confused, half an hour lost. Nothing here
names a thing of the demo's plant: which step, bolt and port it is, the plan itself says.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from cfgtrack.answers import plan as plans
from cfgtrack.answers import record, steps
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.hardware import load
from cfgtrack.answers.rules import load as load_rules
from cfgtrack.answers.transfer import take_in
from cfgtrack.files.phrase import phrase, split_phrase
from cfgtrack.files.sequence import read_sequence
from cfgtrack.model.plant import Plant
from cfgtrack.model.sequence import Laid, Sequence, Step, lay_out
from cfgtrack.model.time import MINUTE, format_instant
from cfgtrack.model.trouble import Trouble
from tests.cli.conftest import Answer, Command
from tests.demo.as_run import DEMO, PLAN

LOST = 30 * MINUTE
DONE = 40
SCREEN = 40
"""So many lines are on a screen without scrolling; the answer is at its top."""


@dataclass(frozen=True, slots=True)
class Evening:
    """What was typed: the folder of the journal, the night, when it is, and which steps went otherwise."""

    folder: Path
    night: str
    at: int
    seized: Step
    skipped: Step
    confused: Step
    exchanged: str

    def ask(self, *words: object) -> Answer:
        """Ask by the command line, at that time."""
        command = Command(self.folder)
        return command(*words, "--at", format_instant(self.at))


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Evening:
    """Hold the evening: all of the first night as planned, then forty steps of the second, and what went otherwise."""
    folder = tmp_path_factory.mktemp("evening")
    asking = Asking(str(folder / "plant.db"), by=None, recorder="lead")
    load(asking, [DEMO / "hardware.toml"])
    load_rules(asking, [DEMO / "rules.toml"])
    take_in(asking, str(DEMO / "as-run.csv"))
    with asking.read() as journal:
        plant = journal.plant()
    plan = read_sequence(PLAN, plant)
    start = plan.outings[0].start
    assert start is not None
    layout = lay_out(plan, start)
    adopted = plans.adopt(replace(asking, at=start - LOST), PLAN).revision.event
    first, night = (outing.id for outing in plan.outings[:2])
    whole = [one for one in layout.steps if one.step.outing == first]
    ahead = [one for one in layout.steps if one.step.outing == night]
    record.record(replace(asking, at=layout.spans[first][0]), ["begin", first])
    _did(asking, adopted, whole, 0)
    record.record(replace(asking, at=layout.spans[first][1]), ["end", first])
    record.record(replace(asking, at=layout.spans[night][0]), ["begin", night])
    _did(asking, adopted, ahead[: DONE // 2], 0)
    _did(asking, adopted, ahead[DONE // 2 : DONE - 4], LOST)
    rest = ahead[DONE - 4 :]
    confused = _confuse(asking, plant, [one.step for one in ahead], rest)
    at = 0
    for one in [one for one in rest if one.step.id != confused.id][:4]:
        at = one.end + LOST
        steps.done(replace(asking, at=at), [one.step.id])
    rest = [one for one in rest if one.end + LOST > at]
    left = [one.step for one in rest if one.step.id != confused.id]
    seized = next(
        s for s in left if s.action.action == "release" and _kind(plant, s.action.subjects[0]) == "bolt"
    )
    skipped = next(s for s in left if s.action.action in ("inspect", "measure"))
    now = replace(asking, at=at + MINUTE)
    record.record(now, ["defect", "release", seized.action.subjects[0], "seized", "torque=140 N m"])
    steps.skip(now, [skipped.id], reason="no light")
    return Evening(folder, night, at + MINUTE, seized, skipped, confused, _exchanged(plan, plant))


def _did(asking: Asking, adopted: str, did: list[Laid], lost: int) -> None:
    """Record steps as `done` does, all at once: each done so much later than planned."""
    with asking.write() as journal:
        journal.record(
            replace(
                one.step.action,
                id=f"{one.step.id}@{adopted[:4]}",
                happened=one.end + lost,
                step=one.step.id,
                plan=adopted,
                recorder=asking.recorder,
            )
            for one in did
        )


def _kind(plant: Plant, address: str) -> str:
    found = plant.port(address)
    return "" if found is None else found[1].id


def _confuse(asking: Asking, plant: Plant, night: list[Step], coming: list[Laid]) -> Step:
    """Record the next step that can be, of another port of the same unit that no step of the night is of; return it."""
    named = {subject for step in night for subject in step.action.subjects}
    for one in coming:
        for action in _alternatives(plant, one.step, named):
            told = replace(asking, at=one.end + LOST, by=one.step.action.by, outing=one.step.outing)
            try:
                record.record(told, action)
            except Trouble:
                continue
            return one.step
    raise AssertionError("no step of the night can be confused")


def _alternatives(plant: Plant, step: Step, named: set[str]) -> Iterator[list[str]]:
    """Yield the words of what a step says, done to another port of the same unit and kind."""
    *before, last = step.action.subjects or ("",)
    owner = last.partition(":")[0]
    for port in plant.ports_of(owner) if ":" in last else ():
        if port not in named and _kind(plant, port) == _kind(plant, last):
            yield split_phrase(phrase(replace(step.action, subjects=(*before, port))))


def _exchanged(plan: Sequence, plant: Plant) -> str:
    """Return the unit that is exchanged: the first that a plan moves of which it moves a like one later."""
    moved = [one.action.subjects[0] for one in plan.steps if one.action.action in ("lift", "place")]
    units = [*dict.fromkeys(one for one in moved if one in plant.units)]
    parts = [plant.part_of(one) for one in units]
    return next(one for one, part in zip(units, parts, strict=True) if parts.count(part) > 1)


def _first_screen(answer: Answer) -> str:
    return "\n".join(answer.out.splitlines()[:SCREEN])


def test_how_it_goes_is_on_the_first_screen(evening: Evening) -> None:
    """The first line counts what is done, skipped, elsewhere, barred, and how late it is; then each, with its event."""
    answer = evening.ask("progress")
    assert answer.status == 3
    shown = _first_screen(answer)
    for told in ("1 skipped", "1 at another port or thing", "1 that can't be done", "31 min late"):
        assert told in " ".join(shown.split("\n\n")[0].split())
    for step in (evening.seized, evening.skipped, evening.confused):
        assert f"\n{step.id} " in shown
    found = json.loads(evening.ask("progress", "--json").out)
    lines = {one["id"]: one for one in found["steps"]}
    of_the_night = [one for one in found["steps"] if one["outing"] == evening.night]
    assert sum(one["state"] == "done" for one in of_the_night) == DONE
    assert lines[evening.confused.id]["state"] == "elsewhere"
    assert lines[evening.skipped.id]["state"] == "skipped"
    assert lines[evening.seized.id]["state"] == "left"
    assert found["extra"] == []


def test_what_is_left_is_a_sequence_that_can_be_checked(evening: Evening, tmp_path: Path) -> None:
    """What is left, written to a file, has every step that is neither done nor skipped; checked, it is what is asked of
    the plan in force; and the first thing that it can't do is to release the bolt."""
    file = tmp_path / "left.toml"
    assert evening.ask("left", "-o", file).status == 0
    of_plan, of_file = (evening.ask("check", *which, "--json") for which in ((), (file,)))
    assert of_plan.status == of_file.status == 3
    reports: list[dict[str, Any]] = [json.loads(one.out)["check"] for one in (of_plan, of_file)]
    assert reports[0]["steps"] == reports[1]["steps"]
    impossible = [one["step"] for one in reports[0]["steps"] if not one["possible"]]
    assert evening.seized.id in impossible
    assert f'id = "{evening.skipped.id}"' not in file.read_text()
    assert evening.seized.id in evening.ask("check").out


def test_whether_the_work_may_stop_is_one_command(evening: Evening) -> None:
    """`leave` answers for now, with the verdict on its first line; three, or nothing, is its exit status."""
    answer = evening.ask("leave")
    assert answer.status in (0, 3)
    assert answer.out.splitlines()[0]


def test_which_spare_is_one_command(evening: Evening) -> None:
    """`which --for` names the best one and why on its first lines, and all that could do on the first screen."""
    found = json.loads(evening.ask("which", "--for", evening.exchanged, "--json").out)["candidates"]
    answer = evening.ask("which", "--for", evening.exchanged)
    assert answer.status == 0
    assert answer.out.startswith(found[0]["thing"])
    assert all(f"\n{one['thing']} " in _first_screen(answer) for one in found)
    assert evening.exchanged not in {one["thing"] for one in found}


def test_each_answer_is_on_the_first_screen(evening: Evening) -> None:
    """May we stop, what is left, what does the rest break, which spare: one command and one screen answer each."""
    screens = {
        words: _first_screen(evening.ask(*words))
        for words in (("leave",), ("left",), ("check",), ("which", "--for", evening.exchanged))
    }
    assert screens[("leave",)].startswith("No, the work may not stop: ")
    assert f'id = "{evening.seized.id}"' in screens[("left",)]
    assert screens[("check",)].startswith("Not clear ")
    assert re.search(rf"^1 +IMPOSSIBLE +{re.escape(evening.seized.id)} ", screens[("check",)], re.MULTILINE)
    assert f"in place of {evening.exchanged}" in screens[("which", "--for", evening.exchanged)]


def test_the_night_goes_on_in_the_state_that_is_recorded(evening: Evening) -> None:
    """After the step that was confused, done at last, the answer says that it is foreseen; it is asked of no record."""
    answer = evening.ask("state", "--after", evening.confused.id)
    assert "NOT RECORDED" in answer.out
