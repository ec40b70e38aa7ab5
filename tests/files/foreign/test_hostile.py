"""What no reader of a foreign form may fall over: files that were cut, doubled, mixed up, or made to do harm."""

from __future__ import annotations

import json
import random
import re
from pathlib import Path

import networkx as nx
import pytest

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.convert import Converted, convert
from cfgtrack.files.definition import read_definition
from cfgtrack.files.foreign.reader import FORMS
from cfgtrack.model.trouble import BadInput, Trouble
from tests.clocks import in_time

DRAWING = Path(__file__).parents[2] / "outside" / "drawings" / "C01V04-VER.EX01.xml"
TIMES = 300
LONGEST = 20
"""Seconds in which a file must be read or refused."""


def piping() -> str:
    """Return the DEXPI reference drawing: see tests/outside/test_piping_drawing.py."""
    return DRAWING.read_text()


def water() -> str:
    """Return EPANET's example network 1, as wntr ships it."""
    from wntr.library import model_library

    text: str = Path(model_library.get_filepath("Net1")).read_text()
    return text


def power() -> str:
    """Return a net of pandapower's, without what was worked out of it."""
    import pandapower
    import pandapower.networks

    text: str = pandapower.to_json(pandapower.networks.example_simple())
    net = json.loads(text)
    kept = {n: v for n, v in net["_object"].items() if not n.startswith(("_", "res_", "std_types"))}
    for frame in kept.values():
        if isinstance(frame, dict) and isinstance(frame.get("_object"), str):
            frame["_object"] = json.loads(frame["_object"])
    return json.dumps({**net, "_object": kept}, indent=1)


def graph() -> str:
    """Return a graph with words of a plant, as networkx writes it."""
    made = nx.DiGraph(nx.gnm_random_graph(12, 20, seed=4))
    for number, node in enumerate(made):
        made.nodes[node].update(kind=("valve", "tank", "pump", "pipe")[number % 4], litres=number)
    for number, ends in enumerate(made.edges):
        made.edges[ends].update(kind=("", "pipe", "check valve", "breaker")[number % 4], status="closed")
    return "\n".join(nx.generate_graphml(made))


SOURCES = {"dexpi": piping, "epanet": water, "pandapower": power, "graphml": graph}


def mutated(text: str, r: random.Random) -> bytes:
    """Return a text with one to five changes: half of the time so that it is still of its form, at least nearly."""
    change = _reworded if r.random() < 0.5 else _torn
    for _ in range(r.randint(1, 5)):
        text = change(text, r)[:2_000_000]
    if change is _reworded:
        return text.encode("utf-8", "replace")
    encoded = text.encode(r.choice(("utf-8", "utf-8", "utf-16", "latin-1")), "replace")
    return encoded if r.random() < 0.9 else bytes(c ^ (r.random() < 0.001) * 7 for c in encoded)


def _reworded(text: str, r: random.Random) -> str:
    """Return a text in which words or numbers are others, once or everywhere, or a line is gone, doubled or moved."""
    words = re.findall(r"[\w.:-]+", text) or ["x"]
    lines = text.splitlines(keepends=True) or ["\n"]
    here, there = r.randrange(len(lines)), r.randrange(len(lines))
    way = r.randrange(5)
    if way == 0:
        return text.replace(r.choice(words), r.choice(words), r.choice((1, 3, -1)))
    if way == 1:
        strange = r.choice([one for one in STRANGE if one not in ('"', "<", ">", "&")])
        return text.replace(r.choice(words), strange, r.choice((1, 3, -1)))
    if way == 2:
        return re.sub(r"\d+", lambda m: r.choice((m[0], m[0], "0", "1", m[0] * 2)), text)
    if way == 3:
        lines[here], lines[there] = lines[there], lines[here]
    else:
        lines[here] = r.choice(("", lines[here] * 2, lines[there]))
    return "".join(lines)


def _torn(text: str, r: random.Random) -> str:
    """Return a text that is cut, or has a piece doubled, moved, or exchanged for something strange."""
    a = r.randrange(len(text) + 1)
    b = min(len(text), a + r.choice((1, 3, 30, 300)))
    return r.choice(
        (
            text[:a] + text[b:],
            text[:b] + text[a:],
            text[:a] + text[b:] + text[a:b],
            text[:a] + r.choice(STRANGE) + text[b:],
            text[:a],
        )
    )


STRANGE = (
    "", "\0", "\ud7ff", "\u202e", "é", "#", ":", "a:b", "\n", "\r", '"', "&", "&amp;", "<", ">", "null", "true",
    "NaN", "{}", "[]", "-0", "1e308", "x" * 300, "99999999999999999999", " ", "\t", ";", "]", "[PIPES]", "PUMP", "CV",
)  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
def test_mutated_files_are_read_or_refused(form: str, tmp_path: Path) -> None:
    """Of 300 mutated files each becomes files that load, or is refused with a reason, in time; some are either."""
    text = SOURCES[form]()
    ways = {"read": 0, "refused": 0}
    for seed in range(TIMES):
        source = tmp_path / "source"
        source.write_bytes(mutated(text, random.Random(f"{form} {seed}")))
        asking = Asking(str(tmp_path / "none.db"), at=1_900_000_000_000_000)
        folder = tmp_path / str(seed)
        try:
            with in_time(LONGEST):
                found: Converted | Trouble = convert(asking, source, folder, form=form)
        except Trouble as trouble:
            found = trouble
        if isinstance(found, Trouble):
            assert found.problems, seed
            assert not folder.exists()
            ways["refused"] += 1
            continue
        assert read_definition([folder / "plant.toml"]).units.keys(), seed
        ways["read"] += 1
    assert min(ways.values()) > 20, ways


BOMB = """<?xml version="1.0"?>
<!DOCTYPE lolz [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>
<ROOT>&c;</ROOT>
"""
OUTER = '<?xml version="1.0"?>\n<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>\n<ROOT>&a;</ROOT>\n'
DEEP = "<ROOT>" + "<a>" * 5000 + "</a>" * 5000 + "</ROOT>"


@pytest.mark.parametrize("text", [BOMB, OUTER, DEEP], ids=["entities of entities", "another file", "deep"])
@pytest.mark.parametrize(("form", "root"), [("dexpi", "PlantModel"), ("graphml", "graphml")])
def test_xml_that_means_harm(form: str, root: str, text: str, tmp_path: Path) -> None:
    """XML that declares entities (CWE-776, CWE-611) or nests without end is refused, whatever it is of."""
    source = tmp_path / "source.xml"
    source.write_text(text.replace("ROOT", root))
    with pytest.raises(BadInput) as caught, in_time(LONGEST):
        convert(Asking(str(tmp_path / "none.db"), at=0), source, tmp_path / "out", form=form)
    (problem,) = caught.value.problems
    assert problem.code == "refused"
    assert problem.where.startswith(f"{source}:")


def test_a_net_that_names_code_runs_none(tmp_path: Path) -> None:
    """What a pandapower file names as module and class is neither imported nor made: only its tables are read."""
    module = {"_module": "antigravity", "_class": "Popen", "_object": "touch it"}
    bus = {"_module": "os", "_class": "system", "_object": '{"columns": [], "index": [0], "data": [[]]}'}
    net = {
        "_module": "pandapower.auxiliary",
        "_class": "pandapowerNet",
        "_object": {"bus": bus, "evil": module},
    }
    source = tmp_path / "net.json"
    source.write_text(json.dumps(net))
    found = convert(Asking(str(tmp_path / "none.db"), at=0), source, tmp_path / "out")
    assert [(one.what, one.number) for one in found.came] == [("bus", 1)]
