"""Every answer with --json against its published schema, in every shape that it may have.

Sources: JSON Schema draft 2020-12, by the library jsonschema; RFC 3339 by the library rfc3339-validator.
"""

from __future__ import annotations

import ast
import copy
import json
import os
import shutil
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

import cfgtrack
from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.state import plant_state, unit_state
from cfgtrack.answers.encode import json_of
from cfgtrack.cli.main import VERBS
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.definition import SORTS
from cfgtrack.model.event import Entry
from cfgtrack.model.quantity import QUANTITIES
from cfgtrack.model.sequence import Outing, Step
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.network.network import compile_network
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.variance import Variance
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf
from cfgtrack.rules.what.not_ import Not
from cfgtrack.store.loading import RULES
from tests.cli.asked import (
    FOLDER,
    OTHER_FORM,
    SESSIONS,
    Asked,
    Asker,
    all_commands,
    ask_everything,
    at,
    command_of,
    install_condition,
)
from tests.cli.published import PATH, SCHEMA, Met, answer_of, errors, parts, promises, validator_of
from tests.rules.worlds import START, World, draw_world
from tests.store.conftest import Server

ANSWERING = sorted({command_of(words.split()) for words in all_commands()} - OTHER_FORM.keys())
CASES = int(os.environ.get("CFGTRACK_CASES", "100"))

NEVER_MET = {
    (
        "approval/withdrawal/anyOf/0/by",
        "type",
        "null",
    ): "a journal of before it was written down who records something",
    ("fault/code", "enum", "disk"): "a disk that fails while it is read",
    (
        "fault/code",
        "enum",
        "locked",
    ): "readers wait for nobody, save where a server's administrator locks a table",
    ("fault/code", "enum", "permission"): "rights that are taken away while the audit reads",
    ("fault/code", "enum", "no-server"): "a server that goes away while the audit reads",
    **{
        ("fault/code", "enum", code): "what a mere user of a server writes in plain SQL"
        for code in ("rules", "unfollowable", "unreadable")
    },
    (
        "plan-revision/recorder",
        "type",
        "null",
    ): "a program that adopts a plan, and says not who writes it down",
    (
        "way-answer/against",
        "items",
        "one",
    ): "a way of a plant too large for a session, with one thing against it",
    ("way/late", "items", "one"): "one clock alone that nobody out there can be reached in time for",
    ("quantity-name", "enum", "cycles"): "a journal of before cycles could be counted only",
    (
        "reference-trust",
        "enum",
        "seen in source",
    ): "a document that somebody has read, and not in a quotation",
}
"""What the schema lets an answer be and no case here makes: what it would take."""


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory, server: Server) -> list[Asked]:
    """All that the sessions ask, with the answers."""
    return ask_everything(tmp_path_factory.mktemp("asked"), server.empty())


# --- the schema itself --------------------------------------------------------------------------------------------


def test_the_schema_is_one() -> None:
    """The file is a schema of draft 2020-12, every part that it refers to is there, and every part is used."""
    Draft202012Validator.check_schema(SCHEMA)
    used = {str(found).removeprefix("#/$defs/") for found in _all(SCHEMA, "$ref")}
    assert used == SCHEMA["$defs"].keys()


def _all(value: Any, key: str) -> Iterator[Any]:
    """Yield what stands under a key, anywhere below."""
    if isinstance(value, dict):
        if key in value:
            yield value[key]
        for one in value.values():
            yield from _all(one, key)
    elif isinstance(value, list):
        for one in value:
            yield from _all(one, key)


def test_every_object_is_closed_and_every_field_described() -> None:
    """An object may have no field that the schema doesn't name, and the schema says of each what it means."""
    for where, schema in parts():
        if schema.get("type") == "object":
            assert {"additionalProperties", "unevaluatedProperties"} & schema.keys(), where
            assert schema.get("additionalProperties", False) is not True, where
            assert schema.get("unevaluatedProperties", False) is False, where
        if "required" in schema and "description" in schema:
            assert set(schema["required"]) <= schema["properties"].keys(), where
            for name, one in schema["properties"].items():
                told = one if "description" in one else SCHEMA["$defs"][one["$ref"].removeprefix("#/$defs/")]
                assert told["description"], (where, name)


def test_every_command_has_a_schema() -> None:
    """Each command that answers has its sub-schema, each sub-schema of an answer its command; the rest is known."""
    answers = {name for name in SCHEMA["$defs"] if name.endswith("-answer")}
    assert {answer_of(command) for command in ANSWERING} == answers
    assert [one["$ref"] for one in SCHEMA["anyOf"]] == [
        f"#/$defs/{n}" for n in SCHEMA["$defs"] if n in answers | {"distrusted"}
    ]
    assert OTHER_FORM.keys() <= set(all_commands())
    assert set(VERBS) <= set(all_commands())


def test_times_are_checked() -> None:
    """What looks like a time and is none, or is in another zone, is no instant."""
    assert errors("instant", "2031-02-28T23:59:59.123456Z") == []
    for text in ("2031-02-29T00:00:00Z", "2031-02-28T24:00:00Z", "2031-02-28T00:00:00+00:00", "2031-02-28"):
        assert errors("instant", text)
    assert errors("instant", 1_935_396_000_000_000)


def test_words_are_those_of_the_program() -> None:
    """The enumerations hold what the program's own tables hold."""
    defs = SCHEMA["$defs"]
    assert set(defs["quantity-name"]["enum"]) == QUANTITIES.keys()
    assert set(defs["difference"]["properties"]["aspect"]["enum"]) == {
        "part",
        "link",
        "defined",
        "status",
        "place",
        "lock",
        "tag",
        "defect",
        *QUANTITIES,
    }
    assert set(defs["quantity"]["properties"]["dimension"]["enum"]) == set(QUANTITIES.values())
    assert set(defs["sort"]["enum"]) == {*SORTS, RULES}


UNHEARD = {"unknown", "outing", "values", "remark"}
"""Refusals that no proposal meets: what it says is compared with the plant when it is read."""


PROPOSED_ONLY = {"absent"}
"""Refusals that no record meets: who did something was there."""


def test_codes_in_the_source_are_known() -> None:
    """Each code that stands in the source for a reason, a refusal or a fault is in the schema's enumeration."""
    defs = SCHEMA["$defs"]
    reasons, faults, problems = (
        set(defs[name]["properties"]["code"]["enum"]) for name in ("reason", "fault", "problem")
    )
    found: dict[str, set[str]] = {"Reason": set(), "Refusal": set(), "Objection": set(), "Fault": set()}
    for path in Path(cfgtrack.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and node.args:
                of = node.func.value if isinstance(node.func, ast.Attribute) else node.func
                code = node.args[0]
                if isinstance(of, ast.Name) and of.id in found and isinstance(code, ast.Constant):
                    found[of.id].add(str(code.value))
    found["Refusal"] |= found["Objection"]
    assert found["Refusal"] - UNHEARD | found["Reason"] == reasons
    assert found["Refusal"] - PROPOSED_ONLY <= problems
    assert len(found["Fault"]) > 3
    assert found["Fault"] <= faults


# --- every answer -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ANSWERING)
def test_answers_are_as_published(command: str, asked: list[Asked]) -> None:
    """Whatever a command answers follows its sub-schema, and so the whole schema."""
    answers = [one for one in asked if one.command == command and not one.beware]
    assert answers
    for one in answers:
        assert errors(answer_of(command), one.answer) == [], one.words
    assert Draft202012Validator(SCHEMA).is_valid(answers[-1].answer)


def test_a_journal_that_is_not_to_be_believed_is_told_as_published(asked: list[Asked]) -> None:
    """What comes then follows a schema of its own, and that of no answer: no reader takes the one for the other."""
    found = [one for one in asked if one.beware]
    for one in found:
        assert errors("distrusted", one.answer) == []
        assert errors(answer_of(one.command), one.answer) != []
    codes = SCHEMA["$defs"]["beware"]["properties"]["code"]["enum"]
    assert {told["code"] for one in found for told in one.answer["beware"]} == set(codes)


def test_proofs_are_as_published(asked: list[Asked]) -> None:
    """What `prove` prints follows the schema of proofs."""
    schema = json.loads((PATH.parent / "proof.schema.json").read_text(encoding="utf-8"))
    proofs = [one.answer for one in asked if one.command == "prove" and not one.beware]
    assert {proof["proof"] for proof in proofs} == {"inclusion", "consistency"}
    for proof in proofs:
        Draft202012Validator(schema).validate(proof)


def test_every_action_was_asked(asked: list[Asked]) -> None:
    """Every action that is a command answers as record does."""
    assert {one.words[0] for one in asked if one.command == "record"} == {"record", *VERBS}


def test_all_that_is_promised_comes(asked: list[Asked]) -> None:
    """Each word, alternative and optional field of the schema is met by an answer, but for what is known not to be."""
    met = Met()
    for one in asked:
        if one.command not in OTHER_FORM:
            met.take(one.schema, one.answer)
    assert sorted(promises() - met.kept - NEVER_MET.keys()) == []
    assert sorted(NEVER_MET.keys() & met.kept) == []
    assert NEVER_MET.keys() <= promises()


def test_what_is_not_there_is_null(asked: list[Asked]) -> None:
    """No answer has an empty text: but for the unit of what is counted, and what a definition or a file says itself."""
    answers = [one.answer for one in asked if one.command not in OTHER_FORM and not one.beware]
    found = {way for answer in answers for way, value in _leaves(answer) if value == ""}
    said = {way for way in found if way[-2:-1] == ("fields",)}
    assert {way[-1] for way in found - said} <= {"unit"}
    assert {way[-1] for way in said} <= {"before", "after"}


def _leaves(value: Any, way: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Yield all that an answer tells, each with the names that lead to it."""
    if isinstance(value, dict):
        for name, one in value.items():
            yield from _leaves(one, (*way, name))
    elif isinstance(value, list):
        for one in value:
            yield from _leaves(one, way)
    else:
        yield way, value


@pytest.mark.parametrize("command", ANSWERING)
def test_nothing_else_is_let_through(command: str, asked: list[Asked]) -> None:
    """An answer with a field more anywhere, or without one that must be there, or with a wrong one, is refused."""
    answer = max((one.answer for one in asked if one.command == command and not one.beware), key=_richness)
    validator = validator_of(answer_of(command))
    for way in _objects(answer):
        for changed in _spoilt(answer, way):
            assert not validator.is_valid(changed), way


def _richness(answer: Any) -> int:
    return -abs(len(json.dumps(answer)) - 4_000)


FREE = ("files", "ports", "values", "before", "after")
"""Maps of whatever names, and fields of definition items, which hold whatever items hold."""

OPTIONAL = {name for _, word, name in promises() if word == "there"}
"""The names of fields that are not there in every answer."""

Way = tuple[str | int, ...]


def _objects(value: Any, way: Way = ()) -> Iterator[Way]:
    """Yield the way to each object in an answer; of a list only the first few elements are looked into."""
    if isinstance(value, dict):
        yield way
        for name, one in value.items():
            if name not in FREE:
                yield from _objects(one, (*way, name))
    elif isinstance(value, list):
        for i, one in enumerate(value[:3]):
            yield from _objects(one, (*way, i))


def _spoilt(answer: Any, way: Way) -> Iterator[Any]:
    """Yield the answer with a field more at the object there; with each field of it of an impossible type; without."""
    found = answer
    for step in way:
        found = found[step]
    for name in ("more", *(name for name in found if name not in ("before", "after"))):
        yield _changed(answer, way, {**found, name: {"no": ["such"]}})
    for name in found.keys() - OPTIONAL:
        yield _changed(answer, way, {other: value for other, value in found.items() if other != name})


def _changed(answer: Any, way: Way, value: object) -> Any:
    """Return the answer with another value there."""
    if not way:
        return value
    changed = found = copy.deepcopy(answer)
    for step in way[:-1]:
        found = found[step]
    found[way[-1]] = value
    return changed


@pytest.mark.parametrize("name", ["recording", "clocks"])
def test_on_postgresql(name: str, server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The answers are as published on the other database too."""
    install_condition(tmp_path, monkeypatch)
    session = Asker(tmp_path / name, server.empty())
    SESSIONS[name](session)
    assert len(session.asked) > 20
    for one in session.asked:
        assert errors(one.schema, one.answer) == [], one.words


# --- drawn at random ----------------------------------------------------------------------------------------------


@cache
def _rows() -> list[dict[str, Any]]:
    """Return rows of all that may be tried in the shop, possible or not."""
    definition = parse_definition({"shop.toml": (FOLDER / "shop.toml").read_text(encoding="utf-8")})
    plant = definition.plant()
    rows: list[dict[str, Any]] = []
    ports = [port for owner in plant.owners() for port in plant.ports_of(owner)]
    for port in ports:
        found = plant.port(port)
        assert found is not None
        kind = found[1]
        mates = [p for p in ports if p != port and (f := plant.port(p)) and f[1] is kind]
        for action, move in kind.moves.items():
            pairs = mates if kind.joins(move) else [""]
            rows += [{"action": action, "subject": port, "subject2": mate} for mate in pairs]
        rows += [{"action": "as-found", "subject": port, "status": status} for status in kind.statuses]
    for thing in (*plant.units, *(place for place in plant.places if plant.is_mobile(place))):
        for place in plant.places:
            rows += [
                {"action": action, "subject": thing, "place": place, "facing": facing}
                for action in ("place", "as-found")
                for facing in plant.places[place].facings or ("",)
            ]
        rows += [
            {"action": "remark", "subject": thing, "remark": "scratched"},
            {"action": "lift", "subject": thing},
        ]
        rows.append({"action": "measure", "subject": thing, "values": "temperature='-5 degC' torque='3 N*m'"})
    rows += [{"action": action, "outing": "W1"} for action in ("begin", "end")]
    return rows


THINGS = ("BOX-1", "BOX-2", "BOX-2:R", "WALL", "SHELF", "ANN", "HOSE-1", "FRAIL-1")
PHRASES = ("demate BOX-1:J", "shut WALL:V", "place BOX-2 at COLD", "lift BOX-2 by ANN", "place FRAIL-1 at WARM",
           "uncap BOX-2:F", "torque BOX-1:B1 torque='99 N*m'", "as-found WALL:K off")  # fmt: skip
MINUTES = st.integers(0, 100)


@st.composite
def timed_rows(draw: st.DrawFn) -> list[tuple[int, dict[str, Any]]]:
    """Draw rows with the minutes at which they happened, half of them of what is often possible."""
    rows = _rows()
    seldom = ("as-found", "place", "mate", "engage", "remark", "lift")
    likely = [row for row in rows if row["action"] not in seldom]
    row = st.sampled_from(likely) | st.sampled_from(rows)
    return draw(st.lists(st.tuples(MINUTES, row), max_size=25))


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Asker]:
    """The shop with its rules, one of them excused, in a database to copy."""
    folder = tmp_path_factory.mktemp("drawn")
    with pytest.MonkeyPatch.context() as patch:
        install_condition(folder, patch)
        session = Asker(folder / "shop")
        session.ok("load", FOLDER / "shop.toml")
        session.ok("rules", "load", FOLDER / "shop-rules.toml")
        live = session.naming("dead", "--do", "demate BOX-1:J")
        session.ok("approve", *live, "--by", "lead", "--reason", "dead", "--at", at(30))
        session.ok("head")
        yield session


@given(timed_rows(), MINUTES, st.sampled_from(THINGS), st.sampled_from(PHRASES))
@settings(max_examples=max(1, CASES // 4))
def test_answers_about_any_past(shop: Asker, rows: Any, minute: int, thing: str, phrase: str) -> None:
    """Whatever was recorded, the answers are as published: of the import, state, history, judgement, and of a check."""
    copied = shop.folder / "copy.db"
    for file in shop.folder.glob("copy.db*"):
        file.unlink()
    shutil.rmtree(shop.state, ignore_errors=True)  # else it is told that the copy isn't what it was
    for file in shop.folder.glob("plant.db*"):
        shutil.copy(file, copied.with_name(file.name.replace("plant", "copy")))
    text = "".join(
        json.dumps({"at": at(when), "id": f"row-{i}", **{k: v for k, v in row.items() if v}}) + "\n"
        for i, (when, row) in enumerate(rows)
    )
    moment = ("--at", at(minute))
    for words in (
        ("import", "-", "--form", "jsonl", "--rejects", str(shop.folder / "rejects")),
        ("state", *moment),
        ("state", thing, *moment),
        ("history",),
        ("history", thing),
        ("diff", at(minute)),
        ("findings", *moment),
        ("review",),
        ("can", thing, *moment),
        ("check", "--do", phrase, *moment),
    ):
        said = shop("--db", str(copied), *words, "--json", stdin=text)
        assert said.status in ((0, 3, 4) if words[0] == "check" else (0, 3)), said.err
        assert errors(answer_of(command_of(words)), said.json) == [], words


def _has_reasons(condition: Condition) -> bool:
    """Return whether a condition is one that a rules file can have: nowhere all or any of nothing."""
    if isinstance(condition, All | AnyOf):
        return bool(condition.parts) and all(map(_has_reasons, condition.parts))
    return not isinstance(condition, Not) or _has_reasons(condition.part)


def _rules(world: World) -> RuleSet:
    """Return a world's rules as files must have them: with a title and a hazard."""
    fitting = (rule for rule in world.rules if _has_reasons(rule.condition))
    return RuleSet(tuple(_titled(rule) for rule in fitting))


def _titled(rule: Rule) -> Rule:
    return Rule(rule.id, "A title", "a hazard", rule.severity, "drawn", rule.mode, rule.condition, rule.scope)


def _proposal(world: World) -> Proposal:
    """Return the other way on as a proposal of two tracks, about one second a step."""
    steps = [
        Step(f"S{i}", "1", "ab"[i % 2], event, (500_000, 1_000_000, 500_000 * (2 + i % 4)))
        for i, event in enumerate(world.other)
        if event.action not in ("begin", "end")
    ]
    return Proposal("drawn", (Outing("1", budget=3_000_000),), tuple(steps))


@given(st.integers(0, 2**32), st.booleans())
@settings(max_examples=CASES)
def test_reports_of_any_world(seed: int, excused: bool) -> None:
    """Reports on random plants, pasts, rules and proposals are as published: states, findings, checks."""
    world = draw_world(seed)
    rules = _rules(world)
    past, start = world.events[: world.fork], Configuration(world.plant)
    now = start.fork()
    for event in past:
        now.apply(event)
    time = max([START, *(event.happened for event in past)])
    engine = Engine(rules, start.fork(), start=START)
    for event in past:
        engine.step(event)
    engine.finish(time)
    clocks = engine.clocks()
    begin, proposal = Start(start, past, START, time), _proposal(world)
    report = check(rules, begin, proposal)
    if excused:
        named = frozenset(code for f in report.new for code in f.fingerprints)
        report = check(rules, begin, proposal, variances=[Variance("v", "lead", "drawn", 0, named)])
    networks = {medium: compile_network(world.plant, medium) for medium in world.plant.media}
    entries = [Entry(event, i, event.happened) for i, event in enumerate(past, 1)]
    found: list[tuple[str, Any]] = [("check-report", report)]
    found += [("finding", one) for one in engine.findings()]
    found += [("clock", one) for one in clocks]
    found += [("entry", one) for one in entries]
    found.append(("plant-state", plant_state(world.plant, now, networks, clocks=clocks)))
    found += [
        ("thing-state", unit_state(world.plant, now, networks, thing, clocks=clocks))
        for owner in world.plant.owners()
        for thing in (owner, *world.plant.ports_of(owner))
    ]
    for name, value in found:
        assert errors(name, json.loads(json.dumps(json_of(value)))) == []
