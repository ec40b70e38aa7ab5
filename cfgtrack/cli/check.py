"""`check` and `can`: what a proposal would break, and what may be done next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.state import entry_json, thing_argument

if TYPE_CHECKING:
    from cfgtrack.analysis.check import CheckReport
    from cfgtrack.cli.past import Past
    from cfgtrack.model.event import Entry
    from cfgtrack.model.plant import Plant
    from cfgtrack.model.sequence import Sequence
    from cfgtrack.rules.rule import RuleSet
    from cfgtrack.show.moment import Moment

rules_option = click.option(
    "--rules",
    "rules_files",
    metavar="FILE",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Judge by these rules instead of those kept in the database.",
)


@s.command("check")
@click.argument("sequence", metavar="[SEQUENCE.toml]", required=False, type=click.Path(path_type=Path))
@click.option(
    "--do", "action", metavar="ACTION", help="A single action instead, as in --do 'demate PUMP-1:F1'."
)
@rules_option
@s.asked_at
@click.option(
    "--steps", "by_step", is_flag=True, help="List every step, with the clocks it starts and stops."
)
def check_command(
    session: s.Session,
    sequence: Path | None,
    action: str | None,
    rules_files: tuple[Path, ...],
    by_step: bool,
) -> None:
    """Check a proposed sequence, or a single action, against the rules: from the present, or from --at any time.

    Exit status 3 when there is a finding, 0 when there is none. Nothing is recorded.
    """
    from cfgtrack.analysis.check import check
    from cfgtrack.cli.past import Past

    if (sequence is None) == (action is None):
        raise click.UsageError("Give a sequence file, or a single action with --do.")
    with session.read() as journal:
        moment = session.moment(journal)
        past = Past(journal, moment)
        rules = chosen_rules(past, rules_files)
        proposal = _single(action, past.plant) if action is not None else _file(sequence, past.plant)
        report = check(rules, past.start, proposal, variances=past.variances, networks=past.networks)
        touched = dict.fromkeys(subject for step in report.steps for subject in step.action.subjects)
        remarks = journal.remarks(touched, at=moment.at, known=moment.known)
    session.answer(
        moment,
        lambda: _text(report, moment, remarks, by_step=by_step, colour=session.colour),
        lambda: {"check": report.to_json(), "remarks": [entry_json(entry) for entry in remarks]},
    )
    session.end(found=report.findings)


def chosen_rules(past: Past, files: tuple[Path, ...]) -> RuleSet:
    """Return the rules to judge by: those in the files, else those kept. NoAnswer when there are none."""
    from cfgtrack.cli.past import rules_to_judge_by
    from cfgtrack.cli.ruling import read_rules

    return read_rules(files, past.plant) if files else rules_to_judge_by(past)


def _single(action: str, plant: Plant) -> Sequence:
    """Return a proposal of the one action that a phrase says."""
    from cfgtrack.analysis.check import one_step
    from cfgtrack.cli.record import no_answer_if_unknown
    from cfgtrack.files.phrase import parse_phrase, split_phrase
    from cfgtrack.model.action import BOOK_ACTIONS
    from cfgtrack.model.trouble import BadInput, Problem

    try:
        words = split_phrase(action)
    except ValueError:
        raise BadInput([Problem("--do", "syntax", "a quote is opened and never closed", action)]) from None
    try:
        event = parse_phrase(words, plant, id="1", where="--do")
    except BadInput as err:
        raise no_answer_if_unknown(err) from None
    if event.action in BOOK_ACTIONS:
        sentence = f"{event.action} is done to the record: there is nothing to check in it"
        raise BadInput([Problem("--do", "unexpected", sentence, action)])
    return one_step(event)


def _file(path: Path | None, plant: Plant) -> Sequence:
    from cfgtrack.files.sequence import read_sequence

    assert path is not None
    return read_sequence(path, plant)


def _text(report: CheckReport, moment: Moment, remarks: list[Entry], *, by_step: bool, colour: bool) -> str:
    from cfgtrack.show.findings import check_text, steps_text
    from cfgtrack.show.record import remarks_text

    texts = (
        steps_text(report, colour=colour) if by_step else "",
        check_text(report, moment, colour=colour),
        remarks_text(remarks, moment),
    )
    return "\n\n".join(text for text in texts if text)


@s.command("can")
@thing_argument
@rules_option
@s.asked_at
def can_command(
    session: s.Session,
    thing: str,
    rules_files: tuple[Path, ...],
) -> None:
    """Show what may be done next to a unit, port, place, person or machine: each action allowed, or what it breaks.

    Of a volume or another node inside a unit: what may be done to the ports and gates that lead to it.
    """
    from cfgtrack.analysis.options import options
    from cfgtrack.cli.past import Past
    from cfgtrack.cli.state import expect_known
    from cfgtrack.files.phrase import phrase
    from cfgtrack.show.choices import Choice, choices_text

    with session.read() as journal:
        moment = session.moment(journal)
        expect_known(journal, thing, moment.known, parts=False)
        past = Past(journal, moment)
        rules = chosen_rules(past, rules_files)
        found = options(rules, past.start, thing, variances=past.variances, networks=past.networks)
    choices = [
        Choice(
            phrase(o.event),
            o.findings,
            (),
            tuple(dict.fromkeys(d.rule for d in o.started)),
        )
        for o in found.options
    ]
    more = f"\n\nmore than are listed: {', '.join(found.cut)}" if found.cut else ""
    session.answer(
        moment,
        lambda: choices_text(thing, choices, moment) + more,
        lambda: {
            "can": [
                {**choice.to_json(), "excused": [f.to_json() for f in option.excused]}
                for choice, option in zip(choices, found.options, strict=True)
            ],
            "more": list(found.cut),
        },
    )
