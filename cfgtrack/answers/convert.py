"""What becomes of a file in a foreign form, and how a new plant begins: definition files, to be looked at."""

from __future__ import annotations

import errno
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer, Moment, noting
from cfgtrack.answers.starter import starter
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.definition import Definition
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import resolve
from cfgtrack.model.time import BadTime, parse_instant
from cfgtrack.model.trouble import BadInput, Problem

if TYPE_CHECKING:
    from cfgtrack.files.foreign.drawing import Drawing

RULES = "rules.toml"
"""The file of starter rules that `new` writes."""


@dataclass(frozen=True, slots=True)
class Counted:
    """A sort of thing, and how many there are."""

    what: str
    number: int


@dataclass(frozen=True, slots=True)
class Taken:
    """Something that was guessed or left out, and the things it is about."""

    what: str
    things: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Guarded:
    """A starter rule that fits a plant, and how many things it would guard, the first few of them by name."""

    rule: str
    severity: int
    title: str
    number: int
    first: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Converted(Answer):
    """What came in from `sources` of a form, what was guessed and left out, and the files in which it stands now.

    `came` counts what was there in the source's own words, `made` what it has become. With `dry_run` nothing was
    written.
    """

    dry_run: bool
    sources: tuple[str, ...]
    form: str
    came: tuple[Counted, ...]
    guessed: tuple[Taken, ...]
    left_out: tuple[Taken, ...]
    made: Mapping[str, int]
    folder: str
    files: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Begun(Converted):
    """A new plant. `rules` are the starter rules that fit, `unfit` those that would guard nothing."""

    rules: tuple[Guarded, ...] = ()
    unfit: tuple[str, ...] = ()


FIRST = 3
"""So many of the things that a rule would guard are named."""


def convert(asking: Asking, source: Path, folder: Path, *, form: str = "") -> Converted:
    """Turn a file in a foreign form into definition files in a folder. None that is there is written over.

    BadInput for what can't be read, or doesn't hold together; NoAnswer for a form whose extra is missing.
    """
    from cfgtrack.files.foreign.reader import reader_of

    drawing = reader_of(source, form).read(source)
    at = _instant(asking)
    with noting((f"{source}: what it says doesn't hold together as a plant:",)):
        definition, texts = _definition(drawing, at, _head(drawing.form, [source]))
    _write(folder, texts, dry_run=asking.dry_run)
    return Converted(*_told(asking, at, [source], drawing, definition), str(folder), tuple(texts))


def new(asking: Asking, folder: Path, *, units: Path | None = None, joints: Path | None = None) -> Begun:
    """Begin a plant in a folder: an empty one, with comments, or one from a list of units and one of joints.

    The starter rules that fit it stand beside it, with an empty one all of them. BadInput with every problem of both
    lists.
    """
    at = _instant(asking)
    if units is None:
        if joints is not None:
            raise BadInput(
                Problem("--joints", "missing", "joints of what? name a list of units with --units")
            )
        texts = {**_empty(), RULES: starter().text}
        _write(folder, texts, dry_run=asking.dry_run)
        made = {"parts": 0, "units": 0, "joints": 0}
        return Begun(Moment(at), asking.dry_run, (), "", (), (), (), made, str(folder), tuple(texts))
    from cfgtrack.files.definition import shipped
    from cfgtrack.files.foreign.drawing import JOINTS
    from cfgtrack.files.foreign.lists import read_lists

    sources = [units, *([joints] if joints is not None else [])]
    drawing = read_lists(units, joints, [medium for medium in shipped().media if medium in JOINTS])
    definition, texts = _definition(drawing, at, _head(drawing.form, sources))
    rules, unfit, texts[RULES] = _fitting(definition)
    _write(folder, texts, dry_run=asking.dry_run)
    return Begun(
        *_told(asking, at, sources, drawing, definition), str(folder), tuple(texts), rules=rules, unfit=unfit
    )


def _instant(asking: Asking) -> int:
    """Return when the plant stands as it is drawn: the time that is given, else now."""
    if asking.at is None:
        return asking.clock()
    try:
        return asking.at if isinstance(asking.at, int) else parse_instant(asking.at)
    except BadTime as err:
        raise BadInput(Problem("--at", "bad-time", str(err))) from None


def _head(form: str, sources: Sequence[Path]) -> list[str]:
    from cfgtrack.files.foreign.drawing import clean

    names = clean(" and ".join(source.name for source in sources))
    return [
        f"From {names} ({form}). Look at it, change it, and load it: cfgtrack load plant.toml",
        "Loading it again later shows what would change: cfgtrack load --dry-run plant.toml",
    ]


def _definition(drawing: Drawing, at: int, head: list[str]) -> tuple[Definition, dict[str, str]]:
    """Return the definition that a drawing makes, and its files, which have been read again: BadInput if they can't."""
    from cfgtrack.files.definition import parse_definition
    from cfgtrack.files.definition_files import definition_files

    texts = definition_files(drawing.definition(at=at), head=[*head, *_said(drawing)])
    sheets = {name: text for name, text in texts.items() if name.endswith(".csv")}
    return parse_definition({n: t for n, t in texts.items() if n not in sheets}, sheets=sheets), texts


def _said(drawing: Drawing) -> Iterator[str]:
    """Yield what was guessed and left out, for the head of the file: who looks at it later wants to know."""
    from cfgtrack.files.foreign.drawing import clean

    for label, taken in (("Guessed", drawing.guessed), ("Left out", drawing.left_out)):
        if taken:
            yield ""
            yield f"{label}:"
        for what, things in taken.items():
            first = ", ".join(things[:FIRST])
            more = f" and {len(things) - FIRST} more" if len(things) > FIRST else ""
            yield clean(f"- {what}: {first}{more}")


def _told(
    asking: Asking, at: int, sources: Sequence[Path], drawing: Drawing, definition: Definition
) -> tuple[
    Moment,
    bool,
    tuple[str, ...],
    str,
    tuple[Counted, ...],
    tuple[Taken, ...],
    tuple[Taken, ...],
    Mapping[str, int],
]:
    """Return the first fields of `Converted`."""
    guessed, left_out = (
        tuple(Taken(what, tuple(things)) for what, things in taken.items())
        for taken in (drawing.guessed, drawing.left_out)
    )
    made = {"parts": len(drawing.parts), "units": len(definition.units), "joints": len(drawing.joined)}
    names = tuple(map(str, sources))
    came = tuple(Counted(what, number) for what, number in drawing.came.most_common())
    return Moment(at), asking.dry_run, names, drawing.form, came, guessed, left_out, made


def _write(folder: Path, texts: Mapping[str, str], *, dry_run: bool) -> None:
    """Write files into a folder, made where it is missing. BadInput, and nothing is written, where one is there."""
    from cfgtrack.files.writer import replacing

    there = [name for name in texts if (folder / name).exists()]
    if there:
        sentence = "there is a file already, and somebody may have changed it: name another folder"
        raise BadInput([Problem(str(folder / name), "spared", sentence) for name in there])
    if folder.exists() and not folder.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, "expected a folder, found a file", str(folder))
    if dry_run:
        return
    is_new = not folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    try:
        for name, text in texts.items():
            with replacing(folder / name, new=True) as file:
                file.write_text(text, encoding="utf-8", newline="")
            written.append(folder / name)
    except BaseException:
        for path in written:
            path.unlink(missing_ok=True)
        if is_new:
            with suppress(OSError):
                folder.rmdir()
        raise


# --- the starter rules that fit ---------------------------------------------------------------------------------------

_RULE = re.compile(r"(?:^#[^\n]*\n)*^\[\[rule\]\]\n(?:(?!^#|^\[\[)[^\n]*\n)*", re.MULTILINE)
_SECTION = re.compile(r"^# ---[^\n]*\n", re.MULTILINE)


def _fitting(definition: Definition) -> tuple[tuple[Guarded, ...], tuple[str, ...], str]:
    """Return the starter rules that guard something in a plant, the ids of the others, and a file of the first."""
    from cfgtrack.files.rules import parse_rules

    plant = definition.plant()
    now = Configuration(plant)
    for action in definition.initial:
        outcome = resolve(now, action)
        if isinstance(outcome, Event):
            now.apply(outcome)
    blocks = [_SECTION.sub("", found[0]).strip("\n") for found in _RULE.finditer(starter().text)]
    fitting, unfit, kept = [], [], []
    rules = parse_rules({RULES: starter().text}, plant).rules
    for rule, block in zip(rules, blocks, strict=True):
        items = rule.guards(now)
        if not items:
            unfit.append(rule.id)
            continue
        fitting.append(Guarded(rule.id, rule.severity, rule.title, len(items), tuple(items[:FIRST])))
        kept.append(block)
    head = (
        "# The starter rules that guard something in this plant; `cfgtrack rules starter` prints all of them.\n"
        '# Set your own limits, then keep it: cfgtrack rules load rules.toml\n\ntitle = "Starter rules that fit"\n'
        "may_be_empty = true\n"
    )
    text = "\n".join([head, *(f"{block}\n" for block in kept)])
    parse_rules({RULES: text}, plant)
    return tuple(fitting), tuple(unfit), text


# --- an empty plant ---------------------------------------------------------------------------------------------------


def _empty() -> dict[str, str]:
    """Return the files of an empty plant: its comments say what can stand there."""
    from cfgtrack.files.definition_files import MAIN

    return {MAIN: EMPTY}


EMPTY = """\
# A plant. Lines that begin with # and no blank are an example: take the # away, and it can be loaded.
# See what would be loaded: cfgtrack load --dry-run plant.toml
# Load it: cfgtrack load plant.toml
# Long lists can stand in CSV files, each named in a [[csv]] table: file = "units.csv", table = "units".

title = "A new plant"

# A part: a pattern of which there are units. Its ports are halves of interfaces, or valves and switches; their kinds
# come with the tool (fluid-disconnect, valve, electrical-connector, switch, bolt, ...), and can be added to. A node
# is where a medium collects: with litres it is a volume; source, expansion and load say what it is for. A link leads
# from one to another, through a gate where a third name is given.

#[[part]]
#id = "tank"
#title = "Coolant tank"
#mass = "40 kg"
#port = [ { name = "OUT", kind = "fluid-disconnect", size = "DN25" }, { name = "V", kind = "valve" } ]
#node = [ { name = "COOLANT", medium = "fluid", litres = "60 l", expansion = true } ]
#links = [ ["OUT", "COOLANT", "V"] ]

#[[part]]
#id = "cooler"
#title = "Cooler"
#port = [ { name = "IN", kind = "fluid-disconnect", size = "DN25" } ]
#node = [ { name = "COILS", medium = "fluid", litres = "4 l" } ]
#links = [ ["IN", "COILS"] ]

# Units, each of a part, by their serial numbers or tags.

#[[unit]]
#id = "TANK-1"
#part = "tank"

#[[unit]]
#id = "COOLER-1"
#part = "cooler"

# Places, where units can be. A place that is mobile is a person, a machine or a bag; `site = true` says that work on
# what is there is done by who is there.

#[[place]]
#id = "HALL"

#[[place]]
#id = "BAY-1"
#parent = "HALL"
#holds = true

# How it stands at the beginning: what is joined, open, and where.

#[initial]
#at = 2030-01-01T00:00:00Z
#by = "survey"
#joined = [ ["TANK-1:OUT", "COOLER-1:IN"] ]
#[initial.status]
#"TANK-1:V" = "open"
#[initial.place]
#TANK-1 = "BAY-1"
#COOLER-1 = "BAY-1"
"""
