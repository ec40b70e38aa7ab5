"""`durations` and `which` as the command line says them: the first line, the first screen, and slips."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.asked import CHOSEN, FOLDER, RECKONED, at
from tests.cli.conftest import Command
from tests.cli.test_verdict import first_line

SCREEN = 30
"""Lines of a first screen."""


@pytest.fixture
def shop(tmp_path: Path) -> Command:
    """The shop with those of its rules that need no condition of a test's own."""
    (tmp_path / "shop").mkdir()
    command = Command(tmp_path / "shop")
    rules = (FOLDER / "shop-rules.toml").read_text().split("[[rule]]")
    kept = "[[rule]]".join(rule for rule in rules if 'custom = "crashes"' not in rule)
    (command.folder / "rules.toml").write_text(kept)
    command.ok("load", FOLDER / "shop.toml", "--by", "survey")
    command.ok("rules", "load", command.folder / "rules.toml")
    (command.folder / "work.toml").write_text(RECKONED.format(title="", budget='budget = "155 min"'))
    (command.folder / "chosen.toml").write_text(CHOSEN)
    return command


def test_the_first_line_is_what_is_least_sure(shop: Command) -> None:
    """The budget or clock that is kept least often, in percent and with its interval; always status 0."""
    answer = shop("durations", shop.folder / "work.toml", "--samples", "600")
    assert (answer.status, first_line(answer.out)) == (
        0,
        "expansion of BOX-1:VOL is kept in 0 % (95 %: 0 to 0.7)",
    )
    told = shop("durations", shop.folder / "work.toml", "--samples", "600", "--json").json["durations"]
    assert [one["in_time"]["probability"] for one in told["limits"]] == sorted(
        one["in_time"]["probability"] for one in told["limits"]
    )
    budget = next(one for one in told["limits"] if one["rule"] == "budget")
    share = budget["in_time"]["probability"]
    assert 0 < share < 1
    assert f"{share:.1%}".replace("%", " %") in answer.out


def test_an_answer_fits_the_first_screen_at_80_columns(shop: Command) -> None:
    """What a lead has to know at once is on it, and no line is wider."""
    for words in (
        ("durations", shop.folder / "work.toml", "--samples", "300"),
        ("which", "--for", "BOX-2", shop.folder / "chosen.toml"),
        ("which", "--place-for", "BOX-2"),
        ("which", "--port-for", "BOX-2:F"),
    ):
        lines = shop(*words, COLUMNS="80").out.splitlines()
        assert len(lines) <= SCREEN, words
        assert max(map(len, lines)) <= 80, words


def test_the_same_seed_gives_the_same_text_and_another_another(shop: Command) -> None:
    """A seed is the answer's name: two consoles that say it read the same numbers."""

    def asked(*words: str) -> str:
        out = shop(
            "durations", shop.folder / "work.toml", "--samples", "300", "--at", at(0), "--steps", *words
        ).out
        return out[out.index("Outings") :]

    first = asked("--seed", "4")
    assert asked("--seed", "4") == first
    assert asked("--seed", "5") != first
    assert asked("--seed", "4", "--shape", "pert") != first


def test_every_step_with_its_float(shop: Command) -> None:
    """With --steps every step is told: critical, or with how much later it may end."""
    out = shop("durations", shop.folder / "work.toml", "--samples", "100", "--steps").out
    steps = out[out.index("\nSteps") :].splitlines()
    rows = {line.split()[0]: line for line in steps if line[:1].islower()}
    assert rows.keys() >= {"shut", "open", "look", "off", "on", "warm", "part", "drip", "wait", "again"}
    assert "critical" in rows["off"]
    assert "critical" not in rows["look"]


def test_without_a_plan_it_says_how_to_have_one(shop: Command) -> None:
    """Without a sequence and a plan in force `durations` can't answer: 4; `which` does, and says that it tried none."""
    answer = shop("durations")
    assert (answer.status, "plan adopt" in answer.err) == (4, True)
    answer = shop("which", "--for", "BOX-2")
    assert (answer.status, "nothing was tried" in answer.err) == (0, True)


def test_which_of_the_plan_in_force(shop: Command) -> None:
    """What is left of the plan in force is tried where no sequence is named."""
    shop.ok("plan", "adopt", shop.folder / "chosen.toml")
    answer = shop("which", "--place-for", "BOX-2")
    assert answer.status == 0
    assert "each instead of WARM" in answer.out


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        ((), 2, "Say one of"),
        (("--for", "BOX-1", "--place-for", "BOX-2"), 2, "Say one of"),
        (("--for", "BOX-1", "none.toml", "--do", "inspect BOX-1"), 2, "Say one of"),
        (("--for", "BOX-9"), 4, "BOX-9"),
        (("--for", "WALL"), 4, "WALL"),
        (("--port-for", "BOX-1"), 4, "BOX-1"),
        (("--for", "BOX-1", "--among", "PLATE-1"), 4, "PLATE-1 can't be a stand-in for BOX-1"),
        (("--for", "FRAIL-1"), 4, "no other unit could stand in for FRAIL-1"),
        (("--for", "BOX-1", "--check-out", "frob"), 2, "frob"),
        (("--for", "BOX-1", "--check-out", "capped"), 2, "asks for nothing that was done"),
    ],
)
def test_a_slip_is_told(shop: Command, words: tuple[str, ...], status: int, said: str) -> None:
    """What can't be meant is usage (2), what isn't there can't be answered (4), each with its reason."""
    answer = shop("which", *words)
    assert answer.status == status, answer
    assert said in answer.err


@pytest.mark.parametrize(
    "words", [("--samples", "0"), ("--seed", "-1"), ("--shape", "square"), ("--samples", "2000000")]
)
def test_samples_seed_and_shape_are_held_to_sense(shop: Command, words: tuple[str, str]) -> None:
    """Nothing is drawn of what can't be drawn: usage, 2."""
    assert shop("durations", shop.folder / "work.toml", *words).status == 2


def test_a_check_out_is_what_a_rule_asks_for(shop: Command) -> None:
    """By a rule's id, or by an action with a quantity; the answer says what counted."""
    shop.ok("measure", "BOX-1:J", "voltage=0V")
    for said, found in (("looked-first", None), ("measure voltage", "measure"), ("measure torque", None)):
        told = json.loads(shop("which", "--for", "BOX-2", "--check-out", said, "--json").out)
        checked = told["candidates"][0]["checked"]
        assert (checked and checked["action"]) == found
        assert told["check_out"] == ("inspect" if said == "looked-first" else said)
