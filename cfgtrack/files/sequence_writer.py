"""Writes a sequence as the TOML that `files.sequence` reads back: outings, tracks, steps, waits and durations."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence

from cfgtrack.files.phrase import phrase
from cfgtrack.model.sequence import Outing, Step
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import format_duration, format_instant


def sequence_text(sequence: Proposal, *, head: Sequence[str] = ()) -> str:
    """Return the text of a sequence file, with comment lines at its `head`."""
    lines = [f"# {line}" for one in head for line in one.splitlines()]
    if sequence.title:
        lines += [*([""] if lines else []), f"title = {_string(sequence.title)}"]
    if sequence.leaves_open:
        lines.append(f"leaves_open = [{', '.join(map(_string, sequence.leaves_open))}]")
    for one in sequence.leaves_running:
        lines += ["", "[[leaves_running]]", f"clock = {_string(one.rule)}", f"of = {_string(one.subject)}"]
        lines += [f"outing = {_string(one.outing)}", f"start = {format_instant(one.start)}"]
    for outing in sequence.outings:
        lines += ["", *_outing(outing)]
        for track, steps in sequence.tracks(outing.id).items():
            lines += ["", *_track(track, steps)]
    return "\n".join(lines) + "\n"


def _outing(outing: Outing) -> Iterator[str]:
    yield "[[outing]]"
    yield f"id = {_string(outing.id)}"
    if outing.title:
        yield f"title = {_string(outing.title)}"
    if outing.start is not None:
        yield f"start = {format_instant(outing.start)}"
    if outing.budget is not None:
        yield f"budget = {_string(format_duration(outing.budget))}"


def _track(name: str, steps: Sequence[Step]) -> Iterator[str]:
    """Yield the lines of a track: done by whoever does most of its steps, where anybody is named."""
    doers = Counter(step.action.by for step in steps if step.action.by and not step.doer_assumed)
    doer = doers.most_common(1)[0][0] if doers else None
    yield "[[outing.track]]"
    yield f"name = {_string(name)}"
    if doer is not None:
        yield f"by = {_string(doer)}"
    yield "steps = ["
    for step in steps:
        yield f"    {{ {', '.join(_step(step, doer))} }},"
    yield "]"


def _step(step: Step, doer: str | None) -> Iterator[str]:
    yield f"id = {_string(step.id)}"
    yield f"do = {_string(phrase(step.action))}"
    if step.action.by and step.action.by != doer and not step.doer_assumed:
        yield f"by = {_string(step.action.by)}"
    spans = [_string(format_duration(span)) for span in step.takes]
    yield f"takes = {spans[0]}" if len({*step.takes}) == 1 else f"takes = [{', '.join(spans)}]"
    if step.after:
        yield f"after = [{', '.join(map(_string, step.after))}]"
    if step.title:
        yield f"title = {_string(step.title)}"


def _string(text: str) -> str:
    """Return a text as a TOML string: JSON's, but for the one character that TOML wants escaped besides."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
