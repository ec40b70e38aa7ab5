"""The plan in force: revisions of a sequence, each kept in the journal by the event that adopted it.

A revision is the text of a sequence file, told by its sha256. Revisions are numbered through the journal in the order
in which they became known, and keep their numbers when one is withdrawn. One adopted while a plan is in force is the
next revision of that plan, whatever its file is called; after `abandon` the next is another plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from typing import Any, ClassVar

from cfgtrack.model.action import ADOPT
from cfgtrack.model.event import Entry
from cfgtrack.model.time import Instant

MOST_NAME = 200
MOST_TEXT = 2_000_000
"""So many characters the name and the text of a plan may have."""

_MEMBERS = frozenset({"name", "text", "sha256"})


@dataclass(frozen=True, slots=True)
class Revision:
    """One revision: its `number`, what its file was called, its text, since when it is kept, and who adopted it.

    `plan` is the event that adopted the first revision of the same plan. `event` is what adopted this one.
    """

    untold: ClassVar[tuple[str, ...]] = ("text",)

    number: int
    name: str
    sha256: str
    event: str
    plan: str
    by: str
    recorder: str
    adopted: Instant
    known: Instant
    in_force: bool
    text: str = field(repr=False)

    @property
    def called(self) -> str:
        """What it is called: by its file, its number and the beginning of its digest."""
        return f"{self.name}, revision {self.number} ({self.sha256[:12]})"

    def is_meant(self, said: str) -> bool:
        """Return whether somebody means this revision: by its number, its event, or the beginning of its digest."""
        digest = said.lower().removeprefix("sha256:")
        return said in (str(self.number), self.event) or (len(digest) >= 6 and self.sha256.startswith(digest))


def body_of(name: str, text: str) -> dict[str, str]:
    """Return what the event that adopts a text holds."""
    return {"name": name, "text": text, "sha256": digest_of(text)}


def digest_of(text: str) -> str:
    """Return the sha256 of a text in UTF-8, in hexadecimal digits.

    >>> digest_of("")[:12]
    'e3b0c44298fc'
    """
    return sha256(text.encode()).hexdigest()


def fault_of_plan(body: Any) -> str:
    """Return what is wrong with what an event that adopts a plan holds, "" for nothing."""
    if (
        not isinstance(body, Mapping)
        or {*body} != _MEMBERS
        or not all(isinstance(t, str) for t in body.values())
    ):
        return "expected the name of the plan's file, its text and the sha256 of that"
    name, text = body["name"], body["text"]
    for what, said, most in (("name", name, MOST_NAME), ("text", text, MOST_TEXT)):
        if not said:
            return f"{what}: expected a text, found an empty one"
        if len(said) > most:
            return f"{what}: expected at most {most:,} characters, found {len(said):,}"
        if "\0" in said:
            return f"{what}: expected text, found a NUL character"
        if any("\ud800" <= sign <= "\udfff" for sign in said):
            return f"{what}: expected text, found half a surrogate pair"
    if body["sha256"] != digest_of(text):
        return f"its text has the sha256 {digest_of(text)}, and it tells {body['sha256'][:MOST_NAME]}"
    return ""


def revisions(log: Iterable[tuple[Entry, bool]]) -> list[Revision]:
    """Return the revisions that were ever adopted, in order, from the events that adopt and abandon, in journal order.

    Each with whether it counts. In force is the last that counts and was not abandoned after.
    """
    found: list[Revision] = []
    current: int | None = None
    for entry, counts in log:
        event = entry.event
        if event.action != ADOPT:
            if counts:
                current = None
            continue
        body = event.body or {}
        before = None if current is None else found[current]
        found.append(
            Revision(
                len(found) + 1,
                str(body.get("name", "")),
                str(body.get("sha256", "")),
                event.id,
                event.id if before is None else before.plan,
                event.by or "",
                event.recorder or "",
                event.happened,
                entry.known,
                in_force=False,
                text=str(body.get("text", "")),
            )
        )
        if counts:
            current = len(found) - 1
    if current is not None:
        found[current] = replace(found[current], in_force=True)
    return found


def in_force(found: Sequence[Revision]) -> Revision | None:
    """Return the revision that is in force, None for none."""
    return next((one for one in found if one.in_force), None)
