"""What a new definition changes in what counts, of two plants at hand: what no load can show yet, and words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cfgtrack.analysis.redefinition import PortField, Redefinition, Side, joints_of, redefinition
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.action import FOUND, Action
from cfgtrack.model.configuration import Configuration, State
from cfgtrack.model.plant import Plant

PLANT = """
[[kind]]
id = "clamp"
medium = "fluid"
statuses = ["apart", "on", "tight"]
joined = "on"
carries = "tight"
[[kind.move]]
action = "clamp"
from = ["apart"]
to = "on"
[[part]]
id = "pipe"
port = [{ name = "A", kind = "clamp", size = "DN25" }, { name = "B", kind = "clamp", size = "DN25" }]
[[unit]]
id = "X"
part = "pipe"
[[unit]]
id = "Y"
part = "pipe"
[[unit]]
id = "Z"
part = "pipe"
"""
RULE = """
[[rule]]
id = "r"
title = "it is on"
hazard = "it leaks"
severity = {}
source = "common practice"
mode = "always"
scope = {{ id = "{}", what = "port", may_be_empty = true }}
condition = {{ status = "it", is = "tight" }}
"""


def plant(text: str = PLANT) -> Plant:
    """Return the plant of a definition."""
    return parse_definition({"plant.toml": text}).plant()


def standing(of: Plant, *pairs: tuple[str, str], status: str = "on") -> Configuration:
    """Return a configuration in which some pairs are joined."""
    now = Configuration(of)
    for a, b in pairs:
        for half, far in ((a, b), (b, a)):
            now.set_state(half, State(status, far, "E1"))
    return now


def compared(new: str, *pairs: tuple[str, str]) -> Redefinition:
    """Return what differs where the same pairs are joined before and after."""
    return redefinition(Side(standing(plant(), *pairs)), Side(standing(plant(new), *pairs)))


def test_a_port_that_is_gone_is_told() -> None:
    """A mated port that the new plant has no more is a joint that no longer fits, and must be accepted."""
    found = compared(
        PLANT.replace('{ name = "A", kind = "clamp", size = "DN25" }, ', ""), ("X:A", "Y:A"), ("X:B", "Z:B")
    )
    assert [(one.a, one.b, one.code) for one in found.misfits] == [("X:A", "Y:A", "gone")]
    assert found.grounds == ("X:A is on to Y:A: X:A and Y:A: there is no such port any more",)


def test_other_words_for_a_status_are_told_and_need_no_reason() -> None:
    """A mated port whose kind says a status in other words is told with them, and nobody has to accept that."""
    found = compared(
        PLANT.replace('joined = "on"', 'joined = "on"\nwords = { on = "on, not tight" }'), ("X:A", "Y:A")
    )
    assert found.grounds == ()
    assert [(one.port, one.fields) for one in found.ports] == [
        (port, (PortField("kind.words", "", "on: on, not tight"),)) for port in ("X:A", "Y:A")
    ]


SHELLS = PLANT.replace(
    'port = [{ name = "A", kind = "clamp", size = "DN25" }, { name = "B", kind = "clamp", size = "DN25" }]',
    'port = [{ name = "A", kind = "clamp", contacts = ["1", "2"] }, { name = "B", kind = "clamp", PINS }]',
)
PINS = 'contact = [{ name = "1", rated_current = "5 A" }, { name = "2" }]'


@pytest.mark.parametrize(
    ("pins", "why", "changes"),
    [
        (PINS, None, []),
        (
            PINS.replace('"1"', '"1", medium = "power"'),
            "contact 1 is no longer joined: contact 1 is fluid on X:A and power on Y:B",
            [("contacts.1.medium", "fluid", "power")],
        ),
        (
            'contact = [{ name = "2", loop = "A" }, { name = "3" }]',
            "contact 1 is no longer joined: Y:B has no contact 1; X:A has no contact 3",
            [("contacts.1", "fluid", ""), ("contacts.2.loop", "", "A"), ("contacts.3", "", "fluid")],
        ),
        (
            'contact = [{ name = "7", medium = "data" }]',
            "contacts 1 and 2 are no longer joined: Y:B has no contacts 1, 2; X:A has no contact 7",
            [("contacts.1", "fluid", ""), ("contacts.2", "fluid", ""), ("contacts.7", "", "data")],
        ),
        (
            PINS.replace("5 A", "3 A").replace("[{", '[{ name = "9" }, {'),
            None,
            [("contacts.1.rated_current", "5.0", "3.0"), ("contacts.9", "", "fluid")],
        ),
        (
            'size = ""',
            "contacts 1 and 2 are joined to one another: Y:B names no contacts, and X:A has contacts 1, 2",
            [("contacts.1", "fluid", ""), ("contacts.2", "fluid", "")],
        ),
    ],
)
def test_contacts_that_change_under_a_joint(
    pins: str, why: str | None, changes: list[tuple[str, str, str]]
) -> None:
    """Two mated shells of which contacts are no longer joined no longer fit; what changed of each contact is told."""
    before, after = (plant(SHELLS.replace("PINS", one)) for one in (PINS, pins))
    pair = ("X:A", "Y:B")
    found = redefinition(Side(standing(before, pair)), Side(standing(after, pair)))
    assert [(one.code, one.why) for one in found.misfits] == ([] if why is None else [("contacts", why)])
    told = [
        (one.field, one.before, one.after)
        for port in found.ports
        if port.port == "Y:B"
        for one in port.fields
    ]
    assert sorted(told) == changes


ONE, BOTH, NONE = 'contact = [{ name = "1" }]', 'contact = [{ name = "1" }, { name = "2" }]', 'size = ""'
MIXED = 'contact = [{ name = "1" }, { name = "2" }, { name = "G", medium = "power" }]'


@pytest.mark.parametrize(
    ("before", "after", "why"),
    [
        (
            (MIXED, MIXED),
            (MIXED, NONE),
            "contact G is no longer joined, and contacts 1 and 2 are joined to one another",
        ),
        (
            (MIXED, MIXED),
            (NONE, MIXED),
            "contact G is no longer joined, and contacts 1 and 2 are joined to one another",
        ),
        (
            (MIXED, MIXED),
            (NONE, NONE),
            "contact G is no longer joined, and contacts 1 and 2 are joined to one another",
        ),
        ((ONE, ONE), (ONE, NONE), None),
        ((ONE, ONE), (NONE, NONE), None),
        ((ONE, NONE), (BOTH, NONE), "contacts 1 and 2 are joined to one another"),
        ((BOTH, NONE), (BOTH, NONE), None),
        ((BOTH, NONE), (BOTH, BOTH), None),
        ((BOTH, NONE), (ONE, NONE), "contact 2 is no longer joined"),
        ((BOTH, NONE), (BOTH, ONE), "contact 2 is no longer joined"),
        ((BOTH, BOTH), (ONE, ONE), "contact 2 is no longer joined"),
        ((NONE, NONE), (BOTH, NONE), "contacts 1 and 2 are joined to one another"),
        ((NONE, NONE), (BOTH, BOTH), None),
    ],
)
def test_a_half_that_names_no_contacts(
    before: tuple[str, str], after: tuple[str, str], why: str | None
) -> None:
    """A half without contacts joins all of its medium: they are not parted, but they are joined to one another."""
    old, new = (
        plant(SHELLS.replace('contacts = ["1", "2"]', one).replace("PINS", other))
        for one, other in (before, after)
    )
    pair = ("X:A", "Y:B")
    found = redefinition(Side(standing(old, pair)), Side(standing(new, pair)))
    assert [one.why.partition(":")[0] for one in found.misfits] == ([] if why is None else [why])


def test_what_misfitted_before_is_known() -> None:
    """A joint of two sizes that was found so is not told again; what it misfits in newly is."""
    odd = PLANT.replace(
        'name = "B", kind = "clamp", size = "DN25"', 'name = "B", kind = "clamp", size = "DN40"'
    )
    before, after = plant(odd), plant(odd.replace('size = "DN40"', 'size = "DN50"'))
    pair = ("X:A", "Y:B")
    assert redefinition(Side(standing(before, pair)), Side(standing(after, pair))).misfits == ()
    keyed = plant(
        odd.replace('name = "A",', 'name = "A", keying = "1",').replace(
            'name = "B",', 'name = "B", keying = "2",'
        )
    )
    assert [
        m.code for m in redefinition(Side(standing(before, pair)), Side(standing(keyed, pair))).misfits
    ] == ["keying"]


def test_a_kind_that_changes_under_a_joint_is_told() -> None:
    """Where a kind itself is another one, each mated port of it is named, with what changed of its kind."""
    found = compared(PLANT.replace('carries = "tight"', 'carries = "on"'), ("X:A", "Y:B"))
    assert [(one.port, one.mate) for one in found.ports] == [("X:A", "Y:B"), ("Y:B", "X:A")]
    (field,) = found.ports[0].fields
    assert (field.field, field.before, field.after) == ("kind.carries", "tight", "on")
    assert found.grounds == ()


def test_joints_of_the_initial_configuration_are_compared() -> None:
    """Added, removed and changed joints are told, each with how it stands now."""
    found = Action("initial:X:A", FOUND, ("X:A", "Y:A"), 0, status="on", initial=True)
    before = joints_of([found, replace(found, subjects=("Z:A", "Y:B"))])
    after = joints_of(
        [replace(found, subjects=("Y:A", "X:A"), status="tight"), replace(found, subjects=("X:B", "Z:B"))]
    )
    now = standing(plant(), ("Y:B", "Z:A"))
    told = redefinition(Side(now, joints=before), Side(now, joints=after)).joints
    assert [(one.a, one.b, one.before, one.after, one.now) for one in told] == [
        ("X:A", "Y:A", "on", "tight", "untouched"),
        ("X:B", "Z:B", None, "on", "untouched"),
        ("Y:B", "Z:A", "on", None, "on to Z:A"),
    ]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ((1, "*:A"), (1, "X:A"), "catastrophic rule r guards 1, and guarded 3: no longer Y:A and Z:A"),
        ((2, "*:A"), (2, "*:B"), "critical rule r guards 3, and guarded 3: no longer X:A, Y:A and Z:A"),
        ((2, "*:A"), (3, "*:A"), "critical rule r is marginal now; it guarded 3"),
        ((1, "*:A"), None, "catastrophic rule r goes away; it guarded 3"),
        ((1, "*:C"), None, "catastrophic rule r goes away; it guarded 0"),
        ((1, "*:A"), (2, "*:A"), None),
        ((3, "*:A"), (3, "X:A"), None),
        ((3, "*:A"), (1, "X:A"), None),
        ((1, "X:A"), (1, "*:A"), None),
        (None, (1, "X:A"), None),
    ],
)
def test_what_must_be_accepted_of_a_rule(
    old: tuple[int, str] | None, new: tuple[int, str] | None, told: str | None
) -> None:
    """A catastrophic or critical rule that loses an item, goes away or is lowered; of others nothing."""
    now = standing(plant())
    before, after = (
        Side(now, parse_rules({"r.toml": RULE.format(*one)}, now.plant)) if one else Side(now)
        for one in (old, new)
    )
    assert redefinition(before, after).grounds == (() if told is None else (told,))


def test_rules_that_cannot_be_judged_must_be_accepted() -> None:
    """Where a rule no longer fits none is judged: that must be accepted where there is a bad one, unless it was so."""
    now = standing(plant())
    bad, mild = (Side(now, parse_rules({"r.toml": RULE.format(n, "*:A")}, now.plant)) for n in (1, 4))
    assert redefinition(bad, bad._replace(unfit=("it", "that"))).grounds == (
        "no rule can be judged: it; and 1 more",
    )
    assert redefinition(mild, mild._replace(unfit=("it",))).grounds == ()
    assert redefinition(bad._replace(unfit=("it",)), bad._replace(unfit=("it",))).grounds == ()


WATCHED = {
    "both ends of what must not be joined": (
        'mode = "always"\ncondition = { no_path = "fluid", from = "X:A", to = "Z:B" }',
        ["X:A"],
        ["X:A", "Z:B"],
    ),
    "where a path starts, not where it leads": (
        'mode = "always"\ncondition = { path = "fluid", from = "X:A", to = "Z:B" }',
        ["X:A"],
        ["X:A"],
    ),
    "what an action is done to, beside the scope": (
        (
            'mode = "at"\nat = { action = "clamp", id = ["X:*", "Y:A"] }\nscope = { id = "X:*" }\n'
            'condition = { status = "it", is = "apart" }'
        ),
        ["X:A", "X:B"],
        ["X:A", "X:B", "Y:A"],
    ),
    "what starts a clock": (
        (
            'mode = "within"\nwithin = "1 h"\ntrigger = { turns_true = { status = "Y:A", is = "on" } }\n'
            'condition = { status = "X:A", is = "on" }'
        ),
        ["X:A"],
        ["X:A", "Y:A"],
    ),
    "what it looks at for each": (
        'mode = "always"\nscope = { id = "X" }\ncondition = { not = { status = { of = "ports of it" }, is = "on" } }',
        ["X"],
        ["X", "X:A", "X:B"],
    ),
}


@pytest.mark.parametrize("name", WATCHED)
def test_what_a_rule_guards_and_watches(name: str) -> None:
    """A rule watches what it guards, and all of which it asks something: with one of them less it asks less."""
    text, guards, watches = WATCHED[name]
    now = standing(plant())
    head = RULE.partition("severity")[0] + 'severity = 1\nsource = "common practice"\n'
    (rule,) = parse_rules({"r.toml": f"{head}{text}\n"}, now.plant).rules
    assert sorted(rule.guards(now)) == guards
    assert sorted(rule.watches(now)) == watches
