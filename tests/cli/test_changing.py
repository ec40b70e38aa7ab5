"""Hardware that changes, as a user says it and asks for it."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Command

PLANT = """
[[part]]
id = "box"
port = [{ name = "F", kind = "fluid-disconnect", cycles = 8 }, { name = "J", kind = "electrical-connector" }]
node = [{ name = "VOL", medium = "fluid", litres = "2 l" }]
links = [["F", "VOL"]]
[[part]]
id = "wall"
port = [{ name = "F", kind = "fluid-disconnect" }, { name = "G", kind = "fluid-disconnect" }]
node = [{ name = "ACC", medium = "fluid", expansion = true }]
links = [["F", "ACC"], ["G", "ACC"]]
[[unit]]
id = "BOX-1"
part = "box"
[[unit]]
id = "BOX-2"
part = "box"
[[place]]
id = "WALL"
part = "wall"
[initial]
at = 2031-04-01T08:00:00Z
joined = [["BOX-1:F", "WALL:F"]]
place = { BOX-1 = "WALL", BOX-2 = "WALL" }
"""
REVISED = PLANT.replace(
    '{ name = "J", kind = "electrical-connector" }', '{ name = "D", kind = "fluid-disconnect" }'
)
BEFORE = PLANT + '[initial.before]\n"BOX-2:F" = { cycles = 8 }\nBOX-2 = { inspect = 2030-11-02T10:00:00Z }\n'

RULES = """
[[rule]]
id = "expansion"
title = "Liquid reaches the accumulator"
hazard = "it bursts"
severity = 1
source = "common practice"
mode = "always"
tolerance = "10 min"
scope = { liquid = true, id = "BOX-*" }
condition = { path = "fluid", from = "it", to = { expansion = true } }
[[rule]]
id = "drained"
title = "Drains are capped"
hazard = "it leaks"
severity = 3
source = "common practice"
mode = "always"
scope = { id = "BOX-*:D", may_be_empty = true }
condition = { status = "it", is = ["mated", "capped"] }
[[rule]]
id = "inspected"
title = "What is mated was inspected before"
hazard = "it leaks"
severity = 3
source = "common practice"
mode = "at"
at = { action = "mate", kind = "fluid-disconnect", id = "BOX-*" }
condition = { done = "inspect", of = "unit of it" }
[[rule]]
id = "worn"
title = "Rated mates"
hazard = "it leaks"
severity = 3
source = "common practice"
mode = "at"
at = { action = "mate", what = "port" }
after = true
condition = { value = "it", quantity = "cycles", rated = true }
"""


def at(day: int, time: str = "08:00") -> str:
    """Return a time of April 2031."""
    return f"2031-04-{day:02}T{time}:00Z"


@pytest.fixture
def shop(empty: Command) -> Command:
    """The tiny plant with its rules."""
    empty.ok("load", empty.file("plant.toml", PLANT), "--by", "survey")
    empty.ok("rules", "load", empty.file("rules.toml", RULES))
    return empty


def found(shop: Command, *words: str) -> list[tuple[str, str | None, str, str | None]]:
    """Return the findings of the past: rule, action, since when and until when."""
    answer = shop("review", *words, "--json").json
    return [(f["rule"], f["action"], f["time"], f["until"]) for f in answer["findings"]]


def test_a_revision_is_what_broke_a_rule(shop: Command) -> None:
    """What a revision brings with it and breaks a rule is its finding; what was open before goes on."""
    before = found(shop)
    assert before == [("expansion", None, "2031-04-01T08:10:00Z", None)]
    revised = shop.file("revised.toml", REVISED)
    said = shop.ok("load", revised, "--effective", at(10), "--reason", "a drain")
    assert "changed     part box" in said
    shop.ok("cap", "BOX-1:D", "--at", at(11))
    drains = [one for one in found(shop) if one[0] == "drained"]
    assert drains == [
        ("drained", "revise box", at(10), at(11)),
        ("drained", "revise box", at(10), None),
    ]
    assert found(shop, "--at", at(9)) == before
    assert shop("state", "BOX-1:D", "--at", at(9)).status == 4
    assert shop("state", "BOX-1:J", "--at", at(9)).status == 0
    assert shop("state", "BOX-1:J").status == 4
    assert "nothing to load" in shop.ok("load", revised)


def test_what_is_retired_is_open_no_longer(shop: Command) -> None:
    """A finding of a unit ends when it is retired, its clock runs no more, and `state` tells that it is retired."""
    shop.ok("demate", "BOX-1:F", "--at", at(5))
    assert [c["subject"] for c in shop.json_of("state", "--at", at(5, "08:05"))["state"]["clocks"]] == [
        "BOX-1:VOL"
    ]
    shop.ok("retire", "BOX-1", "--reason", "worn", "--at", at(5, "08:05"), "--id", "R1")
    shop.ok("retire", "BOX-2", "--reason", "worn", "--at", at(6))
    assert found(shop) == [("expansion", None, "2031-04-01T08:10:00Z", at(6))]
    assert shop.json_of("state")["state"]["clocks"] == []
    retired = [(one["id"], one["since"]) for one in shop.json_of("state")["state"]["retired"]]
    assert retired == [("BOX-1", at(5, "08:05")), ("BOX-2", at(6))]
    assert "RETIRED     since 2031-04-05T08:05:00Z, because: worn (event R1)" in shop.ok("state", "BOX-1")
    assert "retire BOX-1" in shop.ok("history", "BOX-1")
    assert "OPEN END" in shop.ok("state", "BOX-1", "--at", at(5))
    refused = shop("mate", "BOX-1:F", "WALL:F", "--at", at(7))
    assert (refused.status, "BOX-1 is retired" in refused.err) == (4, True)
    shop.ok("withdraw", "R1", "--reason", "another one")
    assert ("expansion", "demate BOX-1:F WALL:F", at(5, "08:10"), None) in found(shop)


def test_prior_life_counts(empty: Command) -> None:
    """Mates and inspections of before the first event count in the rules that ask for them."""
    empty.ok("load", empty.file("plant.toml", BEFORE), "--by", "survey")
    empty.ok("rules", "load", empty.file("rules.toml", RULES))
    empty.ok("demate", "BOX-1:F", "--at", at(2))
    empty.ok("mate", "BOX-2:F", "WALL:F", "--at", at(3))
    empty.ok("demate", "BOX-2:F", "--at", at(4))
    empty.ok("mate", "BOX-1:F", "WALL:F", "--at", at(5))
    rules = [one[:3] for one in found(empty) if one[0] in ("inspected", "worn")]
    assert rules == [
        ("worn", "mate BOX-2:F WALL:F", at(3)),
        ("inspected", "mate BOX-1:F WALL:F", at(5)),
    ]


def test_a_date_of_effect_has_happened(shop: Command) -> None:
    """A date of effect needs a reason, and has come."""
    plant = shop.file("revised.toml", REVISED)
    for words in (("--effective", at(10)), ("--reason", "x"), ("--corrects", "x")):
        assert shop("load", plant, *words).status == 2
    later = shop("load", plant, "--effective", "2032-01-01T00:00:00Z", "--reason", "planned")
    assert (later.status, "is still to come" in later.err) == (2, True)
    assert shop("retire", "BOX-2", "--reason", "x", "--at", "2032-01-01T00:00:00Z").status == 2
    assert shop("retire", "NOBODY", "--reason", "x").status == 4


def test_check_and_pictures_are_of_their_time(shop: Command) -> None:
    """A proposal is checked, and a picture drawn, with the plant of its moment."""
    shop.ok("load", shop.file("revised.toml", REVISED), "--effective", at(10), "--reason", "a drain")
    cap = ("check", "--do", "cap BOX-1:D")
    assert "BOX-1 has no port D" in (answer := shop(*cap, "--at", at(9))).out + answer.err
    assert shop(*cap, "--at", at(11)).status in (0, 3)
    assert "cap BOX-1:D" in shop.ok("can", "BOX-1", "--at", at(11))
    assert "BOX-1:D" not in shop.ok("can", "BOX-1", "--at", at(9))
    drawn = [
        shop.ok("draw", "--medium", "fluid", "--at", at(day), "-o", "-", "--form", "dot") for day in (9, 11)
    ]
    assert drawn[0] != drawn[1]


SPARE = PLANT.replace("[[place]]", '[[unit]]\nid = "BOX-3"\npart = "box"\n[[place]]', 1).replace(
    'BOX-2 = "WALL" }', 'BOX-2 = "WALL", BOX-3 = "WALL" }'
) + (
    '[initial.before]\n"BOX-3:F" = { cycles = 7 }\n'
    'BOX-3 = { time = "1200 h", inspect = 2031-03-25T10:00:00Z }\n'
)
INSPECTED = """
[[rule]]
id = "fresh"
title = "Inspected at most 10 days before it is mated"
hazard = "it leaks"
severity = 3
source = "common practice"
mode = "at"
at = { action = "mate", id = "BOX-3:F" }
condition = { done = "inspect", of = "unit of it", max_age = "10 d" }
"""


@pytest.mark.parametrize("dated", [True, False])
def test_a_spare_comes_with_its_prior_life(shop: Command, *, dated: bool) -> None:
    """An inspection of before a unit came keeps its own time, and its used cycles count, with a date and without."""
    spare = shop.file("spare.toml", SPARE)
    shop.ok("load", spare, *(("--effective", at(3), "--reason", "a spare") if dated else ()))
    shop.ok("rules", "load", shop.file("fresh.toml", INSPECTED))
    assert "2031-03-25T10:00:00Z" in shop.ok("history", "BOX-3")
    shop.ok("demate", "BOX-1:F", "--at", at(3, "09:00"))
    # Ten days after the inspection are over on April 4th at 10:00.
    for day, clear in ((4, True), (5, False)):
        check = shop("check", "--do", "mate BOX-3:F WALL:G", "--at", at(day), "--json").json["check"]
        assert ("fresh" not in [f["rule"] for f in check["new"]]) == clear
    shop.ok("mate", "BOX-3:F", "WALL:F", "--at", at(4))
    shop.ok("demate", "BOX-3:F", "--at", at(4, "08:10"))
    shop.ok("mate", "BOX-3:F", "WALL:F", "--at", at(4, "08:20"))
    broken = [one[:3] for one in found(shop) if one[0] in ("worn", "fresh", "inspected")]
    assert broken == [("worn", "mate BOX-3:F WALL:F", at(4, "08:20"))]
    assert "nothing to load" in shop.ok("load", spare)
    assert shop("audit").status == 0


def test_a_mistyped_prior_life_is_told_anew(empty: Command) -> None:
    """Files with another number of used cycles are told instead of the first, by name; the older files are not repeats.

    What somebody withdrew stays so until files say it otherwise.
    """
    files = [
        empty.file(f"{n}.toml", f'{PLANT}[initial.before]\n"BOX-2:F" = {{ cycles = {n} }}\n')
        for n in (7, 3, 2)
    ]

    def used() -> int:
        (port,) = empty.json_of("state", "BOX-2:F")["state"]["ports"]
        return int(port["cycles"])

    empty.ok("load", files[0], "--by", "survey")
    assert used() == 7
    told = empty.json_of("load", files[1], "--by", "survey")["load"]["anew"]
    assert [(one["event"], one["since"], one["subjects"]) for one in told] == [
        ("initial:BOX-2:F:before", at(1), ["BOX-2:F"])
    ]
    assert used() == 3
    assert "nothing to load" in empty.ok("load", files[1], "--by", "survey")
    said = empty.ok("load", files[0], "--by", "survey")
    assert f"told anew   {told[0]['by']} of {at(1)} counts no longer" in " ".join(said.split("\n"))
    assert used() == 7
    last = empty.json_of("load", files[2], "--by", "survey")["load"]["anew"][0]["by"]
    empty.ok("withdraw", last, "--reason", "nobody counted")
    assert used() == 0
    assert "nothing to load" in empty.ok("load", files[2], "--by", "survey")
    assert used() == 0
    assert empty.json_of("load", files[1], "--by", "survey")["load"]["anew"] == []
    assert used() == 3
    assert empty("audit").status == 0


def test_an_inspection_between_the_start_and_a_units_coming_counts(shop: Command) -> None:
    """What was inspected after the record began, and came to the plant later, was inspected then."""
    spare = """
[[unit]]
id = "BOX-3"
part = "box"
[initial]
at = 2031-04-03T08:00:00Z
place = { BOX-3 = "WALL" }
[initial.before]
BOX-3 = { inspect = 2031-04-02T08:00:00Z }
"""
    base = shop.file("base.toml", PLANT)
    shop.ok("load", base, shop.file("spare.toml", spare), "--effective", at(3), "--reason", "a spare")
    shop.ok("rules", "load", shop.file("fresh.toml", INSPECTED))
    shop.ok("demate", "BOX-1:F", "--at", at(3, "09:00"))
    for time, clear in ((at(12), True), (at(12, "08:01"), False)):
        check = shop("check", "--do", "mate BOX-3:F WALL:G", "--at", time, "--json").json["check"]
        assert ("fresh" not in [f["rule"] for f in check["new"]]) == clear
    assert shop("audit").status == 0


def test_files_that_undo_a_revision_name_it(shop: Command) -> None:
    """Older files without a date tell a revision anew: it is named, with the date from which it was so."""
    shop.ok("load", shop.file("b.toml", REVISED), "--effective", at(10), "--reason", "a drain")
    revision = shop.json_of("history", "box")["history"][-1]["id"]
    plant = shop.file("plant.toml", PLANT)
    told = shop.json_of("load", plant, "--dry-run")["load"]["anew"]
    assert [(one["event"], one["since"], one["subjects"]) for one in told] == [(revision, at(10), ["box"])]
    said = " ".join(shop.ok("load", plant).split())
    assert f"told anew {revision} of {at(10)} counts no longer, {told[0]['by']} does: box" in said
    assert shop.json_of("load", plant)["load"]["anew"] == []


SIZED = PLANT.replace(
    'name = "F", kind = "fluid-disconnect"', 'name = "F", kind = "fluid-disconnect", size = "1/2"'
)
ILL = SIZED.replace('size = "1/2", cycles = 8', 'size = "3/4", cycles = 8')


@pytest.mark.parametrize("dated", [True, False])
def test_a_joint_of_the_drawing_that_no_longer_fits_is_accepted(empty: Command, *, dated: bool) -> None:
    """A made joint of [initial] counts like any made joint: that it no longer fits is told, and accepted."""
    since = ("--effective", at(10), "--reason", "another half") if dated else ()
    empty.ok("load", empty.file("plant.toml", SIZED), "--by", "survey")
    ill = empty.file("ill.toml", ILL)
    refused = empty("load", ill, "--by", "survey", *since)
    assert (refused.status, "BOX-1:F is mated to WALL:F" in refused.out) == (3, True)
    said = empty.ok("load", ill, "--by", "survey", *since, "--accept", "an adapter is there")
    assert "BOX-1:F is 3/4, WALL:F is 1/2: the sizes differ" in " ".join(said.split())
    assert "nothing to load" in empty.ok("load", ill, "--by", "survey")
    assert empty("audit").status == 0
    empty.ok("demate", "BOX-1:F", "--at", at(12))
    again = empty("mate", "BOX-1:F", "WALL:F", "--at", at(13))
    assert (again.status, "sizes differ" in again.err) == (3, True)


def test_a_joint_of_the_drawing_that_never_fitted_is_an_error(empty: Command) -> None:
    """A joint that nobody has recorded yet has to fit, whatever is accepted; its line is told."""
    ill = empty.file("ill.toml", ILL)
    line = 1 + ILL.split("\n").index('joined = [["BOX-1:F", "WALL:F"]]')
    for words in ((), ("--accept", "why not")):
        refused = empty("load", ill, *words)
        assert refused.status == 2
        assert f"ill.toml:{line}: size: initial: BOX-1:F is 3/4, WALL:F is 1/2" in refused.err
    empty.ok("load", empty.file("plant.toml", SIZED.replace('joined = [["BOX-1:F", "WALL:F"]]', "")))
    assert empty("load", ill, "--accept", "why not").status == 2


@pytest.mark.parametrize(
    ("since", "findings", "clocks"),
    [
        (at(10), [("expansion", "revise wall", at(10, "08:10"))], []),
        # It is nine o'clock.
        ("2031-05-01T08:58:00Z", [], [("expansion", "BOX-2:VOL", "2031-05-01T08:58:00Z")]),
    ],
)
def test_a_load_tells_what_it_breaks(
    shop: Command, since: str, findings: list[tuple[str, ...]], clocks: list[tuple[str, ...]]
) -> None:
    """A revision tells the finding that it makes and the clock that it starts; what changes nothing tells none."""
    shop.ok("mate", "BOX-2:F", "WALL:G", "--at", at(2))
    before = found(shop)
    # The wall's second port leads nowhere from then on.
    plant = PLANT.replace('["G", "ACC"]', '["G", "END"]').replace(
        "expansion = true }]", 'expansion = true }, { name = "END", medium = "fluid" }]'
    )
    cut = shop.file("cut.toml", plant)
    dated = (cut, "--effective", since, "--reason", "a line removed")
    assert shop.json_of("load", *dated, "--dry-run")["findings"] == []
    answer = shop.json_of("load", *dated)
    assert [(one["rule"], one["action"], one["time"]) for one in answer["findings"]] == findings
    assert [(one["rule"], one["subject"], one["started"]) for one in answer["started"]] == clocks
    assert [one[:3] for one in found(shop) if one not in before] == findings
    again = shop.json_of("load", *dated)
    assert (again["findings"], again["started"]) == ([], [])


def test_a_load_names_locks_on_what_gates_nothing_any_more(empty: Command) -> None:
    """A lock on a switch that gates something else, or nothing, from then on is warned of."""
    plant = """
[[part]]
id = "box"
port = [{ name = "K", kind = "switch" }, { name = "J", kind = "electrical-connector" }]
node = [{ name = "BUS", medium = "power", source = true }, { name = "LAMP", medium = "power", load = true }]
links = [["BUS", "J", "K"], ["J", "LAMP"]]
[[place]]
id = "BOX"
part = "box"
[[place]]
id = "ANN"
mobile = true
parent = "BOX"
[initial]
at = 2031-04-01T08:00:00Z
status = { "BOX:K" = "off" }
"""
    empty.ok("load", empty.file("plant.toml", plant))
    empty.ok("lock", "BOX:K", "ANN", "--by", "ANN", "--at", at(2))
    ungated = empty.file("ungated.toml", plant.replace('"J", "K"]', '"J"]'))
    answer = empty("load", ungated, "--effective", at(3), "--reason", "a jumper")
    assert answer.status == 0
    said = "ANN's lock is on BOX:K, which gates nothing any more; it gated BOX:BUS - BOX:J"
    assert f"warning: {said}" in " ".join((answer.out + answer.err).split())


@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_what_an_export_and_an_import_leave_out_is_told(shop: Command, form: str) -> None:
    """That a unit is retired is in no CSV and taken in by no import: both say so; what took one back is no error."""
    plant = shop.file("plant.toml", PLANT)
    shop.ok("retire", "BOX-2", "--reason", "worn", "--at", at(6), "--id", "R1")
    shop.ok("withdraw", "R1", "--reason", "another one")
    shop.ok("retire", "BOX-2", "--reason", "worn", "--at", at(7), "--id", "R2")
    shop.ok("remark", "BOX-1", "still good", "--at", at(8))
    out = shop.folder / f"events.{form}"
    exported = shop("export", "-o", out)
    assert exported.status == 0
    assert ("note: that BOX-2 is retired is in an archive only" in exported.err) == (form == "csv")
    shop.db = shop.folder / "copy.db"
    shop.ok("load", plant, "--by", "survey")
    taken = shop("import", out)
    assert taken.status == 0, taken.err
    told = f"note: BOX-2 isn't retired by this: retire it, at {at(7)}, or use an archive"
    assert (told in taken.err) == (form == "jsonl")
    assert "still good" in shop.ok("history", "BOX-1")


def test_a_lock_box_with_a_lock_out_is_not_retired(empty: Command) -> None:
    """A box whose lock hangs somewhere stays, told in order or late; once its lock is off it may go."""
    plant = """
[[part]]
id = "panel"
port = [{ name = "K", kind = "switch" }]
[[part]]
id = "lockbox"
lock_box = true
[[unit]]
id = "BOX"
part = "lockbox"
[[place]]
id = "SITE"
[[place]]
id = "PANEL"
parent = "SITE"
part = "panel"
[[place]]
id = "ANN"
mobile = true
parent = "SITE"
[initial]
at = 2031-04-01T08:00:00Z
status = { "PANEL:K" = "off" }
place = { "BOX" = "SITE" }
"""
    empty.ok("load", empty.file("plant.toml", plant))
    empty.ok("lock", "PANEL:K", "BOX", "--by", "ANN", "--at", at(2))
    refused = empty("retire", "BOX", "--reason", "worn", "--at", at(3))
    told = "BOX's lock is on PANEL:K, and BOX is retired"
    assert (refused.status, told in refused.err) == (3, True)
    empty.ok("unlock", "PANEL:K", "BOX", "--by", "ANN", "--at", at(4))
    assert empty("retire", "BOX", "--reason", "worn", "--at", at(3)).status == 3
    empty.ok("retire", "BOX", "--reason", "worn", "--at", at(5))
    late = empty("lock", "PANEL:K", "BOX", "--by", "ANN", "--at", at(4, "09:00"))
    assert (late.status, told in late.err) == (3, True)
    assert empty("audit").status == 0


def test_a_retired_unit_comes_back(shop: Command) -> None:
    """A unit that was repaired is of the plant again from a date on, where it had stood, with the cycles it had."""
    plant = shop.file("plant.toml", PLANT)
    shop.ok("demate", "BOX-1:F", "--at", at(5))
    shop.ok("retire", "BOX-1", "--reason", "worn", "--at", at(6))
    name = shop.json_of("history", "BOX-1")["history"][-1]["id"]
    other = shop("correct", name, "retire", "BOX-1", "--at", at(7), "--reason", "a day later")
    assert (other.status, "withdraw it, and retire it as it really was" in other.err) == (3, True)
    again = (plant, "--effective", at(8), "--reason", "repaired")
    stays = shop("load", *again)
    assert "note: unit BOX-1 is in the files and retired: it stays so (--back BOX-1)" in stays.err
    assert shop("load", plant, "--back", "BOX-1").status == 2
    not_yet = shop("load", plant, "--effective", at(5, "09:00"), "--reason", "x", "--back", "BOX-1")
    assert (not_yet.status, "BOX-1 isn't retired at the date of effect" in not_yet.err) == (3, True)
    answer = shop.json_of("load", *again, "--back", "BOX-1")["load"]
    assert answer["back"] == [{"sort": "unit", "id": "BOX-1"}]
    assert shop("mate", "BOX-1:F", "WALL:F", "--at", at(7)).status == 4
    shop.ok("mate", "BOX-1:F", "WALL:F", "--at", at(9))
    assert "RETIRED" in shop.ok("state", "BOX-1", "--at", at(7))
    state = shop.json_of("state", "BOX-1", "--at", at(9))["state"]
    assert (state["place"], [port["cycles"] for port in state["ports"]]) == (["WALL"], [1, 0])
    assert [one["id"] for one in shop.json_of("state")["state"]["retired"]] == []
    assert "nothing to load" in shop.ok("load", plant)
    assert shop("audit").status == 0
    archive = shop.folder / "all.archive"
    shop.ok("export", "-o", archive, "--form", "archive")
    assert archive.read_text(encoding="utf-8").count('"sort":"retired"') == 2


def test_a_revision_is_seen_between_its_times_and_in_its_units_history(shop: Command) -> None:
    """`diff` tells what was revised of a part, and `history` of a unit that its part was, or that it is another."""
    plant = PLANT.replace('links = [["F", "VOL"]]', "links = []")
    shop.ok("load", shop.file("cut.toml", plant), "--effective", at(10), "--reason", "a line removed")
    rows = shop.json_of("diff", at(9), at(11))["difference"]
    assert [(r["subject"], r["aspect"], r["before"], r["after"]) for r in rows] == [
        ("box", "link", "F - VOL", None)
    ]
    assert "F - VOL" in shop.ok("diff", at(9), at(11))
    assert "revise box" in shop.ok("history", "BOX-1")
    assert "revise box" in shop.ok("history", "BOX-2:F")
    assert shop.json_of("diff", at(5), at(6))["difference"] == []
    other = plant.replace('id = "BOX-2"\npart = "box"', 'id = "BOX-2"\npart = "crate"').replace(
        '[[part]]\nid = "wall"',
        '[[part]]\nid = "crate"\nport = [{ name = "F", kind = "fluid-disconnect" }]\n[[part]]\nid = "wall"',
    )
    before = shop.json_of("history", "BOX-2")["history"]
    shop.ok("load", shop.file("other.toml", other), "--accept", "it always was a crate")
    after = shop.json_of("history", "BOX-2")["history"]
    assert [one["action"] for one in after if one not in before] == ["define"]


def test_a_history_tells_what_was_withdrawn(shop: Command) -> None:
    """What was taken back stands in its thing's history as what no longer counts, with what took it back."""
    shop.ok("demate", "BOX-1:F", "--at", at(5), "--id", "D1")
    shop.ok("withdraw", "D1", "--reason", "another one", "--id", "W1")
    lines = shop.json_of("history", "BOX-1")["history"]
    assert ("D1", "W1") in [(one["id"], one["corrected_by"]) for one in lines]


def test_what_a_load_changes_is_told_in_words(shop: Command) -> None:
    """Of links that differ those are told that are on one side alone, of a rules file how many lines."""
    plant = PLANT.replace('["G", "ACC"]', '["ACC", "G"]')
    said = " ".join(shop.ok("load", shop.file("p.toml", plant), "--dry-run").split())
    assert "part wall: links: without G - ACC, with ACC - G" in said
    rules = shop.file("rules.toml", RULES.replace("Drains are capped", "Drains are shut"))
    said = " ".join(shop.ok("rules", "load", rules, "--dry-run").split())
    assert "rules file rules.toml: text: 1 line gone, 1 new" in said


def test_a_withdrawal_collides_from_the_time_of_what_it_takes_back(shop: Command) -> None:
    """What a withdrawal contradicts is told as later than what it withdraws, not than the withdrawal itself."""
    shop.ok("demate", "BOX-1:F", "--at", at(5), "--id", "D1")
    shop.ok("cap", "BOX-1:F", "--at", at(6), "--id", "C1")
    refused = shop("withdraw", "D1", "--reason", "another one")
    assert refused.status == 3
    assert f"withdraw D1 from {at(5)} on collides with later event C1, cap BOX-1:F at {at(6)}" in refused.err
