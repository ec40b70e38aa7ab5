"""Proposed sequences: what is read, and what is told of those that can't be."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files.definition import parse_definition
from cfgtrack.files.sequence import parse_sequence, read_sequence
from cfgtrack.model.sequence import LeftRunning, Outing, lay_out
from cfgtrack.model.time import HOUR, MINUTE
from cfgtrack.model.trouble import BadInput
from tests.told import code_of

GOOD = """\
title = "Exchange"
default_takes = "2 min"

[[outing]]
id = "o-1"
title = "First"
start = 2031-05-01T08:00:00Z
budget = "6 h 30 min"

[[outing.track]]
name = "ina"
steps = [
  { id = "1.01", do = "shut PUMP-1:V1", takes = ["3 min", "4 min", "8 min"], title = "Isolate" },
  { do = "torque PUMP-1:B1 torque='25 N*m' by BEN", takes = "4 min", after = ["2.01"] },
]

[[outing.track]]
name = "crane"

[[outing.track.steps]]
id = "2.01"
do = "lift PUMP-2 by INA"

[[outing]]
id = "o-2"
track = [{ name = "ina", steps = [{ do = "inspect PUMP-1", after = ["1.01"] }] }]
"""


def problems_of(text, plant):
    """What is told of a bad sequence: `where: code`."""
    with pytest.raises(BadInput) as caught:
        parse_sequence(text, plant, name="s.toml")
    return [f"{problem.where}: {code_of(problem)}" for problem in caught.value.problems]


def test_a_sequence_is_read_with_its_tracks_and_times(plant):
    """Steps keep the order in which they are written; ids and durations that are missing are filled in."""
    sequence = parse_sequence(GOOD, plant, name="s.toml")
    start = 1_935_388_800_000_000  # 2031-05-01T08:00:00Z, by GNU date
    assert sequence.outings == (Outing("o-1", start, 6 * HOUR + 30 * MINUTE, "First"), Outing("o-2"))
    assert [(s.id, s.outing, s.track, s.where) for s in sequence.steps] == [
        ("1.01", "o-1", "ina", "s.toml:13"),
        ("o-1.ina.2", "o-1", "ina", "s.toml:14"),
        ("2.01", "o-1", "crane", "s.toml:20"),
        ("o-2.ina.1", "o-2", "ina", "s.toml:26"),
    ]
    takes = [(s.takes, s.assumed) for s in sequence.steps]
    two, four = 2 * MINUTE, 4 * MINUTE
    assert takes == [
        ((3 * MINUTE, four, 8 * MINUTE), False),
        ((four, four, four), False),
        ((two, two, two), True),
        ((two, two, two), True),
    ]


def test_a_step_knows_who_does_it_and_in_which_outing(plant):
    """A step is done by its track, unless the phrase says by whom; its action carries the step's id."""
    actions = [step.action for step in parse_sequence(GOOD, plant).steps]
    assert [(a.id, a.by, a.outing) for a in actions] == [
        ("1.01", "ina", "o-1"),
        ("o-1.ina.2", "BEN", "o-1"),
        ("2.01", "crane", "o-1"),
        ("o-2.ina.1", "ina", "o-2"),
    ]


WORKS = """
[[part]]
id = "pump"
port = [{ name = "V", kind = "valve" }]
[[unit]]
id = "P"
part = "pump"
[[place]]
id = "HALL"
site = true
[[place]]
id = "ANN"
parent = "HALL"
mobile = true
[[place]]
id = "BEN"
parent = "HALL"
mobile = true
"""


def test_a_track_names_its_doer():
    """Who does a step: whom it names itself, else whom its track names, else whom the track is named for, assumed."""
    plant = parse_definition({"works.toml": WORKS}).plant()
    text = """
[[outing]]
id = "o"
[[outing.track]]
name = "valves"
by = "ANN"
steps = [{ id = "1", do = "open P:V" }, { id = "2", do = "shut P:V by BEN" }, { id = "3", do = "open P:V", by = "BEN" }]
[[outing.track]]
name = "BEN"
steps = [{ id = "4", do = "shut P:V" }]
[[outing.track]]
name = "book"
steps = [{ id = "5", do = "remark P dusty" }]
"""
    steps = parse_sequence(text, plant).steps
    assert [(s.id, s.action.by, s.doer_assumed) for s in steps] == [
        ("1", "ANN", False),
        ("2", "BEN", False),
        ("3", "BEN", False),
        ("4", "BEN", True),
        ("5", None, False),
    ]


def test_nobody_does_nothing_in_a_plant_with_sites(plant):
    """A track or step without a doer, or with one who is no person or machine, is told; without sites not."""
    text = """
[[outing]]
id = "o"
[[outing.track]]                                      #! missing
name = "valves"
steps = [
  { id = "1", do = "open P:V" },
  { id = "2", do = "shut P:V by HALL" },              #! unknown
  { id = "3", do = "open P:V", by = "ENN" },          #! unknown
  { id = "4", do = "shut P:V by ANN" },
]
[[outing.track]]
name = "more"
by = "P"                                              #! unknown
steps = [{ id = "5", do = "open P:V" }]
"""
    wanted = [
        f"s.toml:{number}: {code}"
        for number, line in enumerate(text.splitlines(), 1)
        for code in line.partition("#!")[2].split()
    ]
    sited = parse_definition({"works.toml": WORKS}).plant()
    with pytest.raises(BadInput) as caught:
        parse_sequence(text, sited, name="s.toml")
    assert [f"{problem.where}: {problem.code}" for problem in caught.value.problems] == wanted
    sentences = " ".join(problem.sentence for problem in caught.value.problems)
    assert "nobody does 1: say by" in sentences
    assert "HALL is a place, not a person or machine; there are ANN, BEN" in sentences
    assert "no person or machine ENN; known: ANN, BEN" in sentences
    plain = parse_definition({"works.toml": WORKS.replace("site = true", "")}).plant()
    assert [s.action.by for s in parse_sequence(text, plain).steps] == ["valves", "HALL", "ENN", "ANN", "P"]


BAD = {
    "what is left": """
leaves_open = "0123456789ab"                   #! wrong-type
[[outing]]
id = "o-1"
track = [{ name = "ina", steps = [{ do = "inspect PUMP-1" }] }]
[[leaves_running]]                             #! missing missing
of = "PUMP-1"
outing = "o-2"
[[leaves_running]]
clock = "heater"
outing = "o-1"                                 #! unexpected
start = "noon"                                 #! bad-time
till = 1                                       #! unknown-field
""",
    "fields": """
titel = "x"                                    #! unknown-field
default_takes = "2 m"                          #! bad-duration
[[outing]]
id = "o 1"                                     #! bad-id
start = "noon"                                 #! bad-time
budget = "-1 h"                                #! bad-duration
track = 3                                      #! wrong-type
[[outing]]
id = "o-2"
track = [
  { name = "a", steps = [                      #!
    { do = "opn PUMP-1:V1" },                  #! unknown-action
    { do = "open PUMP-1:V1", aftr = ["x"] },   #! unknown-field
    { do = "open PUMP-9:V1 at BAY-9" },        #! unknown-unit unknown-unit
    { do = "open PUMP-1:V1 'x" },              #! syntax
    { do = "begin o-3" },                      #! unexpected
    { do = "withdraw e-1" },                   #! unexpected
    { takes = "2 min" },                       #! missing
    { do = 1 },                                #! wrong-type
    { do = "open PUMP-1:V1", takes = ["2 min", "1 min", "3 min"] },  #! out-of-range
    { do = "open PUMP-1:V1", takes = ["2 min", "3 min"] },           #! wrong-type
    { do = "open PUMP-1:V1", takes = ["2 min", "x", 3] },            #! bad-duration wrong-type
    "open PUMP-1:V1",                          #! wrong-type
  ] },
  { name = "a", steps = [] },                  #! duplicate missing
  { name = "b" },                              #! missing
]
[[outing]]
id = "o-2"                                     #! duplicate
""",
    "waits": """
[[outing]]
id = "o-1"
[[outing.track]]
name = "a"
steps = [
  { id = "1", do = "open PUMP-1:V1", after = ["3"] },    #! unknown-step
  { id = "2", do = "open PUMP-1:V1", after = ["2"] },    #! deadlock
  { id = "2", do = "open PUMP-1:V1" },                   #! duplicate
  { id = "4", do = "open PUMP-1:V1", after = ["5"] },    #! deadlock
]
[[outing]]
id = "o-2"
track = [{ name = "a", steps = [{ id = "5", do = "open PUMP-1:V1", after = ["1"] }] }]
""",
    "a circle": """
[[outing]]
id = "o-1"
[[outing.track]]
name = "a"
steps = [
  { id = "1", do = "open PUMP-1:V1" },
  { id = "2", do = "open PUMP-1:V1", after = ["6"] },    #! deadlock
]
[[outing.track]]
name = "b"
steps = [{ id = "3", do = "open PUMP-1:V1" }, { id = "4", do = "open PUMP-1:V1", after = ["2"] }]
[[outing.track]]
name = "c"
steps = [{ id = "5", do = "open PUMP-1:V1", after = ["4"] }, { id = "6", do = "open PUMP-1:V1" }]
""",
    "nothing": "title = 'x'                                #! missing",
}


@pytest.mark.parametrize("name", BAD)
def test_every_error_is_told_at_its_line(plant, name):
    """Each thing that is wrong is told once, with its line, and nothing else is."""
    wanted = [
        f"s.toml:{number}: {code}"
        for number, line in enumerate(BAD[name].splitlines(), 1)
        for code in line.partition("#!")[2].split()
    ]
    assert sorted(problems_of(BAD[name], plant)) == sorted(wanted)


def test_a_circle_of_waits_is_told_step_by_step(plant):
    """Who waits for whom is told, also where a step is only behind another on its track."""
    with pytest.raises(BadInput) as caught:
        parse_sequence(BAD["a circle"], plant)
    (problem,) = caught.value.problems
    assert problem.sentence.endswith(
        "2 waits for 6; 5 (which comes before 6 on its track) waits for 4; 4 waits for 2"
    )


def test_a_file_that_is_no_sequence_is_told_as_that(tmp_path, plant):
    """A truncated file is told with its line, an absent one by its name."""
    path = tmp_path / "s.toml"
    path.write_text(GOOD[:400])
    with pytest.raises(BadInput, match=rf"^{re.escape(str(path))}:\d+: syntax: "):
        read_sequence(path, plant)
    with pytest.raises(BadInput, match="no-such-file"):
        read_sequence(tmp_path / "t.toml", plant)


@given(waits=st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), max_size=6))
def test_what_is_read_can_be_laid_out(plant, waits):
    """A sequence that is read has no circle: every step finds its time, after all that it waits for."""
    after = {step: [f"s{b}" for a, b in waits if a == step] for step in range(9)}
    tracks = "".join(
        f'[[outing.track]]\nname = "t{track}"\nsteps = ['
        + "".join(f'{{ id = "s{step}", do = "inspect PUMP-1", after = {after[step]} }},' for step in steps)
        + "]\n"
        for track, steps in enumerate([(0, 1, 2), (3, 4, 5), (6, 7, 8)])
    )
    try:
        sequence = parse_sequence(f'[[outing]]\nid = "o"\n{tracks}', plant)
    except BadInput as bad:
        assert {problem.code for problem in bad.problems} == {"deadlock"}  # noqa: PT017 - either outcome is good
        return
    laid = {one.step.id: one for one in lay_out(sequence, 0).steps}
    assert len(laid) == 9
    assert all(laid[a].end <= one.start for one in laid.values() for a in one.step.after)


def test_a_sequence_names_what_it_leaves(plant):
    """What is left open is named by fingerprint, a clock that is left running by its rule, item, outing and start."""
    text = """
leaves_open = ["0123456789ab"]
[[leaves_running]]
clock = "heater"
of = "PUMP-1"
outing = "o-9"
start = 2031-05-02T08:00:00Z
[[leaves_running]]
clock = "shift"
outing = "o-9"
start = 2031-05-02T08:00:00Z
[[outing]]
id = "o-1"
track = [{ name = "ina", steps = [{ do = "inspect PUMP-1" }] }]
"""
    sequence = parse_sequence(text, plant)
    start = 1_935_475_200_000_000  # 2031-05-02T08:00:00Z, by GNU date
    assert sequence.leaves_open == ("0123456789ab",)
    assert sequence.leaves_running == (
        LeftRunning("heater", "PUMP-1", "o-9", start),
        LeftRunning("shift", "", "o-9", start),
    )
    assert sequence.outings[0].where == "sequence.toml:12"
