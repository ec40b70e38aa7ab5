"""Tree heads to keep elsewhere, and proofs that are verified without the database.

A proof is a JSON object that can be sent to somebody who has only a tree head. Source: RFC 6962 section 2.1.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from cfgtrack.model.codec import event_from_json, said_from_json
from cfgtrack.model.handover import short_head
from cfgtrack.model.quantity import BadQuantity
from cfgtrack.model.signature import Signed, signed_from_json
from cfgtrack.model.time import Instant
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, Refused
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.store.canonical import NotCanonical, canonical_json
from cfgtrack.store.database import Database
from cfgtrack.store.merkle import (
    HASH_SIZE,
    Frontier,
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    verify_consistency,
    verify_inclusion,
)
from cfgtrack.store.rows import leaf_record
from cfgtrack.store.signing import differing, is_good


@dataclass(frozen=True, slots=True)
class Head:
    """What the first `size` events of a journal are, in 32 bytes. `known`: when the last of them became known."""

    told: ClassVar[tuple[str, ...]] = ("text", "short")

    size: int
    root: bytes
    known: Instant

    @property
    def text(self) -> str:
        """Return the head as one line to be kept: size, root in hexadecimal, known in microseconds."""
        return f"{self.size} {self.root.hex()} {self.known}"

    @property
    def short(self) -> str:
        """Return the head in a few groups that can be read out over a radio."""
        return short_head(self.size, self.root)

    @classmethod
    def parse(cls, text: str) -> Head:
        """Return the head of a line made by `text`. BadInput when it is none."""
        try:
            size, root, known = text.split()
            head = cls(int(size), bytes.fromhex(root), int(known))
        except ValueError:
            head = None
        if head is None or head.size < 0 or len(head.root) != HASH_SIZE:
            wanted = f"expected a size, a root of {2 * HASH_SIZE} hexadecimal digits and a number"
            sentence = f"{wanted}; found {text.strip()!r}"
            raise BadInput(Problem("tree head", "not-a-head", sentence))
        return head


def current_head(database: Database) -> Head:
    """Return the head over all events, as recorded with the last of them."""
    row = database.row("SELECT number, root, known FROM tree_head ORDER BY number DESC LIMIT 1")
    return Head(0, Frontier().root(), 0) if row is None else Head(row[0], bytes(row[1]), row[2])


def head_called(database: Database, said: str) -> Head:
    """Return the head of this journal whose short form somebody said. BadInput when it is none, Refused when it isn't.

    Capitals, and what may stand between the groups, are as they come over a radio.
    """
    size, _, letters = said.strip().partition(" ")
    if not (size.isascii() and size.isdecimal() and len(size) < 19 and letters):
        sentence = f"expected a size and three groups, as `record` prints them; found {said.strip()!r}"
        raise BadInput(Problem("--head", "not-a-head", sentence))
    row = database.row("SELECT number, root, known FROM tree_head WHERE number = :size", {"size": int(size)})
    if row is None:
        sentence = f"this journal never stood at {size} events: is it the one that was handed over?"
        raise Refused(Problem("--head", "handover", sentence))
    head = Head(row[0], bytes(row[1]), row[2])
    if _letters(head.short) != _letters(f"{head.size} {letters}"):
        sentence = (
            f"at {size} events this journal's head is {head.short}, not {said.strip()}: it is another record"
        )
        raise Refused(Problem("--head", "handover", sentence))
    return head


def _letters(short: str) -> str:
    return "".join(letter for letter in short.lower() if letter.isalnum())


def prove(database: Database, event_id: str, size: int | None = None) -> dict[str, Any]:
    """Return the proof that an event is in the journal that a head stands for: the present one, or that of `size`.

    `verify_proof` checks it without the database. NoAnswer when there is no such event or head.
    """
    row = database.row(
        "SELECT number, known, body, signed, login FROM event WHERE id = :id", {"id": event_id}
    )
    if row is None:
        raise NoAnswer(Problem(event_id, UNKNOWN, no_such("event", event_id)))
    number, known, body, signed, login = row
    head = current_head(database) if size is None else _head_at(database, size)
    if number > head.size:
        sentence = f"it is number {number}, later than the {head.size} events of that head"
        raise NoAnswer(Problem(event_id, UNKNOWN, sentence))
    path = inclusion_proof(_leaves(database, head.size), number - 1, head.size)
    return {
        "proof": "inclusion",
        "event": json.loads(body),
        "number": number,
        "known": known,
        "head": head_to_json(head),
        "path": [one.hex() for one in path],
        **({} if signed is None else {"signed": json.loads(signed)}),
        **({} if login is None else {"login": login}),
    }


def prove_consistency(database: Database, kept: Head) -> dict[str, Any]:
    """Return the proof that the journal still begins with what a kept head stands for.

    NoAnswer when the journal has fewer events. The proof of a rewritten journal exists, and fails to verify.
    """
    head = current_head(database)
    if kept.size > head.size:
        sentence = f"the kept head stands for {kept.size} events, the journal holds {head.size}"
        raise NoAnswer(Problem("tree head", "cut-off", sentence))
    path = consistency_proof(_leaves(database, head.size), kept.size, head.size)
    return {
        "proof": "consistency",
        "first": head_to_json(kept),
        "head": head_to_json(head),
        "path": [one.hex() for one in path],
    }


def _head_at(database: Database, size: int) -> Head:
    leaves = _leaves(database, size)
    known = database.row("SELECT known FROM event WHERE number = :size", {"size": size})
    if known is None or len(leaves) != size:
        raise NoAnswer(Problem("tree head", "cut-off", f"the journal doesn't hold {size} events"))
    return Head(size, Frontier(leaves).root(), known[0])


def _leaves(database: Database, size: int) -> list[bytes]:
    sql = "SELECT leaf FROM event WHERE number <= :size ORDER BY number"
    return [bytes(leaf) for (leaf,) in database.rows(sql, {"size": size})]


def verify_proof(data: Mapping[str, Any]) -> Head:
    """Return the head that a proof made by `prove` or `prove_consistency` leads to.

    That head must be compared with one from a source that is trusted. BadInput when the proof proves nothing.
    """
    readers: dict[str, Callable[[Mapping[str, Any]], Head | None]] = {
        "inclusion": _inclusion,
        "consistency": _consistency,
    }
    try:
        reader = readers[data["proof"]]
        head = reader(data)
    except (KeyError, TypeError, ValueError, OverflowError, RecursionError, NotCanonical, AttributeError):
        raise BadInput(Problem("proof", "not-a-proof", "this is no proof that the journal gives")) from None
    if head is None:
        sentence = "the hashes don't lead to this root: the event or the proof was changed"
        raise BadInput(Problem("proof", "proves-nothing", sentence))
    return head


def _inclusion(data: Mapping[str, Any]) -> Head | None:
    body = canonical_json(data["event"])
    signed = data.get("signed")
    text = None if signed is None else canonical_json(signed)
    leaf = leaf_hash(leaf_record(body, int(data["number"]), int(data["known"]), text, _login(data)))
    head = _head(data["head"])
    path = [bytes.fromhex(one) for one in data["path"]]
    return head if verify_inclusion(leaf, int(data["number"]) - 1, head.size, path, head.root) else None


def _login(data: Mapping[str, Any]) -> str | None:
    found = data.get("login")
    if found is not None and not isinstance(found, str):
        raise TypeError("expected a text as the login")
    return found


def signed_in(data: Mapping[str, Any]) -> Signed | None:
    """Return who signed the event of a proof that was verified, None where nobody did.

    Whose key it is, only the plant's definition says. BadInput when what is signed is another event, or nobody signed
    it so; NoAnswer without the library.
    """
    if data.get("signed") is None:
        return None
    try:
        signed = signed_from_json(data["signed"])
        said, event = said_from_json(signed.said), event_from_json(data["event"])
    except (TypeError, ValueError, AttributeError, BadQuantity):
        raise BadInput(Problem("proof", "not-a-proof", "what is signed in it is no action")) from None
    if not is_good(signed) or said.id != event.id or list(differing(said, event)):
        raise BadInput(Problem("proof", "forged", f"event {event.id} is not what {signed.by} has signed"))
    return signed


def _consistency(data: Mapping[str, Any]) -> Head | None:
    first, second = _head(data["first"]), _head(data["head"])
    path = [bytes.fromhex(one) for one in data["path"]]
    sound = verify_consistency(first.size, second.size, first.root, second.root, path)
    return second if sound else None


def _head(data: Mapping[str, Any]) -> Head:
    return Head(int(data["size"]), bytes.fromhex(data["root"]), int(data["known"]))


def head_to_json(head: Head) -> dict[str, Any]:
    """Return a head as a JSON object."""
    return {"size": head.size, "root": head.root.hex(), "known": head.known}
