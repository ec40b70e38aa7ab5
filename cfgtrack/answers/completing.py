"""What did a sequence leave out, and where does it belong?"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cfgtrack.analysis.completing import Left
from cfgtrack.analysis.completing import complete as fill
from cfgtrack.analysis.goal import Takes
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.check import judged
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past, rules_to_judge_by
from cfgtrack.answers.proposing import proposed
from cfgtrack.files.goal import times_in
from cfgtrack.files.phrase import phrase
from cfgtrack.files.sequence import read_sequence
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.time import format_instant

WRITTEN = "# Completed from"
"""What a file that was completed begins with: such a one is written over, and no other."""


@dataclass(frozen=True, slots=True)
class AddedStep:
    """A step that was put in: on whose track, what it waits for; `assumed`: nobody has said how long it takes."""

    step: str
    outing: str
    track: str
    action: str
    after: tuple[str, ...]
    assumed: bool


@dataclass(frozen=True, slots=True)
class CompletedAnswer(Answer):
    """A sequence completed. `before` is its verdict as it was, `verdict` with what was `added`.

    `not_completed`: the steps that can't be done all the same, and the ends that break a rule. `text`: the completed
    sequence, as a file; `file`: where it was written, if it was.
    """

    before: str
    verdict: str
    said_for: str
    added: tuple[AddedStep, ...]
    not_completed: tuple[Left, ...]
    text: str
    file: str | None = None


def complete(
    asking: Asking,
    path: Path | None = None,
    output: Path | None = None,
    *,
    rules: Sequence[Path] = (),
    times: Path | None = None,
) -> CompletedAnswer:
    """Return a sequence with the steps that it left out, and write it to a file where one is named.

    The sequence in a file, else what is left of the plan in force; by the rules in files, else by those kept. What is
    added takes as long as the same does in the sequence, or in `times`.
    """
    if output is not None:
        asking.expect_writable(output, read=path)
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        chosen = rules_to_judge_by(past, rules)
        found = proposed(past, path)
        told = {} if times is None else times_in(read_sequence(times, past.plant), past.plant)
        before = judged(past, chosen, found.sequence, files=rules)
        done = fill(
            chosen,
            past.start_for(chosen),
            found.sequence,
            takes=Takes({**told, **times_in(found.sequence, past.plant)}),
            variances=past.variances,
            networks=past.networks,
            begun=past.begun,
        )
        report = judged(past, chosen, done.plan, files=rules)
    added = tuple(
        AddedStep(step.id, step.outing, step.track, phrase(step.action), step.after, step.assumed)
        for step in done.plan.steps
        if step.id in done.added
    )
    head = [
        f"{WRITTEN[2:]} {found.sequence.where or found.sequence.title} at {format_instant(past.moment.at)}:",
        f"  {len(added)} steps added, each with the title added",
    ]
    text = sequence_text(done.plan, head=head)
    if output is not None:
        with asking.written(output, earlier=re.compile(re.escape(WRITTEN).encode()), read=path) as part:
            part.write_text(text, encoding="utf-8")
    return CompletedAnswer(
        past.moment,
        str(before.verdict),
        str(report.verdict),
        report.said_for,
        added,
        done.left,
        text,
        None if output is None else str(output),
        notes=found.notes,
    )
