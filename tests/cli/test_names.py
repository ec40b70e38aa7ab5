"""Names as they are on the drawing: whatever is told by aliases is answered, to the byte, as if it were told by ids."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import subprocess
from collections.abc import Callable
from fnmatch import fnmatchcase
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.things import beginning
from cfgtrack.model.naming import IN_PHRASES, folded, is_alias
from tests.cli.conftest import Command

OWNERS = ("PUMP-1", "PUMP-2", "SITE", "BAY", "STORE", "ANN")
PARTS = ("pump", "panel", "hands")
INSIDE = ("F1", "J1", "B1", "VOL", "MOTOR", "P1", "V1", "K1", "H1", "ACC", "BUS", "HAND")
NAMES = (*OWNERS, *PARTS, *INSIDE)

Called = dict[str, str]
Say = Callable[[str], str]

PLANT = """
[[part]]
id = "pump"
aliases = <<pump>>
mass = "12 kg"
[[part.port]]
name = "F1"
aliases = <<F1>>
kind = "fluid-disconnect"
[[part.port]]
name = "J1"
aliases = <<J1>>
kind = "electrical-connector"
[[part.port]]
name = "B1"
aliases = <<B1>>
kind = "bolt"
torque = ["20 N*m", "30 N*m"]
[[part.port]]
name = "H1"
aliases = <<H1>>
kind = "grip"
[[part.node]]
name = "VOL"
aliases = <<VOL>>
medium = "fluid"
litres = "2 l"
[[part.node]]
name = "MOTOR"
aliases = <<MOTOR>>
medium = "power"
load = true
[[part.link]]
a = <F1>
b = <VOL>
[[part.link]]
a = <J1>
b = <MOTOR>

[[part]]
id = "panel"
aliases = <<panel>>
[[part.port]]
name = "P1"
aliases = <<P1>>
kind = "fluid-disconnect"
[[part.port]]
name = "V1"
aliases = <<V1>>
kind = "valve"
[[part.port]]
name = "J1"
aliases = <<J1>>
kind = "electrical-connector"
site = <SITE>
[[part.port]]
name = "K1"
aliases = <<K1>>
kind = "switch"
remote = [<STORE>]
[[part.port]]
name = "B1"
aliases = <<B1>>
kind = "bolt"
[[part.node]]
name = "ACC"
aliases = <<ACC>>
medium = "fluid"
expansion = true
[[part.node]]
name = "BUS"
aliases = <<BUS>>
medium = "power"
source = true
[[part.link]]
a = <P1>
b = <ACC>
gate = <V1>
[[part.link]]
a = <J1>
b = <BUS>
gate = <K1>

[[part]]
id = "hands"
aliases = <<hands>>
[[part.port]]
name = "HAND"
aliases = <<HAND>>
kind = "grip"

[[unit]]
id = "PUMP-1"
aliases = <<PUMP-1>>
part = <pump>
home = <STORE>
[[unit]]
id = "PUMP-2"
aliases = <<PUMP-2>>
part = <pump>
[[place]]
id = "SITE"
aliases = <<SITE>>
site = true
[[place]]
id = "BAY"
aliases = <<BAY>>
parent = <SITE>
part = <panel>
[[place]]
id = "STORE"
aliases = <<STORE>>
parent = <SITE>
holds = true
[[place]]
id = "ANN"
aliases = <<ANN>>
parent = <SITE>
part = <hands>
mobile = true
lifts = "10 kg"

[initial]
at = 2031-05-01T08:00:00Z
joined = [[<PUMP-1:F1>, <BAY:P1>], [<PUMP-1:J1>, <BAY:J1>], [<PUMP-1:B1>, <BAY:B1>]]
status = { <BAY:V1> = "open", <BAY:K1> = "on", <PUMP-2:F1> = "capped" }
place = { <PUMP-1> = <BAY>, <PUMP-2> = { at = <STORE> } }
"""

RULES = """
[[rule]]
id = "expansion"
title = "Every volume reaches the accumulator"
hazard = "trapped liquid"
severity = 2
source = "common practice"
mode = "always"
scope = { part = <pump>, liquid = true, at = <BAY> }
condition = { path = "fluid", from = "it", to = <BAY:ACC> }

[[rule]]
id = "cold"
title = "Power is off before the plug is parted"
hazard = "shock"
severity = 2
source = "common practice"
mode = "at"
at = { action = "demate", id = <PUMP-1:J1> }
condition = { status = <BAY:K1>, is = "off" }

[[rule]]
id = "home"
title = "The spare stays in the store"
hazard = "it is lost"
severity = 3
source = "common practice"
mode = "by"
by = "outing"
condition = { status = <PUMP-2>, at = <STORE> }

[[rule]]
id = "not-far"
title = "No pump is put down at the bay"
hazard = "none"
severity = 4
source = "common practice"
mode = "at"
at = { action = "place", part = <pump>, to = <BAY> }
condition = { count = { place = <BAY>, what = "port" }, is = "mated", at_least = 1 }

[[rule]]
id = "lifting"
title = "Nobody lifts too much"
hazard = "it falls"
severity = 2
source = "common practice"
mode = "always"
scope = { mobile = true }
condition = { value = "it", quantity = "mass", max = "lifts" }
"""

PLAN = """
[[outing]]
id = "DAY-1"
start = 2031-05-01T12:00:00Z
[[outing.track]]
name = "work"
by = <ANN>
steps = [
  { id = "1", do = 'shut "BAY:V1"' },
  { id = "2", do = 'demate "PUMP-1:J1"' },
  { id = "3", do = 'grip "PUMP-2:H1" to "ANN:HAND"', by = <ANN> },
  { id = "4", do = 'lift "PUMP-2" by "ANN"' },
  { id = "5", do = 'place "PUMP-2" at "BAY"' },
]
"""

ROWS = (
    ("R1", "shut", "BAY:V1", "", ""),
    ("", "demate", "PUMP-1:F1", "BAY:P1", ""),
    ("", "mate", "PUMP-1:F1", "BAY:P1", ""),
    ("R4", "measure", "PUMP-1:VOL", "", ""),
    ("", "grip", "PUMP-2:H1", "ANN:HAND", ""),
    ("", "lift", "PUMP-2", "", "ANN"),
    ("", "place", "PUMP-2", "", "STORE"),
    ("", "let-go", "PUMP-2:H1", "ANN:HAND", ""),
)

QUESTIONS = (
    ("state", "PUMP-1"), ("state", "PUMP-1:F1"), ("state", "BAY"), ("state", "ANN"), ("state", "BAY:ACC"),
    ("history", "PUMP-2"), ("history", "BAY:V1"), ("remarks", "PUMP-1"), ("remarks", "pump"),
    ("can", "BAY:V1"), ("can", "PUMP-1:VOL"),
)  # fmt: skip

SESSION = (
    ("state",), ("review",), ("findings",), ("history",), ("plant",),
    ("rules", "explain", "expansion"), ("rules", "explain", "home"), ("rules", "explain", "not-far"),
    ("check", "PLAN"), ("export",), ("draw",),
)  # fmt: skip


OF_TEXT = re.compile(r'(?<="items":)\s*"[0-9a-f]{64}"|(?<="sha256":)\s*"[0-9a-f]{64}"')
"""What stands for the text of rules, and of what was loaded, in the journal: that text is as it was written."""


def said(text: str, say: Say) -> str:
    """Return a TOML text with what stands in < > said, and phrases' words between double quotes."""
    text = re.sub(r"do = '([^']*)'", lambda found: f"do = {_quoted(_phrase(found[1], say))}", text)
    return re.sub(r"<([^<>]+)>", lambda found: _quoted(say(found[1])), text)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _phrase(text: str, say: Say) -> str:
    quoted = {"\\": "\\\\", '"': '\\"'}
    return re.sub(
        r'"([^"]+)"',
        lambda found: f'"{"".join(quoted.get(c, c) for c in say(found[1]))}"',
        text,
    )


def session(folder: Path, called: Called, say: Say) -> list[str]:
    """Return all that is answered in a session that tells everything by what `say` makes of an id."""
    folder.mkdir()
    cfgtrack = Command(folder)
    aliases = re.sub(r"<<([^<>]+)>>", lambda found: json.dumps([called[found[1]]], ensure_ascii=False), PLANT)
    out: list[str] = []

    def ask(*words: str, stdin: str | None = None) -> None:
        answer = cfgtrack(*words, stdin=stdin)
        assert answer.status in (0, 3), answer.out + answer.err
        told = f"{answer.status}\n{answer.out}{answer.err}".replace(str(folder), ".")
        told = re.sub(r"^  head .*\n", "", told, flags=re.MULTILINE)  # the tree holds the names, too
        out.append(OF_TEXT.sub("of their text", told))

    ask("load", str(cfgtrack.file("plant.toml", said(aliases, say))))
    ask("rules", "load", str(cfgtrack.file("rules.toml", said(RULES, say))))
    cfgtrack.file("plan.toml", said(PLAN, say))
    table = io.StringIO()
    rows = csv.writer(table)
    rows.writerow(("id", "at", "action", "subject", "subject2", "place", "by", "pressure"))
    for number, (name, action, a, b, place) in enumerate(ROWS):
        value = "2 bar" if action == "measure" else ""
        subjects = [say(one) if one else "" for one in (a, b, place, "ANN")]
        rows.writerow((name, f"2031-05-01T09:{number:02}:00Z", action, *subjects, value))
    ask("import", "-", stdin=table.getvalue())
    ask("import", "-", stdin=table.getvalue())
    lines = {"id": "L1", "at": "2031-05-01T09:30:00Z", "action": "mate", "by": say("ANN")}
    ask("import", "-", stdin=json.dumps({**lines, "action": "inspect", "subjects": [say("PUMP-1:J1")]}))
    more = ("--at", "2031-05-01T10:00:00Z", "--id")
    ask("record", *more, "E1", "--by", say("ANN"), "--", "remark", say("PUMP-1"), "a dent")
    ask("open", *more, "E2", "--by", say("ANN"), "--", say("BAY:V1"))
    ask("as-found", *more, "E3", "--", say("PUMP-2"), "at", say("STORE"))
    ask("as-found", *more, "E4", "--", say("PUMP-2:F1"), "demated")
    ask("correct", "E2", "--reason", "no", "--id", "E5", "--", "shut", say("BAY:V1"))
    approved = ("--rule", "expansion", "--by", say("ANN"), "--reason", "so", "--id", "A1")
    ask("approve", *approved, "--at", "2031-05-01T11:00:00Z", "--", say("PUMP-1:VOL"))
    for form in ((), ("--json",)):
        for question in QUESTIONS:
            ask(question[0], *form, "--", *map(say, question[1:]))
        for words in SESSION:
            ask(*(str(folder / "plan.toml") if word == "PLAN" else word for word in words), *form)
        ask("check", *form, "--do", _phrase('open "BAY:V1" by "ANN"', say))
        ask("can", *form, "--by", say("ANN"), "--", say("PUMP-1"))
        ask("draw", *form, "--unit", say("PUMP-1"))
    return out


def by_id(name: str) -> str:
    """Say an id as it is."""
    return name


def expect_same(folder: Path, called: Called, say: Say) -> None:
    """Expect the same answers by ids and as `say` has it, and the same definition in the journal."""
    assert session(folder / "aliases", called, say) == session(folder / "ids", called, by_id)
    again = Command(folder / "aliases")("load", str(folder / "ids" / "plant.toml"))
    assert again.out.startswith("nothing to load: ")


FILLERS = IN_PHRASES | {"it"}
LETTERS = "aZ09 #=+@/-.:;,'\"\\*?[](){}<>|&%$!~^éßΩЖ水🚰"
ALIASES = (
    st.text(LETTERS, min_size=1, max_size=9)
    .map(str.strip)
    .filter(lambda text: is_alias(text) and text not in FILLERS and "<" not in text)
    # What is a pattern of ids as well is refused where a rule says it.
    .filter(lambda text: not any(fnmatchcase(name, text) for name in NAMES))
)


# A session takes seconds, so that a failing one isn't made smaller.
@settings(
    max_examples=int(os.environ.get("CFGTRACK_CASES", "300")) // 75,
    deadline=None,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    suppress_health_check=[HealthCheck.too_slow],
)
@given(st.lists(ALIASES, min_size=len(NAMES), max_size=len(NAMES), unique_by=folded), st.data())
def test_what_is_told_by_aliases_is_answered_as_by_ids(aliases, data):
    """A session in which every id is replaced by an alias gives the same answers to the byte; so does its journal."""
    called = dict(zip(NAMES, aliases, strict=True))
    # What may be read in two ways is an error of its own.
    ambiguous = {":".join((a, b)) for a in called.values() for b in called.values()} & {*called.values()}
    assume(not ambiguous and not {*called.values()} & {*NAMES})
    owners = [called[owner] for owner in OWNERS]
    assume(not any(one.startswith(f"{other}:") for one in owners for other in owners))
    mixed = data.draw(st.booleans())

    def by_alias(name: str) -> str:
        owner, colon, inside = name.partition(":")
        return (owner if mixed and colon else called[owner]) + colon + (called[inside] if inside else "")

    with TemporaryDirectory() as folder:
        expect_same(Path(folder), called, by_alias)


DRAWN = {name: f"=A1+{name} #1/ü" for name in NAMES}


def drawn(name: str) -> str:
    """Say an address by what stands on the drawing."""
    return ":".join(DRAWN[one] for one in name.split(":"))


def test_a_drawing_is_answered_as_by_ids(tmp_path):
    """The names of a drawing, with blanks and signs, will do everywhere."""
    expect_same(tmp_path, DRAWN, drawn)


NAMED = """
[[part]]
id = "pump"
port = [{ name = "F1", aliases = ["Vorlauf 1"], kind = "fluid-disconnect" }, { name = "F2", kind = "fluid-disconnect" }]
[[unit]]
id = "PUMP-1"
part = "pump"
aliases = ["Kühlpumpe 1", "=A1+K1"]
attributes = { length = "3 m", lot = "old" }
[[place]]
id = "BAY"
aliases = ["Kühlraum"]
"""


@pytest.fixture
def named(empty: Command) -> Command:
    """The command on a plant with a few names of a drawing."""
    empty.ok("load", empty.file("named.toml", NAMED))
    return empty


def test_an_alias_of_what_the_files_no_longer_mention_is_taken(named):
    """What stays in the journal keeps its names: nothing else gets one of them, and nothing is loaded then."""
    other = '[[part]]\nid = "pump"\n[[unit]]\nid = "PUMP-2"\npart = "pump"\naliases = ["Kühlpumpe 1"]\n'
    refused = named("load", named.file("other.toml", other))
    assert refused.status == 3
    assert "unit PUMP-2: duplicate: the alias Kühlpumpe 1 is that of PUMP-1 already" in refused.err
    assert "PUMP-2" not in named.ok("state")


def test_what_a_load_changes_of_attributes_is_told_in_their_units(named):
    """A number is one change, in the unit that it was given in; SI inside is nobody's business."""
    changed = NAMED.replace("3 m", "350 cm").replace('"old"', "2029-02-28")
    told = named.ok("load", named.file("named.toml", changed), "--dry-run")
    assert "attributes.length: 3 m -> 350 cm" in told
    assert "attributes.lot: old -> 2029-02-28" in told


def test_what_is_named_twice_or_not_at_all(named):
    """A mistyped alias is told with near ones (4); what may be two things with both (2), by questions and commands."""
    missing = named("state", "Kühlpumpe 2")
    assert (missing.status, "near names: Kühlpumpe 1" in missing.err) == (4, True)
    mated = named("cap", "Kühlpumpe 1:Vorlauf 2")
    assert (mated.status, "PUMP-1 has no port Vorlauf 2; near names: Vorlauf 1" in mated.err) == (4, True)
    double = NAMED.replace('"Vorlauf 1"', '"C", "B:C"').replace('"=A1+K1"', '"A"')
    double += '[[unit]]\nid = "PUMP-2"\npart = "pump"\naliases = ["A:B"]\n'
    named.ok("load", named.file("double.toml", double))
    for words in ("state", "can", "history", "remarks", "cap", "inspect", "draw --unit"):
        told = named(*words.split(), "A:B:C")
        assert (told.status, "A:B:C may be PUMP-1:F1 or PUMP-2:F1" in told.err) == (2, True), words


def test_an_archive_has_all_that_is_said_of_things(named, tmp_path):
    """Aliases, attributes and ratings come back out of an archive."""
    archive = tmp_path / "all.jsonl"
    named.ok("export", "--form", "archive", "-o", archive)
    (tmp_path / "again").mkdir()
    again = Command(tmp_path / "again")
    again.ok("restore", archive)
    for thing in ("PUMP-1", "BAY"):
        there, here = named.json_of("state", thing), again.json_of("state", thing)
        assert there["state"] == here["state"]
    assert again.json_of("state", "=A1+K1")["state"]["attributes"] == [
        {
            "subject": "PUMP-1",
            "name": "length",
            "value": {"dimension": "length", "shown": 3.0, "unit": "m", "value": 3.0},
            "of_part": False,
        },
        {"subject": "PUMP-1", "name": "lot", "value": "old", "of_part": False},
    ]


def test_a_picture_says_what_the_drawing_calls_a_thing(named):
    """The box of a unit has its aliases beside its id, escaped as they must be."""
    named.ok("load", named.file("named.toml", NAMED.replace("=A1+K1", '=A1 <\\"B\\">')))
    drawn = named.ok("draw", "--unit", "Kühlpumpe 1")
    assert "also Kühlpumpe 1" in drawn.replace("\u00a0", " ")
    assert "=A1 &lt;&quot;B&quot;&gt;" in drawn


COMPLETED = [
    ("Kühl", ["Kühlpumpe 1", "Kühlraum"]),
    ("PUMP-1:", ["PUMP-1:F1", "PUMP-1:F2", "PUMP-1:Vorlauf 1"]),
    ("Kühlpumpe 1:V", ["Kühlpumpe 1:Vorlauf 1"]),
    ("=A1+K1:F", ["=A1+K1:F1", "=A1+K1:F2"]),
    ("B", ["BAY"]),
    ("X", []),
]


@pytest.mark.parametrize(("incomplete", "found"), COMPLETED)
def test_aliases_complete(named, incomplete, found):
    """What is begun is completed by ids and aliases alike; of ports by whatever name their owner was told."""
    assert beginning(Asking(str(named.db)), incomplete) == found


def test_bash_takes_a_name_with_blanks_as_one_word(empty, tmp_path):
    """The script hands bash a name as bash must have it: quoted, so that it is one word."""
    fake = tmp_path / "cfgtrack"
    fake.write_text("#!/bin/sh\necho 'plain,Kühlpumpe 1 $(x) *'\necho plain,PUMP-1:F1\n")
    fake.chmod(0o755)
    script = f"{empty.ok('completion', 'bash')}\nCOMP_WORDS=(cfgtrack state K) COMP_CWORD=2\n"
    script += "_cfgtrack_completion cfgtrack\neval \"printf '%s|' ${COMPREPLY[*]}\"\n"
    environment = {"PATH": f"{tmp_path}:{os.environ['PATH']}", "LC_ALL": "C.UTF-8"}
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, env=environment, check=True)
    assert done.stdout == "Kühlpumpe 1 $(x) *|PUMP-1:F1|"
