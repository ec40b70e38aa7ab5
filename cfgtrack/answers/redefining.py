"""What does a load change in what counts? Asked inside its transaction, before anything is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cfgtrack.analysis.redefinition import Redefinition, Side, joints_of, locked_otherwise, redefinition
from cfgtrack.analysis.vetting import Ground, Vetted, vet
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.definition import Definition
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import BadInput, Misput
from cfgtrack.rules.rule import RuleSet
from cfgtrack.store.loading import Loading, LoadReport


class Redefining:
    """Judges a load: a `Judge` that keeps what it `found`. None where nothing was defined before or nothing changes.

    What looks wrong in it is `vetted` too; of rules, in those. `warnings`: what locks hold that is another thing then.
    """

    def __init__(self, definition: Definition | None = None) -> None:
        self.definition = definition
        self.found: Redefinition | None = None
        self.vetted: tuple[Vetted, ...] = ()
        self.warnings: tuple[str, ...] = ()

    def __call__(self, loading: Loading) -> Sequence[str]:
        """Return what must be accepted."""
        report = loading.report
        is_news = bool(report.entry or report.initial.recorded)
        rules = was = (RuleSet(), tuple[str, ...]())
        if is_news:
            rules = _rules(loading.texts(before=False), loading.after.plant)
            self.vetted = vet(Ground(loading.after, rules[0]), rules_alone=self.definition is None)
        if loading.is_first:
            return ()
        old = new = dict[tuple[str, str], str]()
        if self.definition is not None:
            old, new = joints_of(loading.initial()), joints_of(self.definition.initial)
        gone = report.missing if self.definition is not None else []
        if not (is_news or gone or old != new):
            return ()
        after = loading.after
        before = loading.before if is_news and self.definition is not None else after
        if is_news:
            was = _rules(loading.texts(before=True), before.plant)
        if before is not after:
            self.warnings = tuple(locked_otherwise(before, after.plant))
        self.found = redefinition(Side(before, *was, old), Side(after, *rules, new), gone)
        return self.found.grounds


def _rules(texts: Mapping[str, str], plant: Plant) -> tuple[RuleSet, tuple[str, ...]]:
    """Return the rules that texts have, and why they don't fit a plant."""
    if not texts:
        return RuleSet(), ()
    try:
        return parse_rules(texts, plant), ()
    except BadInput as err:
        unfit = tuple(str(problem) for problem in err.problems)
    try:
        return parse_rules(texts), unfit
    except BadInput:  # a condition in Python that isn't installed here
        return RuleSet(), unfit


def reason_of(accept: str | None) -> str | None:
    """Return why somebody accepts something. Misput for a reason that says nothing."""
    if accept is not None and not accept.strip():
        raise Misput("--accept needs a reason.")
    return accept


def needless(accept: str | None, report: LoadReport) -> tuple[str, ...]:
    """Return what to say of a reason that nobody had asked for: it isn't recorded."""
    return (
        ("nothing had to be accepted: the reason is not recorded",) if accept and not report.accepted else ()
    )
