"""A shell stands for its contacts: what was told of both, the mate and the demate, and rules that are about contacts.

What the rules find is held to a page of plain code that keeps, for each contact, the last reading that is about it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.analysis.coverage import Coverage
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.rules.engine import Engine
from tests.happening import happened

MINUTE = 60_000_000
PLANT = parse_definition(
    {
        "plant.toml": """
[[part]]
id = "box"
flexible = true
port = [{ name = "J", kind = "electrical-connector", contacts = ["1", "2"] }]
[[unit]]
id = "A"
part = "box"
[[unit]]
id = "B"
part = "box"
"""
    }
).plant()
HEAD = 'title = "T"\nhazard = "shock"\nseverity = 1\nsource = "common practice"\n'
RULES = parse_rules(
    {
        "rules.toml": "".join(
            f'[[rule]]\nid = "{name}"\n{HEAD}{asked}\n'
            for name, asked in {
                "shell": """mode = "always"\nscope = { id = "A:J" }
                    condition = { value = "it", quantity = "voltage", max = "3 V" }""",
                "contact": """mode = "always"\nscope = { what = "contact", id = "A:*" }
                    condition = { value = "it", quantity = "voltage", max = "3 V" }""",
                "free": """mode = "always"
                    condition.value = { what = "contact", id = "A:*" }\ncondition.unmeasured = true
                    condition.quantity = "voltage"\ncondition.max = "3 V" """,
                "parting": """mode = "at"\nat = { action = "demate", what = "contact", id = "A:*" }
                    condition.value = "it"\ncondition.quantity = "voltage"\ncondition.max = "3 V"
                    condition.since = "mate"\ncondition.max_age = "5 min" """,
                "looked": """mode = "at"\nat = { action = "mate", what = "contact", medium = "power", id = "A:*" }
                    condition = { done = "inspect", of = "it", since = "demate" }""",
                "worn": """mode = "always"\nscope = { what = "contact", id = "A:*" }
                    condition = { value = "it", quantity = "cycles", max = 2 }""",
            }.items()
        )
    },
    PLANT,
)


@dataclass
class Page:
    """What is known of the two contacts of A:J, by hand."""

    last: dict[str, tuple[int, float]] = field(default_factory=dict)
    seen: dict[str, int] = field(default_factory=dict)
    mated: int | None = None
    parted: int | None = None
    cycles: int = 0

    def contacts(self, thing: str) -> list[str]:
        """The contacts that something is told of."""
        return [one for one in ("A:J:1", "A:J:2") if thing in (one, "A:J")]

    def is_safe(self, contact: str, now: int, *, fresh: bool = False) -> bool:
        """Whether the last that was told of a contact is at most 3 V."""
        if contact not in self.last:
            return False
        at, volts = self.last[contact]
        is_fresh = now - at <= 5 and (self.mated is None or at > self.mated)
        return volts <= 3 and (is_fresh or not fresh)


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["0 V", "230 V", "inspect", "joint"]),
        st.sampled_from(["A:J", "A:J:1", "A:J:2", "B:J:1"]),
    ),
    max_size=14,
)


@given(steps=STEPS, waits=st.lists(st.integers(1, 4), min_size=14, max_size=14))
def test_what_is_told_of_a_shell_and_of_its_contacts(steps: list[tuple[str, str]], waits: list[int]) -> None:
    """The later of two readings counts for a contact, a shell is what its contacts are, and mates are theirs."""
    engine, page, now = Engine(RULES, Configuration(PLANT), start=0), Page(), 0
    wanted: set[tuple[str, int, str]] = set()
    for number, ((what, thing), wait) in enumerate(zip(steps, waits, strict=False)):
        now += wait
        name = f"e{number}"
        if what == "joint":
            action = "demate" if page.mated is not None and (page.parted or 0) < page.mated else "mate"
            said = Action(name, action, ("A:J", "B:J"), now * MINUTE)
            for one in ("A:J:1", "A:J:2"):
                if action == "demate" and not page.is_safe(one, now, fresh=True):
                    wanted.add(("parting", now, one))
                if action == "mate" and page.seen.get(one, -1) <= (
                    page.parted if page.parted is not None else -1
                ):
                    wanted.add(("looked", now, one))
            if action == "mate":
                page.mated, page.cycles = now, page.cycles + 1
            else:
                page.parted = now
        elif what == "inspect":
            said = Action(name, what, (thing,), now * MINUTE)
            page.seen.update(dict.fromkeys(page.contacts(thing), now))
        else:
            volts = parse_quantity(what, dimension="voltage")
            said = Action(name, "measure", (thing,), now * MINUTE, values={"voltage": volts})
            page.last.update(dict.fromkeys(page.contacts(thing), (now, volts.value)))
        engine.step(happened(engine.world.configuration, said))
    engine.finish(now * MINUTE)
    found = engine.findings()
    tied = {(f.rule, f.time // MINUTE, s) for f in found if f.mode == "at" for s in f.subjects}
    assert tied == wanted
    short = {(f.rule, s) for f in found if f.mode == "always" and f.until is None for s in f.subjects}
    unsafe = [one for one in ("A:J:1", "A:J:2") if not page.is_safe(one, now)]
    assert {one for rule, one in short if rule == "contact"} == set(unsafe)
    assert {one for rule, one in short if rule == "shell"} == ({"A:J"} if unsafe else set())
    assert {one for rule, one in short if rule == "free"} == {one for one in unsafe if one in page.last}
    assert {one for rule, one in short if rule == "worn"} == (
        {"A:J:1", "A:J:2"} if page.cycles > 2 else set()
    )


def test_a_rule_that_is_tied_to_contacts_has_something_to_judge() -> None:
    """Mating a shell is mating its contacts: what a check says it judged counts them."""
    now = Configuration(PLANT)
    coverage = Coverage(RULES, now.fork(), ends=True)
    mate: Event = happened(now, Action("m", "mate", ("A:J", "B:J"), 0))
    coverage.take(mate)
    assert "looked" not in coverage.idle
    assert "parting" in coverage.idle
