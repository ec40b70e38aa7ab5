"""A definition is judged before it counts: told is what is guarded less, and which made joints no longer fit."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing

import pytest

from tests.cli.conftest import Answer, Command

PORTS = "".join(f'  {{ name = "F{n}", kind = "fluid-disconnect", tags = ["oil"] }},\n' for n in range(1, 7))
PLANT = f"""
title = "Oil loop"
[[part]]
id = "header"
port = [
{PORTS}]
[[part]]
id = "gauge"
port = [{{ name = "F", kind = "fluid-disconnect", tags = ["oil"], size = "DN25", keying = "A", gender = "plug" }}]
[[part]]
id = "panel"
port = [
  {{ name = "F", kind = "fluid-disconnect", size = "DN25", keying = "A", gender = "socket" }},
  {{ name = "G", kind = "fluid-disconnect" }},
]
{"".join(f'[[unit]]{chr(10)}id = "HEADER-{n}"{chr(10)}part = "header"{chr(10)}' for n in range(1, 6))}
[[unit]]
id = "GAUGE-1"
part = "gauge"
[[unit]]
id = "PANEL-1"
part = "panel"
[[place]]
id = "HALL"
[initial]
at = 2031-05-01T08:00:00Z
by = "survey"
joined = [["GAUGE-1:F", "PANEL-1:F"]]
"""
RULES = """
[[rule]]
id = "no-open-oil"
title = "No oil port stays open"
hazard = "hot oil sprays"
severity = 1
source = "common practice"
mode = "by"
by = "outing"
scope = { what = "port", tag = "oil", part = "header" }
condition = { status = "it", is = ["mated", "capped"] }
"""


@pytest.fixture
def plant(empty: Command) -> Command:
    """The loop with its rule: thirty oil ports are guarded."""
    empty.ok("load", empty.file("plant.toml", PLANT), "--by", "survey")
    empty.ok("rules", "load", empty.file("rules.toml", RULES))
    return empty


def revise(plant: Command, *options: str, **changes: str) -> Answer:
    """Load the plant's file with some texts in it exchanged."""
    text = PLANT
    for old, new in (pair.split(" => ") for pair in changes.values()):
        assert old in text
        text = text.replace(old, new)
    return plant("load", plant.file("plant.toml", text), *options)


def events(plant: Command) -> int:
    """Return how many events are recorded."""
    return len(plant.json_of("history")["history"])


# --- the three that went through unseen ---------------------------------------------------------------------------


def test_a_renamed_tag_is_told(plant: Command) -> None:
    """A tag renamed at all but a few ports takes a catastrophic rule from 30 to 5: told, and nothing is written."""
    text = PLANT.replace('tags = ["oil"] },', 'tags = ["thermal oil"] },').replace(
        'name = "F6", kind = "fluid-disconnect", tags = ["thermal oil"]',
        'name = "F6", kind = "fluid-disconnect", tags = ["oil"]',
    )
    before = events(plant)
    answer = plant("load", plant.file("plant.toml", text))
    assert answer.status == 3
    assert answer.out.startswith("NOTHING WRITTEN: 1 thing to accept; say why with --accept REASON")
    assert "catastrophic rule no-open-oil guards 5, and guarded 30: no longer HEADER-1:F1" in answer.out
    assert "30 -> 5" in answer.out
    assert events(plant) == before
    assert plant("load", plant.folder / "plant.toml", "--dry-run").status == 3
    assert "guards      30:" in plant.ok("rules", "explain", "no-open-oil")


def test_a_part_changed_under_a_joint_is_told(plant: Command) -> None:
    """A part that gets another size, key or gender under a mated port no longer fits its mate, and the load says so."""
    gauge = 'size = "DN25", keying = "A", gender = "plug"'
    for other, code, why in (
        ('size = "DN40", keying = "A", gender = "plug"', "size", "GAUGE-1:F is DN40, PANEL-1:F is DN25"),
        ('size = "DN25", keying = "B", gender = "plug"', "keying", "GAUGE-1:F is keyed B, PANEL-1:F A"),
        (
            'size = "DN25", keying = "A", gender = "socket"',
            "gender",
            "GAUGE-1:F and PANEL-1:F are both socket",
        ),
    ):
        changes = {"a": f"{gauge} => {other}", "b": 'joined = [["GAUGE-1:F", "PANEL-1:F"]] => joined = []'}
        answer = revise(plant, **changes)
        assert answer.status == 3, code
        assert f"GAUGE-1:F is mated to PANEL-1:F: {why}" in answer.out.replace("\n              ", " ")
        found = json.loads(revise(plant, "--json", **changes).out)["redefinition"]
        assert [one["code"] for one in found["misfits"]] == [code]
        assert [(one["port"], one["fields"][0]["field"]) for one in found["ports"]] == [("GAUGE-1:F", code)]


def test_a_unit_gone_from_the_files_is_told(plant: Command) -> None:
    """A unit that the files no longer have stays, and stays mated: each load says to what."""
    changes = {
        "unit": '[[unit]]\nid = "GAUGE-1"\npart = "gauge"\n => ',
        "joint": 'joined = [["GAUGE-1:F", "PANEL-1:F"]] => joined = []',
    }
    for _ in range(2):
        answer = revise(plant, **changes)
        assert answer.status == 0
        text = answer.out[answer.out.index("Gone from the files, still mated") :]
        assert text.splitlines()[3].split() == ["unit", "GAUGE-1", "PANEL-1:F"]
    found = json.loads(revise(plant, "--json", **changes).out)["redefinition"]
    assert {"sort": "unit", "id": "GAUGE-1", "mates": ["PANEL-1:F"]} in found["gone"]


# --- accepted -----------------------------------------------------------------------------------------------------


def test_what_is_accepted_is_recorded(plant: Command) -> None:
    """With a reason it loads; history tells what was accepted, why and by whom, and the journal stays sound."""
    changes = {"tags": 'tags = ["oil"] }, => tags = ["coolant"] },'}
    answer = revise(plant, "--accept", "it is water now", "--by", "lead", **changes)
    assert answer.status == 0
    assert "because     it is water now" in answer.out
    last = plant.json_of("history")["history"][-1]
    accepted = last["body"]["accepted"]
    assert (last["action"], last["by"], accepted["reason"]) == ("define", "lead", "it is water now")
    assert accepted["what"][0].startswith("catastrophic rule no-open-oil guards 0, and guarded 30")
    told = " ".join(plant.ok("history").split())
    assert [word in told for word in ("accepted,", "because", "catastrophic", "no-open-oil")] == [True] * 4
    assert plant.ok("audit").startswith("sound")


def test_a_reason_that_nobody_asked_for_is_not_recorded(plant: Command) -> None:
    """A reason given beforehand, as in a script, excuses nothing: it is recorded only where something was accepted."""
    answer = revise(plant, "--accept", "always", title='title = "Oil loop" => title = "The oil loop"',
                    unit='id = "HALL" => id = "HALL"\ntitle = "Hall"')  # fmt: skip
    assert answer.status == 0
    assert "nothing had to be accepted" in answer.err
    assert "accepted" not in plant.json_of("history")["history"][-1]["body"]
    assert plant("load", plant.folder / "plant.toml", "--accept", " ").status == 2


def test_rules_that_no_longer_fit_are_told(plant: Command) -> None:
    """A revision after which the rules can't be read judges nothing any more: that has to be accepted, too."""
    answer = revise(plant, tags='tags = ["oil"] }, => tags = ["coolant"] },')
    assert answer.status == 3
    assert "no rule can be judged: rules.toml:10: names-nothing: rule no-open-oil" in answer.out
    assert "Rules that no longer fit" in answer.out


def test_what_the_record_has_a_state_of_stays_impossible(plant: Command) -> None:
    """A port that was mated can't be taken away, whatever somebody accepts."""
    changes = {
        "port": '  { name = "F", kind = "fluid-disconnect", size = "DN25", keying = "A", gender = "socket" },\n => ',
        "joint": 'joined = [["GAUGE-1:F", "PANEL-1:F"]] => joined = []',
    }
    answer = revise(plant, "--accept", "it is gone", **changes)
    assert answer.status == 3
    assert "in-use: PANEL-1:F has had a status and is no port any more" in answer.err


# --- rules --------------------------------------------------------------------------------------------------------


def test_a_rule_that_goes_away_is_told(plant: Command) -> None:
    """A catastrophic rule that is left out, narrowed or lowered has to be accepted, and dropping its file as well."""
    other = RULES.replace("no-open-oil", "another")
    narrowed = RULES.replace('part = "header"', 'part = "header", id = "HEADER-1:*"')
    lowered = RULES.replace("severity = 1", "severity = 3")
    for text, told in (
        (other, "catastrophic rule no-open-oil goes away; it guarded 30"),
        (narrowed, "catastrophic rule no-open-oil guards 6, and guarded 30"),
        (lowered, "catastrophic rule no-open-oil is marginal now; it guarded 30"),
    ):
        answer = plant("rules", "load", plant.file("rules.toml", text))
        assert (answer.status, told in answer.out) == (3, True), answer.out
    answer = plant("rules", "drop", "rules.toml")
    assert (answer.status, "goes away" in answer.out) == (3, True)
    assert plant.json_of("rules", "show")["files"] == {"rules.toml": RULES}
    assert plant("rules", "load", plant.folder / "rules.toml", "--accept", "too strict").status == 0


def test_marginal_rules_may_guard_less(empty: Command) -> None:
    """Of a marginal rule it is told, and loaded."""
    empty.ok("load", empty.file("plant.toml", PLANT))
    empty.ok("rules", "load", empty.file("rules.toml", RULES.replace("severity = 1", "severity = 3")))
    answer = revise(empty, tags='name = "F1", kind = "fluid-disconnect", tags = ["oil"] => name = "F1", '
                    'kind = "fluid-disconnect"')  # fmt: skip
    assert answer.status == 0
    assert "30 -> 25" in answer.out


def test_what_a_scope_looks_at_is_told(empty: Command) -> None:
    """A rule about units guards as many as before when their volumes are no longer liquid, and watches fewer."""
    text = PLANT.replace(
        'id = "gauge"\n',
        'id = "gauge"\nnode = [{ name = "VOL", medium = "fluid", litres = "1 l" }, '
        '{ name = "EXP", medium = "fluid", expansion = true }]\n',
    )
    rules = RULES.replace(
        '{ what = "port", tag = "oil", part = "header" }', '{ what = "unit", part = "gauge" }'
    )
    status = '{ status = "it", is = ["mated", "capped"] }'
    assert status in rules
    start = '{ of = "nodes of it", liquid = true, may_be_empty = true }'
    path = f'{{ path = "fluid", from = {start}, to = {{ expansion = true }} }}'
    empty.ok("load", empty.file("plant.toml", text))
    empty.ok("rules", "load", empty.file("rules.toml", rules.replace(status, path)))
    answer = empty("load", empty.file("plant.toml", text.replace(', litres = "1 l"', "")))
    assert answer.status == 3
    assert "watches 1 of what were 2: no longer GAUGE-1:VOL" in answer.out


# --- old journals -------------------------------------------------------------------------------------------------


def test_an_event_without_a_reason_is_as_it_was(plant: Command) -> None:
    """A load that took nothing away says nothing of it: what it was read from, how many items, and their hash."""
    with closing(sqlite3.connect(plant.db)) as connection:
        bodies = [
            json.loads(body)
            for (body,) in connection.execute("SELECT body FROM event WHERE action = 'define'")
        ]
    assert [sorted(body["body"]) for body in bodies] == [["count", "files", "items"], ["count", "items"]]


def test_what_was_accepted_is_in_an_archive(plant: Command) -> None:
    """An archive carries it, with the tree head: the same history, the same head, in another database."""
    revise(plant, "--accept", "it is water now", tags='tags = ["oil"] }, => tags = ["coolant"] },')
    archive = plant.folder / "all.jsonl"
    plant.ok("export", "--form", "archive", "-o", archive)
    other = plant.folder / "other.db"
    plant.ok("--db", other, "restore", archive)
    kept = plant.json_of("--db", other, "history")["history"]
    assert kept == plant.json_of("history")["history"]
    assert kept[-1]["body"]["accepted"]
    assert plant.json_of("--db", other, "head")["head"] == plant.json_of("head")["head"]
