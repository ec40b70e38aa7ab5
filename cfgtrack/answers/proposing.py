"""Which proposal is a question about: the one in a file, or else what is left of the plan in force."""

from __future__ import annotations

from pathlib import Path

from cfgtrack.answers.past import Past
from cfgtrack.files.sequence import read_sequence
from cfgtrack.model.sequence import Sequence
from cfgtrack.model.trouble import NoAnswer, Problem


def proposal(past: Past, path: Path | None) -> Sequence:
    """Return the sequence in a file, or without one what is left of the plan in force. NoAnswer when there is none."""
    if path is not None:
        return read_sequence(path, past.plant)
    sentence = "no plan is in force here: name a sequence file, or adopt one with `cfgtrack plan adopt FILE`"
    raise NoAnswer(Problem("plan", "no-plan", sentence))
