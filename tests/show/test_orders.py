"""Every order as text: the verdict first, then the witness step by step, why it is bad, and what cures it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from cfgtrack.analysis.check import Start
from cfgtrack.analysis.orders import Ground, OrdersReport, orders
from cfgtrack.answers.moment import Moment
from cfgtrack.answers.orders import Ordered
from cfgtrack.files.phrase import phrase
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.show.orders import orders_text
from tests.analysis.test_orders import action, rules_of, start
from tests.rules.worlds import SECOND


def text(
    words: Iterable[tuple[str, str, tuple[str, ...]]], rules: list[str], *, whole: bool = False, **asked: Any
) -> str:
    """Return what is told of every order of a few steps, each its track, words and waits; blanks are taken together."""
    steps = tuple(
        Step(f"s{n}", "0", track, action(said), (SECOND,) * 3, after)
        for n, (track, said, after) in enumerate(words, 1)
    )
    plan = Sequence(outings=(Outing("0"),), steps=steps)
    report: OrdersReport = orders(Ground(rules_of(rules), Start(start()), plan), **asked)
    told = orders_text(Ordered(Moment(0, 0), report, {s.id: phrase(s.action) for s in steps}), whole=whole)
    return "\n".join(" ".join(line.split()) for line in told.splitlines())


BACK = [("a", "shut P:A", ()), ("b", "open P:A", ())]


def test_bad_order_is_told_with_its_cure() -> None:
    """The first line has the verdict and how short the witness is; its steps, why, and the cure come then."""
    told = text(BACK, ["wherever"])
    first, *rest = told.splitlines()
    assert first.startswith("Not clear in every order: the shortest bad order has 1 step,")
    assert "its last step is impossible" in first
    assert "Shortest bad order" in rest
    assert "1 s2 open P:A" in rest
    assert "cure: s2 waits for s1 (no fewer do: every order is clear then)" in rest
    assert rest.index("1 s2 open P:A") < next(i for i, line in enumerate(rest) if line.startswith("why: "))


def test_clear_is_the_first_word_and_waits_are_judged() -> None:
    """Of a plan that is clear each wait is said to be needed, with what goes wrong without it, or not."""
    waits = [
        ("a", "shut P:A", ()),
        ("b", "open P:A", ("s1",)),
        ("b", "inspect P:B", ()),
        ("a", "inspect P:A", ("s3",)),
    ]
    lines = text(waits, ["wherever"], waits=True).splitlines()
    assert lines[0].startswith("Clear in every order")
    assert "s2 s1 yes s2: its last step is impossible" in lines
    assert "s4 s3 no every order is clear, too" in lines


def test_cut_short_says_so_first() -> None:
    """What was cut short is undecided in the first line, and isn't called clear anywhere."""
    many = [(track, "inspect P:A", ()) for track in "ab" for _ in range(4)]
    told = text(many, ["remarked on"], most=2)
    assert told.startswith("Undecided in every order: cut short after ")
    assert "Cut short: what was not looked at is not clear." in told
    assert "Clear" not in told


def test_long_witness_is_shortened_unless_all_is_asked_for() -> None:
    """Of a long bad order the last steps are listed, with how many are left out; --all lists them all."""
    many = [("a", "inspect P:B", ()) for _ in range(20)] + [("a", "open P:A", ())]
    short, whole = text(many, ["wherever"]), text(many, ["wherever"], whole=True)
    assert "... 8 steps as they come (--all lists them)" in short
    assert "\n1 s1 inspect P:B" not in short
    assert "\n1 s1 inspect P:B" in whole
    assert "\n21 s21 open P:A" in short


def test_clock_tells_how_long_it_can_have_run() -> None:
    """A clock that runs out is told with how long it can have run, since when, and how long it may."""
    steps = [("a", "inspect P:A", ()), *(("a", "inspect P:B", ()) for _ in range(5)), ("a", "remark P:A", ())]
    told = text(steps, ["remarked on"], whole=True)
    assert "the clock remarked-on of P:A runs out" in told.replace("\n", " ")
    assert "remarked-on of P:A runs for up to 6 s after s1 has ended; it may for 4 s" in told
