"""Checks that are kept: what was checked, on what, and what came of it, in the event that keeps it.

The event holds the text of the sequence with its sha256, the head that the journal had, the sha256 of the rules, the
version of the program, and the verdict. So who relies on it later can be told whether any of that is another one now.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from cfgtrack.model.action import KEEP_CHECK
from cfgtrack.model.event import Entry
from cfgtrack.model.handover import short_head
from cfgtrack.model.plan import MOST_NAME, MOST_TEXT, digest_of
from cfgtrack.model.time import Instant, is_instant

VERDICTS = ("clear", "not clear", "undecided")

_TEXTS = ("name", "text", "sha256", "verdict", "said_for", "rules", "tool")
_LISTS = ("findings", "approvals")
_INSTANTS = ("at", "known", "until")
_MEMBERS = frozenset({*_TEXTS, *_LISTS, *_INSTANTS, "head"})
_MOST_LISTED = 10_000


@dataclass(frozen=True, slots=True)
class KeptCheck:
    """A check that `event` keeps: what it is called, of which text (`sha256`), and who kept it when.

    `verdict`, `said_for`: what came of it, asked for `at`, as `known`; `findings` counted, `approvals` excused others.
    `until`: when its first outing should begin, None where that isn't said. `rules` is the sha256 of the rules by
    which, `head` the journal's head and `tool` the program's version with which it was judged.
    """

    untold: ClassVar[tuple[str, ...]] = ("text",)

    name: str
    event: str
    by: str
    recorder: str
    kept: Instant
    verdict: str
    said_for: str
    at: Instant
    known: Instant
    until: Instant | None
    findings: tuple[str, ...]
    approvals: tuple[str, ...]
    sha256: str
    rules: str
    head: str
    tool: str
    text: str = field(repr=False, default="")

    def is_meant(self, said: str) -> bool:
        """Return whether somebody means this check: by its name, its event, or the beginning of its digest."""
        digest = said.lower().removeprefix("sha256:")
        return said in (self.name, self.event) or (len(digest) >= 6 and self.sha256.startswith(digest))


def rules_digest(texts: Mapping[str, str]) -> str:
    """Return one sha256 for the texts of rules files, whatever their order.

    >>> rules_digest({"a": "x", "b": "y"}) == rules_digest({"b": "y", "a": "x"})
    True
    """
    return digest_of("\n".join(f"{name} {digest_of(text)}" for name, text in sorted(texts.items())))


def fault_of_kept(body: Any) -> str:
    """Return what is wrong with what an event that keeps a check holds, "" for nothing."""
    if not isinstance(body, Mapping) or {*body} != _MEMBERS:
        return f"expected {', '.join(sorted(_MEMBERS))}"
    faults = (*(_fault_of_text(name, body[name]) for name in _TEXTS), *_faults_of_lists(body))
    if fault := next(filter(None, (*faults, _fault_of_head(body["head"]))), ""):
        return fault
    if body["verdict"] not in VERDICTS:
        return f"verdict: expected {', '.join(VERDICTS)}, found {body['verdict']}"
    if body["sha256"] != digest_of(body["text"]):
        return f"its text has the sha256 {digest_of(body['text'])}, and it tells {body['sha256']}"
    return ""


def _fault_of_text(name: str, said: Any) -> str:
    most = MOST_TEXT if name == "text" else MOST_NAME
    if not isinstance(said, str) or not said:
        return f"{name}: expected a text, found {said!r}"
    if len(said) > most:
        return f"{name}: expected at most {most:,} characters, found {len(said):,}"
    if "\0" in said or any("\ud800" <= sign <= "\udfff" for sign in said):
        return f"{name}: expected text, found what is none"
    return ""


def _faults_of_lists(body: Mapping[str, Any]) -> Iterator[str]:
    for name in _LISTS:
        said = body[name]
        is_list = isinstance(said, list) and len(said) <= _MOST_LISTED
        if not is_list or not all(
            isinstance(one, str) and one.isprintable() and len(one) <= MOST_NAME for one in said
        ):
            yield f"{name}: expected a list of names"
    for name in _INSTANTS:
        if not (is_instant(body[name]) or (name == "until" and body[name] is None)):
            yield f"{name}: expected a time in microseconds, found {body[name]!r}"


def _fault_of_head(head: Any) -> str:
    fits = isinstance(head, Mapping) and {*head} == {"root", "size"} and isinstance(head["root"], str)
    if not fits or not isinstance(head["size"], int) or isinstance(head["size"], bool):
        return "head: expected the size and the root of a tree head"
    if len(head["root"]) != 64 or head["root"].strip("0123456789abcdef") or not 0 < head["size"] < 1 << 53:
        return "head: expected the size and the root of a tree head"
    return ""


def kept_check_of(entry: Entry) -> KeptCheck | None:
    """Return the check that an event keeps, None where it holds none that can be read."""
    event, body = entry.event, entry.event.body
    if event.action != KEEP_CHECK or body is None or fault_of_kept(body):
        return None
    head = short_head(body["head"]["size"], bytes.fromhex(body["head"]["root"]))
    lists: dict[str, Any] = {name: tuple(body[name]) for name in _LISTS}
    same = {name: body[name] for name in (*_TEXTS, *_INSTANTS)}
    return KeptCheck(
        event=event.id,
        by=event.by or "",
        recorder=event.recorder or "",
        kept=event.happened,
        head=head,
        **lists,
        **same,
    )
