"""What the words by which people call things let guess: the medium, and what a thing does in it.

>>> guess("Main isolation valve"), guess("K7 feeder breaker").medium
(Guess(medium='fluid', does='gate', word='valve'), 'power')
"""

from __future__ import annotations

from typing import NamedTuple

from cfgtrack.files.foreign.reader import words_of
from cfgtrack.model.part import EXPANSION, LOAD, SOURCE

GATE, ONE_WAY, LINE, STORE = "gate", "one way", "line", "source and expansion"


class Guess(NamedTuple):
    """What words let guess: a medium ("" when they don't say), what the thing does ("" for nothing), by which word."""

    medium: str = ""
    does: str = ""
    word: str = ""


_MEANINGS: dict[tuple[str, str], str] = {
    ("fluid", ONE_WAY): "check nonreturn nrv",
    ("power", ONE_WAY): "diode rectifier",
    ("fluid", GATE): "valve cock tap stopcock faucet damper",
    ("power", GATE): "breaker switch contactor relay disconnector isolator switchgear fuse recloser",
    ("fluid", STORE): "reservoir",
    ("fluid", EXPANSION): "tank accumulator expansion bladder surge",
    ("fluid", SOURCE): "well spring",
    ("power", SOURCE): "grid generator battery mains utility alternator photovoltaic solar inverter ups",
    ("power", LOAD): "load motor heater lamp light consumer",
    ("fluid", LINE): "pipe hose tube duct piping pipeline",
    ("power", LINE): "cable wire feeder lead cord",
    ("data", LINE): "fibre fiber ethernet canbus",
    ("bond", LINE): "strap",
    (
        "fluid",
        "",
    ): "pump vessel radiator exchanger filter strainer tee elbow nozzle manifold header cooler boiler "
    "compressor water coolant oil gas steam air fluid junction drain sprinkler",
    ("power", ""): "bus busbar transformer trafo panel board outlet socket power electrical voltage ac dc",
    ("data", ""): "data router controller computer sensor network server plc",
    ("bond", ""): "bond ground earth bonding",
    ("hold", ""): "bolt bracket mount frame latch clamp structure",
}
"""Medium and what the thing does, to the words that say so; what stands first counts first."""

_SUPPLIES = frozenset(("supply", "source", "inlet", "feed"))
_LOOKED_UP = [(word, medium, does) for (medium, does), words in _MEANINGS.items() for word in words.split()]


def guess(text: str) -> Guess:
    """Return what the words of a text let guess."""
    words = [word for one in words_of(text) for word in (one, one.removesuffix("s"))]
    known = set(words)
    if {"non", "return"} <= known:
        return Guess("fluid", ONE_WAY, "return")
    found = next((Guess(medium, does, word) for word, medium, does in _LOOKED_UP if word in known), Guess())
    supply = next((word for word in words if word in _SUPPLIES), "")
    if supply and found.does in ("", EXPANSION):
        return Guess(found.medium, STORE if found.does else SOURCE, found.word or supply)
    return found
