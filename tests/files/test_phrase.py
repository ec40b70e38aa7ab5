"""Action phrases: what they say, and what is told of those that say nothing."""

import subprocess
from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cfgtrack.files.phrase import parse_phrase, phrase, split_phrase
from cfgtrack.model.action import Action
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Place, Plant
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.model.trouble import BadInput, NoAnswer, Trouble
from tests.told import code_of

GOOD = [
    ("mate PUMP-1:F1 BAY-1:F1", {"action": "mate", "subjects": ("PUMP-1:F1", "BAY-1:F1")}),
    ("mate PUMP-1:F1 to BAY-1:F1 by INA", {"subjects": ("PUMP-1:F1", "BAY-1:F1"), "by": "INA"}),
    ("Demate PUMP-1:F1 from BAY-1:F1", {"action": "demate", "subjects": ("PUMP-1:F1", "BAY-1:F1")}),
    ("let go PUMP-1:B1", {"action": "let-go"}),
    ("place PUMP-1 at BAY-1 facing up", {"subjects": ("PUMP-1",), "place": "BAY-1", "facing": "up"}),
    ("place PUMP-1 BAY-1", {"place": "BAY-1", "facing": None}),
    ("lift PUMP-1 by INA", {"place": "INA", "by": None}),
    ("lift PUMP-1 by INA by BEN", {"place": "INA", "by": "BEN"}),
    ("lift PUMP-1 INA by BEN", {"place": "INA", "by": "BEN"}),
    ("lift PUMP-1", {"place": None}),
    ("place PUMP-1 at BAY-1 by INA", {"place": "BAY-1", "by": "INA"}),
    ("place PUMP-1 by INA at BAY-1 facing up", {"place": "BAY-1", "by": "INA", "facing": "up"}),
    ("as-found PUMP-1:F2 capped by INA", {"status": "capped", "by": "INA"}),
    ("as-found PUMP-1 at BAY-1 by INA", {"place": "BAY-1", "by": "INA"}),
    ("as-found PUMP-1:F2 capped", {"status": "capped", "place": None}),
    ("as found PUMP-1:F1 mated to BAY-1:F1", {"status": "mated", "subjects": ("PUMP-1:F1", "BAY-1:F1")}),
    ("as-found PUMP-1 at BAY-1", {"status": None, "place": "BAY-1"}),
    ("as-found PUMP-1 BAY-1", {"place": "BAY-1"}),
    ("inspect PUMP-1:VOL", {"subjects": ("PUMP-1:VOL",)}),
    ("remark pump seal wears, see note=3", {"subjects": ("pump",), "remark": "seal wears, see note=3"}),
    ("lock PUMP-1:V1 by INA", {"subjects": ("PUMP-1:V1",), "by": "INA"}),
    ("unlock PUMP-1:V1 from INA", {"subjects": ("PUMP-1:V1", "INA"), "by": None}),
    ("transfer PUMP-1:V1 to BEN from INA", {"subjects": ("PUMP-1:V1", "INA", "BEN")}),
    (
        "cut PUMP-1:V1 from BEN by INA reason='on leave'",
        {"subjects": ("PUMP-1:V1", "BEN"), "reason": "on leave"},
    ),
    ("begin outing-1", {"outing": "outing-1", "subjects": ()}),
    ("withdraw e-17 reason='wrong port'", {"withdraws": "e-17", "reason": "wrong port"}),
    ("explain e-18 reason=x", {"explains": "e-18"}),
    ("shut PUMP-1:V1 basis=witnessed outing=o-1 remark='by hand'", {"basis": "witnessed", "outing": "o-1"}),
]


@pytest.mark.parametrize(("text", "said"), GOOD)
def test_a_phrase_says_what_its_words_say(plant, text, said):
    """Filler words change nothing but who did it and where to; settings name the rest."""
    event = parse_phrase(split_phrase(text), plant, id="e-1", happened=7)
    assert (event.id, event.happened) == ("e-1", 7)
    assert {name: getattr(event, name) for name in said} == said


CALLED = [
    ("lock PUMP-1:V1 'Kasten 7' by 'Ina Ö.'", {"subjects": ("PUMP-1:V1", "BAY-1"), "by": "INA"}),
    ("lock 'Kasten 7' by 'Ina Ö.'", {"subjects": ("BAY-1",), "by": "INA"}),
    ("lock PUMP-1:V1 with 'Ina Ö.'", {"subjects": ("PUMP-1:V1", "INA")}),
    ("unlock PUMP-1:V1 with 'Kasten 7'", {"subjects": ("PUMP-1:V1", "BAY-1")}),
    ("transfer PUMP-1:V1 from 'Ina Ö.' to #2", {"subjects": ("PUMP-1:V1", "INA", "BEN")}),
    ("cut 'Kasten 7' from #2 reason=x", {"subjects": ("BAY-1", "BEN")}),
    ("lift PUMP-1 by #2 by 'Ina Ö.'", {"place": "BEN", "by": "INA"}),
]


@pytest.mark.parametrize(("text", "said"), CALLED)
def test_whose_lock_it_is_may_be_told_by_an_alias(plant, text, said):
    """People and lock boxes are who they are called, wherever a phrase names them."""
    called = {"BAY-1": ("Kasten 7", True), "INA": ("Ina Ö.", False)}
    places = {
        name: replace(place, aliases=(called[name][0],), lock_box=called[name][1])
        if name in called
        else place
        for name, place in plant.places.items()
    }
    places["BEN"] = Place("BEN", mobile=True, aliases=("#2",))
    named = Plant(plant.media, plant.kinds, plant.parts, plant.units, places)
    event = parse_phrase(split_phrase(text), named)
    assert {name: getattr(event, name) for name in said} == said


def test_a_value_has_the_dimension_of_its_quantity(plant):
    """`25 N*m` is a torque where a torque is named."""
    event = parse_phrase(split_phrase('torque PUMP-1:B1 torque="25 N*m" preload="11 kN"'), plant)
    assert event.values == {
        "torque": parse_quantity("25 N*m", dimension="torque"),
        "preload": parse_quantity("11 kN", dimension="force"),
    }


BAD = [
    ("", "missing"),
    ("mat PUMP-1:F1", "unknown-action"),
    ("mate", "subjects"),
    ("mate PUMP-1:F1 BAY-1:F1 PUMP-2:F1", "subjects"),
    ("mate PUMP-1:F9 BAY-1:F1", "unknown-port"),
    ("mate PUMP-9:F1 BAY-1:F1", "unknown-unit"),
    ("mate PUMP-1 BAY-1:F1", "unknown-port"),
    ("open PUMP-1:VOL", "unknown-port"),
    ("place PUMP-1", "missing"),
    ("place PUMP-1 at BAY-9", "unknown-place"),
    ("place PUMP-1 at PUMP-2", "unknown-place"),
    ("place BAY-1 at SITE", "unknown-unit"),
    ("place PUMP-1 from SITE to BAY-1", "unexpected"),
    ("place PUMP-1 at BAY-1 facing", "missing"),
    ("place PUMP-1 at BAY-1 SITE", "duplicate"),
    ("mate PUMP-1:F1 BAY-1:F1 facing=up", "unexpected"),
    ("mate PUMP-1:F1 BAY-1:F1 status=mated", "unexpected"),
    ("mate PUMP-1:F1 BAY-1:F1 place=BAY-1", "unexpected"),
    ("as-found PUMP-1:F1", "missing"),
    ("as-found PUMP-1:F1 cap", "unknown-status"),
    ("as-found PUMP-1 at BAY-1 capped", "unexpected"),
    ("measure PUMP-1", "missing"),
    ("measure PUMP-1 presure='2 bar'", "unknown-quantity"),
    ("measure PUMP-1 pressure='2 N*m'", "bad-quantity"),
    ("measure PUMP-1 pressure=2", "bad-quantity"),
    ("measure PUMP-1 pressure='2 bar' pressure='3 bar'", "duplicate"),
    ("remark", "subjects missing"),
    ("remark PUMP-1", "missing"),
    ("remark rope frayed", "unknown-unit"),
    ("begin", "missing"),
    ("lock", "subjects"),
    ("lock PUMP-9:V1 by INA", "unknown-unit"),
    ("lock PUMP-1:V1 PUMP-2:V1 by INA", "unknown-person"),
    ("transfer PUMP-1:V1 from INA", "subjects"),
    ("begin o-1 o-2", "duplicate"),
    ("inspect PUMP-1 basis=hearsay", "unknown-basis"),
    ("withdraw", "missing"),
    ("explain", "missing"),
    ("place", "subjects missing"),
    ("place PUMP-9 at BAY-1", "unknown-unit"),
    ("define PUMP-1", "unexpected"),
    ("inspect PUMP-9 by=", "missing unknown-unit"),
]


@pytest.mark.parametrize(("text", "codes"), BAD)
def test_everything_that_is_wrong_with_a_phrase_is_told(plant, text, codes):
    """A phrase that makes no sense in this plant is bad input, each reason with its code."""
    with pytest.raises(Trouble) as caught:
        parse_phrase(split_phrase(text), plant, where="step 3")
    assert [code_of(problem) for problem in caught.value.problems] == codes.split()
    assert {problem.where for problem in caught.value.problems} == {"step 3"}


@pytest.mark.parametrize(
    ("text", "trouble"),
    [
        ("open PUMP-9:V1", NoAnswer),
        ("place PUMP-9 at BAY-9", NoAnswer),
        ("open PUMP-1:VOL", NoAnswer),
        ("opn PUMP-1:V1", BadInput),
        ("as-found PUMP-1:F1 cap", BadInput),
        ("inspect PUMP-9 basis=hearsay", BadInput),
        ("measure PUMP-1 subject=3", BadInput),
    ],
)
def test_there_is_no_answer_where_only_things_are_missing(plant, text, trouble):
    """A unit, place or port that isn't there leaves no answer; any other word that isn't known is bad input."""
    with pytest.raises(trouble, match="action: unknown: "):
        parse_phrase(split_phrase(text), plant)


def test_a_mistyped_word_is_told_with_near_names(plant):
    """Near names of actions, units, ports and statuses are offered."""
    for text, near in [
        ("mat PUMP-1:F1", "near names: mate"),
        ("mate PUMP1:F1 BAY-1:F1", "near names: PUMP-1"),
        ("as-found PUMP-1:F2 caped", "near names: capped"),
        ("measure PUMP-1 torqe='2 N*m'", "near names: torque"),
    ]:
        with pytest.raises(Trouble, match=near):
            parse_phrase(split_phrase(text), plant)


WORDS = st.text(min_size=1, max_size=8).map(str.strip).filter(bool)
UNITS = {"torque": "ft lbf", "pressure": "bar", "voltage": "V", "temperature": "degC"}
VALUES = st.dictionaries(
    st.sampled_from(["torque", "pressure", "voltage", "temperature"]),
    st.integers(0, 10**9),
    max_size=2,
).map(
    lambda found: {
        name: parse_quantity(f"{number / 1000} {UNITS[name]}", dimension=name)
        for name, number in found.items()
    }
)
PORTS = st.sampled_from(["PUMP-1:F1", "PUMP-1:F2", "PUMP-2:B1", "BAY-1:F1", "PUMP-1:V1"])


def event(action, subjects, **more):
    """Some events of an action."""
    return st.builds(Action, st.just("e"), st.just(action), subjects, st.just(0), **more)


ONE, TWO = st.tuples(PORTS), st.tuples(PORTS, PORTS)
UNIT, PLACE = st.sampled_from([("PUMP-1",), ("INA",)]), st.sampled_from(["BAY-1", "SITE"])
BARRED = st.sampled_from(["release", "let-go", "place", "open"])
CAUSES = st.sampled_from(
    ["seized", "won't seat", "stuck in half", "in", "by", "PUMP-1", "PUMP-1:F1", "mate", "a=1"]
)
CODE = "0123456789ab"
EVENTS = st.one_of(
    *(event(action, ONE | TWO, values=VALUES) for action in ("mate", "demate", "let-go", "torque", "cap")),
    event("place", UNIT, place=PLACE, facing=st.none() | WORDS),
    event("lift", UNIT, place=st.none() | st.just("INA")),
    event("as-found", st.sampled_from([("PUMP-1:F1",), ("PUMP-1:F1", "BAY-1:F1")]), status=st.just("mated")),
    event("as-found", UNIT, place=PLACE, facing=st.none() | WORDS),
    event("measure", ONE, values=VALUES.filter(bool)),
    event("inspect", ONE | UNIT, values=VALUES),
    event("remark", ONE | UNIT, remark=WORDS),
    event("begin", st.just(()), outing=st.just("o-1")),
    *(event(action, ONE, by=st.just("INA")) for action in ("lock", "unlock", "tag", "untag")),
    *(event(action, st.tuples(PORTS, st.just("INA"))) for action in ("lock", "unlock")),
    event("transfer", st.tuples(PORTS, st.just("INA"), st.just("BEN"))),
    event("cut", st.tuples(PORTS, st.just("BEN")), reason=WORDS),
    *(
        event(action, ONE | UNIT, bars=st.none() | BARRED, status=WORDS | CAUSES, values=VALUES)
        for action in ("defect", "rectify")
    ),
    event("defect", st.just(("PUMP-1:F1", "BAY-1:F1")), bars=st.just("mate"), status=WORDS | CAUSES),
    event("rectify", ONE | UNIT, bars=st.none() | BARRED),
    event("end", st.just(()), outing=st.just("o-1")),
    event("withdraw", st.just(()), withdraws=st.just("e-1"), reason=st.none() | WORDS),
    event("explain", st.just(()), explains=st.just("e-1"), reason=st.none() | WORDS),
    event("acknowledge", st.just(()), acknowledges=st.sampled_from((CODE, f"{CODE} {CODE}")), reason=WORDS),
)


@given(EVENTS)
def test_a_phrase_reads_back_as_the_event_that_it_says(plant, event):
    """What is shown of an event is a phrase that says it again."""
    assert parse_phrase(split_phrase(phrase(event)), plant, id="e") == event


@settings(max_examples=40)
@given(EVENTS.map(phrase).filter(lambda text: "\0" not in text))
def test_a_phrase_can_be_pasted_into_a_shell(text):
    """The system's own POSIX shell splits a phrase into the same words as here."""
    told = subprocess.run(["sh", "-c", f"printf '%s\\0' {text}"], capture_output=True, check=True).stdout
    assert told.decode().split("\0")[:-1] == split_phrase(text)


def test_what_follows_from_the_configuration_is_not_said(plant):
    """What moved along and what the record said before are no part of the phrase."""
    event = parse_phrase(split_phrase("place PUMP-1 at BAY-1"), plant)
    assert phrase(Event.of(event, moved=("PUMP-2",), expected="PUMP-1 at SITE")) == "place PUMP-1 at BAY-1"


ODD = [
    "mate",
    "place",
    "at",
    "to",
    "PUMP-1",
    "PUMP-1:F1",
    "facing",
    "by",
    "=",
    "x=",
    "=x",
    "torque=1",
    "remark",
]


@st.composite
def nearly(draw):
    """Words of a phrase that is understood, some of them taken out or with another word put in."""
    words = split_phrase(draw(EVENTS.map(phrase)))
    for _ in range(draw(st.integers(0, 2))):
        at = draw(st.integers(0, len(words)))
        words[at : at + draw(st.integers(0, 1))] = draw(st.lists(st.sampled_from(ODD) | WORDS, max_size=1))
    return words


@given(st.lists(st.sampled_from(ODD) | WORDS) | nearly())
@example(["mate", "PUMP-1:F1", "BAY-1:F1"])
@example(["mate", "PUMP-1:F1", "at"])
@example(["begin", "day 1"])
@example(["withdraw", "it's \\", "reason=typo"])
@example(["acknowledge", '"', "reason=seen"])
def test_any_words_are_understood_or_told(plant, words):
    """Whatever the words, the outcome is an event, whose own words are understood as well, or a list of problems."""
    try:
        event = parse_phrase(words, plant)
    except Trouble as bad:
        assert bad.problems  # noqa: PT017 - either outcome is good
        return
    assert event.action in (words[0], "-".join(words[:2]))  # "let go" is two words
    said = phrase(event)
    assert phrase(parse_phrase(split_phrase(said), plant)) == said


def test_a_remark_without_its_text_is_told_how_to_say_it(plant):
    """The sentence shows where the text goes, for the very thing that the remark is about."""
    with pytest.raises(BadInput, match='as in remark PUMP-1 "pin 3 is bent"'):
        parse_phrase(["remark", "PUMP-1"], plant)


@pytest.mark.parametrize("value", ["torque='-25 N*m'", "mass='-1 kg'"])
def test_no_negative_torque_or_mass(plant, value):
    """What is never below zero is refused as somebody says it; a pressure by the gauge may be."""
    with pytest.raises(BadInput, match=r"is never below zero, found -"):
        parse_phrase(split_phrase(f"measure PUMP-1:VOL {value}"), plant)
    parse_phrase(split_phrase("measure PUMP-1:VOL pressure='-0.2 bar'"), plant)
