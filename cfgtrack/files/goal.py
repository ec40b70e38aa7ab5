"""Reads a goal: what is wanted, who may do what for it, and how long that takes; from TOML or from phrases."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from cfgtrack.analysis.goal import STEPS, TIME, Goal, Span, Takes, Want, kept, swap
from cfgtrack.files.action import actions_of
from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.files.rule_table import RuleTable
from cfgtrack.files.selections import Against
from cfgtrack.files.sequence import read_takes
from cfgtrack.files.source import in_order, parse_toml, read_text
from cfgtrack.files.table import Table
from cfgtrack.model.action import BOOK_ACTIONS, FOUND
from cfgtrack.model.configuration import View
from cfgtrack.model.plant import Plant
from cfgtrack.model.presence import is_doer
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.trouble import BadInput, Problems, Trouble
from cfgtrack.model.unknown import DOER, MOVABLE, PLACE, UNKNOWN, look_up
from cfgtrack.rules.selection import place_fits


def read_goal(path: Path, now: View) -> Goal:
    """Read the goal in a TOML file against a configuration: where it starts. Raises BadInput with every problem."""
    problems = Problems()
    text = read_text(path, problems)
    problems.raise_if_any()
    return parse_goal(text or "", now, name=str(path))


def parse_goal(text: str, now: View, *, name: str = "goal.toml") -> Goal:
    """Read the goal in a TOML text of that name. Raises BadInput as `read_goal` does."""
    problems = Problems()
    document = parse_toml(name, text, problems)
    if document is None:
        raise BadInput(problems.found)
    root = Table(document, (), document.data, problems)
    plant = now.plant
    wants = [*_wanted(root, now), *_tabled(root, now)]
    for table in root.tables("swap"):
        old, new = (_thing(table, one, plant, MOVABLE) for one in ("old", "new"))
        to = _thing(table, "to", plant, PLACE, required=False)
        table.finish()
        wants += swap(now, old, new, to) if old and new else ()
    keep = root.some("keep")
    wants += kept(now, (one for one in keep if _is_known(root, "keep", one, plant)))
    workers = tuple(plant.resolve(one, DOER) for one in root.some("by"))
    for one in workers:
        if plant.has_sites and not is_doer(plant, one):
            root.note("by", UNKNOWN, f"{one} is no person or machine of the plant", thing=True)
    actions = root.some("actions")
    for one in actions:
        root.is_known("actions", "action", one, [a for a in actions_of(plant) if a not in BOOK_ACTIONS])
    without = root.some("without")
    least = root.text("least") or STEPS
    root.is_known("least", "measure", least, (STEPS, TIME))
    at_end = root.flag("at_end") if "at_end" in root.values else True
    title = root.text("title")
    takes = _takes(root)
    if not wants and not problems:
        root.note("", "missing", "a goal wants something: want = [...], [[want]] or [[swap]]")
    root.finish()
    if problems:
        raise BadInput(in_order(problems.found, [document.name]))
    return Goal(_once(wants), title, workers, actions, without, at_end, least, takes)


def wants_of(text: str, plant: Plant, *, where: str = "--want") -> Want:
    """Return what a phrase wants: `V shut`, `PUMP:F1 mated to PANEL:F1`, `PUMP at BAY facing up`. Raises as phrases do."""
    action = parse_phrase([FOUND, *split_phrase(text)], plant, where=where)
    subject, *mates = action.subjects or ("",)
    if action.place is not None:
        return Want(subject, places=(action.place,), facing=action.facing)
    return Want(subject, (action.status or "",), mate=mates[0] if mates else "")


def times_in(plan: Proposal, plant: Plant) -> dict[tuple[str, str], Span]:
    """Return how long actions take in a plan, those on a kind of port and the first of each; none that were assumed."""
    out: dict[tuple[str, str], Span] = {}
    for step in plan.steps:
        found = plant.port(step.action.subjects[0]) if step.action.subjects else None
        if not step.assumed:
            out.setdefault((step.action.action, found[1].id if found is not None else ""), step.takes)
    return out


def _wanted(root: Table, now: View) -> Iterator[Want]:
    for text in (
        root.some("want") if isinstance(root.values.get("want"), str | list) and not _has_tables(root) else ()
    ):
        try:
            yield wants_of(text, now.plant, where="want")
        except Trouble as err:
            for problem in err.problems:
                root.note("want", problem.code, problem.sentence)
        except ValueError:
            root.note("want", "syntax", f"a quote is opened and never closed: {text}")


def _has_tables(root: Table) -> bool:
    value = root.values.get("want")
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict)


def _tabled(root: Table, now: View) -> Iterator[Want]:
    for table in root.tables("want") if _has_tables(root) else ():
        yield from _selected(table, now)


def _selected(table: Table, now: View) -> Iterator[Want]:
    """Yield what a [[want]] wants of each thing that it selects."""
    clause = RuleTable(table, Against(now.plant), has_it=False)
    of = clause.selection("of")
    among, at = clause.statuses("is", of), clause.places("at", of)
    mate = table.text("to")
    if not among and not at:
        table.note("", "missing", "say what is wanted of it: is (a status) or at (a place)")
    table.finish()
    places = tuple(p for p in now.plant.places if at and place_fits(now.plant, p, at))
    for item in of.items(now):
        if places:
            yield Want(item, places=places)
        if among:
            yield Want(item, among, mate=now.plant.resolve(mate) if mate else "")


def _thing(table: Table, name: str, plant: Plant, wanted: Sequence[str], *, required: bool = True) -> str:
    text = table.text(name, required=required)
    if not text:
        return ""
    found = look_up(plant, text, wanted)
    if found.why:
        table.note(name, found.code, found.why, thing=found.code == UNKNOWN)
        return ""
    return found.address


def _is_known(table: Table, name: str, text: str, plant: Plant) -> bool:
    is_known = bool(plant.sort_of(plant.resolve(text)))
    if not is_known:
        table.note(name, UNKNOWN, f"there is no {text}", thing=True)
    return is_known


def _takes(root: Table) -> Takes:
    """Return the [takes]: by action, or by action and kind (of a unit, part), `mate`, `"mate bolt"`."""
    below = root.table("takes")
    if below is None:
        return Takes()
    of: dict[tuple[str, str], Span] = {}
    for name in below.values:
        action, _, kind = name.partition(" ")
        span = read_takes(below, name)
        if span is not None:
            of[action, kind] = span
    below.finish()
    return Takes(of)


def _once(wants: Sequence[Want]) -> tuple[Want, ...]:
    return tuple(dict.fromkeys(wants))
