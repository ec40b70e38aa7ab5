"""What may stand as a source: a small grammar, so that a source names something that can be looked up.

A source is one or more clauses with `;` between them. A clause is

- a document of `DOCUMENTS` with its edition and its place (for the CFR, whose edition is the day, its paragraph); words
  may follow, and `(from memory)` or `(as quoted in secondary sources)`;
- `common practice`, for all of it; or `the 30 min and the 50 kPa are common practice`, for the numbers that it names;
- the part's or the joint's data, or the maker's rating, and words about it: somebody else's, who must know.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

_PARAGRAPH = r"\([a-z]\)(\([0-9]+\)(\([ivx]+\))?(-\([0-9]+\))?)?"
_UNSEEN = r"edition not (seen|confirmed)"
_JOINT = r"(cross pattern|passes with a single tool)"
_WORDS = r"(,? \([a-z][^();]*\)|, [a-z][^();]*)*"


@dataclass(frozen=True)
class Document:
    """A document that is known here. `form` is its name with edition and place; `numbers` are those that it gives."""

    form: str
    numbers: frozenset[str] = frozenset()

    def fits(self, clause: str) -> bool:
        """Return whether a clause cites it."""
        return re.fullmatch(f"(?:{self.form}){_WORDS}", clause) is not None


LOCKOUT = "29 CFR 1910.147"
"""Leaves electrical work out: (a)(1)(ii)."""

DOCUMENTS = (
    Document(rf"29 CFR 1910\.147{_PARAGRAPH}"),
    Document(rf"29 CFR 1910\.179{_PARAGRAPH}"),
    Document(rf"29 CFR 1910\.333{_PARAGRAPH}"),
    Document(r"NFPA 70E-2018,? 120\.5"),
    Document(r"(API 521 / )?ISO 23251:2006,? 5\.14(\.\d)*"),
    Document(r"ISO 16028:1999,? clause \d"),
    Document(r"MIL-STD-882E, Table I{1,2}"),
    Document(
        rf"ASME PCC-1 \({_UNSEEN}\), {_JOINT}|ASME PCC-1, {_JOINT}, {_UNSEEN}",
        frozenset(("30 %", "70 %", "100 %", "4 h")),
    ),
    Document(r"ISO 261 \(edition not seen\), coarse pitches"),
    Document(r"ISO 262:1998, fine pitches"),
    Document(r"ASME B1\.1 \(edition not seen\), (UNC|UNF|tensile stress area)"),
    Document(r"ISO 898-1 \(edition not seen\), (nominal stress area|stress under proof load)"),
    Document(r"ISO 3506-1:2009, stress at 0\.2 % permanent strain"),
    Document(r"SAE J429 \(edition not seen\), proof loads"),
    Document(r"Shigley, Mechanical Engineering Design \(edition not seen\), torque factors K"),
    Document(r"NASA-STD-5020B, Table 3"),
    Document(r"RCSC Specification 2014, Table 8\.2"),
    Document(r"CoolProp 8\.0\.0, (\w+, saturated liquid|M[EP]G\[0\.\d\], incompressible)"),
)

_OTHERS = re.compile(r"(?:the (?:part|joint)'s (?:\w+ )?data|the maker's rating)(?:[:,] [^;]+)?")
_COMMON = re.compile(r"the ([^;]+?) (?:is|are) common practice")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?: ?[A-Za-z%][\w%*/^]*)?")


def clauses(source: str) -> list[str]:
    """Return the clauses of a source."""
    return [clause.strip() for clause in source.split(";")]


def _named(clause: str) -> list[str] | None:
    """Return what a clause calls common practice, None when it is no such clause."""
    found = _COMMON.fullmatch(clause)
    return None if found is None else re.split(r", the | and the ", found[1])


def _is_clause(clause: str) -> bool:
    named = _named(clause)
    if named is not None:
        return all(_NUMBER.fullmatch(one) for one in named)
    if clause == "common practice" or _OTHERS.fullmatch(clause):
        return True
    return any(document.fits(clause) for document in DOCUMENTS)


def faults_of_source(source: str) -> list[str]:
    """Return what is wrong with a source by itself."""
    return [f"'{clause}' is no source" for clause in clauses(source) if not _is_clause(clause)]


# --- rules ------------------------------------------------------------------------------------------------------------

_SELECTING = frozenset(
    ("id", "kind", "part", "place", "loop", "tag", "tags", "what", "medium", "of", "from", "to")
)
_WORDED = frozenset(
    ("title", "hazard", "severity", "source", "mode", "action", "since", "until", "by", "done")
)
_NAMES = _SELECTING | _WORDED | {"at", "is", "path", "no_path", "status", "custom", "quantity"}
"""Fields of a rule that name things: what stands in them is no number, whatever it begins with."""

_NONE_OR_SOME = frozenset(("0", "1"))
"""Counts that are logic, not limits: none, at least one."""


def numbers(rule: Mapping[str, Any]) -> Iterator[str]:
    """Yield every number of a rule as it is written: limits, tolerances, counts, in the condition and elsewhere."""
    for name, value in rule.items():
        yield from _numbers(value, is_name=name in _NAMES)


def _numbers(value: Any, *, is_name: bool) -> Iterator[str]:
    if isinstance(value, Mapping):
        yield from numbers(value)
    elif isinstance(value, list):
        for one in value:
            yield from _numbers(one, is_name=is_name)
    elif is_name or isinstance(value, bool):
        return
    elif isinstance(value, int | float):
        if str(value) not in _NONE_OR_SOME:
            yield str(value)
    elif _NUMBER.fullmatch(str(value)):
        yield str(value)


def is_electrical(rule: Mapping[str, Any], power_kinds: Collection[str]) -> bool:
    """Return whether a rule says that it is about electrical power: a path or medium of it, a voltage, a switch, a
    connector. `power_kinds` are the kinds of port whose medium is power.
    """
    return any(
        (name in ("path", "no_path", "medium") and value == "power")
        or (name == "quantity" and value in ("voltage", "current"))
        or (name == "action" and value in ("energise", "de-energise"))
        or (name == "kind" and value in power_kinds)
        for name, value in _fields(rule)
    )


def _fields(table: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield every field of a rule with its values, one by one, however deep."""
    for name, value in table.items():
        for one in value if isinstance(value, list) else [value]:
            if isinstance(one, Mapping):
                yield from _fields(one)
            else:
                yield name, one


def faults_of_rule(rule: Mapping[str, Any], *, electrical: bool) -> list[str]:
    """Return what is wrong with the source of a rule, as it stands in its file."""
    source = rule["source"]
    faults = faults_of_source(source)
    if electrical and any(one.startswith(LOCKOUT) for one in clauses(source)):
        faults.append(f"{LOCKOUT} leaves electrical work out")
    written = set(numbers(rule))
    named = {number for clause in clauses(source) for number in _named(clause) or ()}
    given = {n for d in DOCUMENTS for clause in clauses(source) if d.fits(clause) for n in d.numbers}
    faults += [f"{number} is called common practice and stands nowhere" for number in sorted(named - written)]
    if "common practice" not in clauses(source):
        faults += [f"{number} has no source" for number in sorted(written - named - given)]
    return [f"{rule['id']}: {fault}" for fault in faults]
