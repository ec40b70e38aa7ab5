"""The public questions about the time before, asked again after hardware has changed: the same JSON, to the byte."""

from __future__ import annotations

import json
import re
from pathlib import Path
from random import Random
from typing import Any

from cfgtrack.answers import amend, hardware, history, record, review, rules, state, trust
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.encode import json_of
from cfgtrack.model.time import SECOND, parse_instant
from cfgtrack.model.trouble import Trouble
from tests.corpus.deeds import START, Drafter, at
from tests.corpus.laws import draw_rules, pairs_of
from tests.corpus.plants import draw_plant
from tests.store.conftest import FreshUrl

CASES = 2
"""How many random plants are asked on each database, in an ordinary run."""

FIRST = parse_instant(START.isoformat().replace("+00:00", "Z"))
_PART = re.compile(r'\[\[part\]\]\nid = "(pump|panel|box)"\n.*?(?=\n\[\[)', re.DOTALL)


def answers(asking: Asking, units: list[str]) -> str:
    """Return what every question about a moment is answered, as JSON; what tells when that was known is left out."""
    assert isinstance(asking.at, int)
    asked: list[Any] = [
        state.everything(asking),
        review.findings(asking),
        review.review(asking),
        history.difference(asking, asking.at - 600 * SECOND, asking.at),
        *(history.history(asking, unit, end=asking.at + 1) for unit in units),
    ]
    for unit in units:
        try:
            asked.append(state.state(asking, unit))
        except Trouble as err:
            asked.append(str(err))
    told = [one if isinstance(one, str) else json_of(one) for one in asked]
    for one in told:
        if isinstance(one, dict):
            one.pop("known")
            one.pop("time_note", None)
            one.get("before", {}).pop("known", None)
    return json.dumps(told, indent=1)


def _retired(asking: Asking, units: list[str]) -> str:
    """Retire the first unit that can be; return the event's id."""
    for unit in units[:-1]:
        try:
            return amend.retire(asking, unit, reason="worn").event.event.id
        except Trouble:
            continue
    return amend.retire(asking, units[-1], reason="worn").event.event.id


def one_plant(seed: int, url: str, folder: Path) -> dict[str, int]:
    """Change the hardware of a random plant, and ask about the time before; return how often it could be changed."""
    r = Random(seed)
    plant, now = draw_plant(r)
    spare = '\n[[unit]]\nid = "SPARE-1"\npart = "box"\n'
    plant.text = plant.text.replace("\n[[unit]]", f"{spare}[[unit]]", 1)
    units = [*plant.units[:2], "SPARE-1"]
    present = FIRST + 86_400 * SECOND
    ticks = iter(range(present, present + 10**9))

    def asking(**more: Any) -> Asking:
        return Asking(url, clock=lambda: next(ticks), by="ina", **more)

    def file(name: str, text: str) -> Path:
        path = folder / f"{seed}-{name}"
        path.write_text(text)
        return path

    hardware.load(asking(), [file("plant.toml", plant.text)])
    rules.load(asking(), [file("rules.toml", draw_rules(r, pairs_of(seed, 5)))])
    drafter, time = Drafter(r, now), 0.0
    changed = {"revised": 0, "retired": 0, "taken back": 0}
    revisions: list[str] = []
    for step in range(24):
        time += r.choice((0, 1, 60, 300, 900))
        if step % 6 != 5:
            try:
                record.record(asking(at=at(time)), drafter.draw().words())
            except Trouble:
                continue
            continue
        effective = FIRST + round(r.choice((time, time / 2, time + 60))) * SECOND
        instants = [effective - 1 - r.choice((0, r.randint(0, 3_000) * SECOND))]
        known = hardware.defined(asking()).moment.known
        before = [answers(asking(at=when), units) for when in instants]
        then = answers(asking(at=effective + 60 * SECOND, known_at=known), units)
        how = ("retired", "revised", "revised", "taken back")[step // 6]
        try:
            if how == "revised":
                other = {m[1]: m[0] for m in _PART.finditer(draw_plant(Random(r.random()))[0].text)}
                name = r.choice(sorted(other))
                old = {m[1]: m[0] for m in _PART.finditer(plant.text)}
                text = plant.text.replace(old[name], other[name])
                text = text[: text.index("\n[initial]")] if "\n[initial]" in text else text
                done = hardware.load(
                    asking(), [file(f"{step}.toml", text)], effective=effective, reason="revised"
                )
                revisions += [entry.event.id for entry in done.load.entries]
            elif how == "retired":
                revisions.append(_retired(asking(at=effective), r.sample(units, len(units))))
            elif revisions:
                amend.withdraw(asking(at=present), revisions.pop(), reason="not so")
                continue
        except Trouble:
            continue
        changed[how] += 1
        assert [answers(asking(at=when), units) for when in instants] == before
        assert answers(asking(at=effective + 60 * SECOND, known_at=known), units) == then
        assert trust.audit(asking()).sound
    return changed


def test_the_time_before_is_answered_as_it_was(fresh_url: FreshUrl, tmp_path: Path) -> None:
    """State, findings, review, history and differences of an earlier instant are the same JSON after every revision."""
    met: dict[str, int] = {}
    for seed in range(CASES):
        try:
            for what, times in one_plant(seed, fresh_url(), tmp_path).items():
                met[what] = met.get(what, 0) + times
        except (AssertionError, Trouble) as err:
            raise AssertionError(f"seed {seed}") from err
    assert met["revised"] >= CASES // 2
    assert met["retired"]
