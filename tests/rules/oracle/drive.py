"""The tool itself, asked about a case by its public questions: loaded, recorded and reviewed as people would."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from cfgtrack.answers import amend, check, hardware, review, rules, transfer
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.encode import json_of
from tests.rules.oracle import toml
from tests.rules.oracle.worlds import Case


@dataclass(frozen=True)
class Answer:
    """What the tool found: each finding as its JSON says it, each running clock, and each thing found otherwise.

    Where a case approves a finding, that one, and what is excused since; which of them stand else is told before it.
    """

    findings: list[dict[str, Any]]
    clocks: list[dict[str, Any]]
    discrepancies: list[dict[str, Any]] = field(default_factory=list)
    approved: dict[str, Any] | None = None
    excused: list[dict[str, Any]] = field(default_factory=list)
    paced: frozenset[str] = frozenset()
    """Of a plan, the rules that are broken whatever its steps take: with likely durations or others, new or before."""


def offset(text: str | None) -> int | None:
    """Return an answer's time as a case counts it."""
    if text is None:
        return None
    return (datetime.fromisoformat(text) - toml.START) // timedelta(microseconds=1)


def ask(drawn: Case) -> Answer:
    """Return what the tool makes of a case: the review of its record, or the check of its plan."""
    with _loaded(drawn) as (folder, asking):
        if drawn.plan is not None:
            plan = folder / "plan.toml"
            plan.write_text(toml.plan_text(drawn.plan), encoding="utf-8")
            told = json_of(check.check(asking(toml.instant(0)), plan))["check"]
            likely = [finding for finding in told["new"] if finding["mix"] == "likely"]
            every = (f for group in ("new", "open", "mended", "past") for f in told[group])
            return Answer(likely, told["clocks"], paced=frozenset(finding["rule"] for finding in every))
        (folder / "events.csv").write_text(toml.events_text(drawn.events), encoding="utf-8")
        if drawn.events:
            transfer.take_in(asking(None), str(folder / "events.csv"))
        at = asking(toml.instant(drawn.horizon))
        reviewed, opened = json_of(review.review(at)), json_of(review.findings(at))
        answer = Answer(reviewed["findings"], opened["clocks"], opened["discrepancies"])
        if not drawn.variances or not reviewed["findings"]:
            return answer
        (variance,) = drawn.variances
        approved = reviewed["findings"][variance.number % len(reviewed["findings"])]
        until = None if variance.until is None else toml.instant(variance.until)
        amend.approve(
            replace(at, sure=True),
            approved["fingerprints"],
            start=toml.instant(variance.since),
            end=until,
            reason="it may be so",
        )
        return replace(answer, approved=approved, excused=json_of(review.review(at))["excused"])


@contextmanager
def _loaded(drawn: Case) -> Iterator[tuple[Path, Any]]:
    late = int((toml.START + timedelta(days=3650)).timestamp()) * 1_000_000
    with TemporaryDirectory() as name:
        folder = Path(name)

        def asking(at: str | None) -> Asking:
            return Asking(str(folder / "case.db"), at=at, by="survey", clock=lambda: late)

        (folder / "hardware.toml").write_text(toml.hardware_text(drawn.hardware), encoding="utf-8")
        (folder / "rules.toml").write_text(toml.rules_text(drawn.rules), encoding="utf-8")
        hardware.load(asking(None), [folder / "hardware.toml"])
        rules.load(asking(None), [folder / "rules.toml"])
        yield folder, asking
