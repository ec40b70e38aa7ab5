"""Tree heads to keep elsewhere, and proofs that are verified without the database.

A proof is a JSON object that can be sent to somebody who has only a tree head. Source: RFC 6962 section 2.1.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass
from typing import Any, ClassVar

from msgspec import MsgspecError

from cfgtrack.model.codec import event_from_json, said_from_json
from cfgtrack.model.event import Entry
from cfgtrack.model.handover import SaidHead, TreeHead, short_head
from cfgtrack.model.quantity import BadQuantity
from cfgtrack.model.signature import Signed, signed_from_json
from cfgtrack.model.time import Instant, is_instant
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, Refused, counted
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.store.canonical import NotCanonical, canonical_json
from cfgtrack.store.database import Database, Row
from cfgtrack.store.derive import READ_EVENT
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


def current_head(database: Database) -> Head:
    """Return the head over all events, as recorded with the last of them."""
    return _head_of(database.row("SELECT number, root, known FROM tree_head ORDER BY number DESC LIMIT 1"))


def head_as_known(database: Database, known: int) -> Head:
    """Return the head over all events that were known by an instant: the last write's by then."""
    sql = "SELECT number, root, known FROM tree_head WHERE known <= :known ORDER BY number DESC LIMIT 1"
    return _head_of(database.row(sql, {"known": known}))


def _head_of(row: Row | None) -> Head:
    """Return the head that a row holds, that over nothing where there is none."""
    return Head(0, Frontier().root(), 0) if row is None else Head(row[0], bytes(row[1]), row[2])


def head_called(database: Database, said: SaidHead) -> Head:
    """Return the head of this journal that somebody said. Refused when it isn't one of this journal."""
    row = database.row("SELECT number, root, known FROM tree_head WHERE number = :size", {"size": said.size})
    if row is None:
        sentence = (
            f"this journal never stood at {counted(said.size, 'event')}: is it the journal of the handover?"
        )
        raise Refused(Problem("--head", "handover", sentence))
    head = Head(row[0], bytes(row[1]), row[2])
    if not said.is_of(head.size, head.root):
        sentence = (
            f"at {counted(head.size, 'event')} this journal's head is {head.short}: it is another record"
        )
        raise Refused(Problem("--head", "handover", sentence))
    return head


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


def prove_consistency(database: Database, kept: SaidHead) -> dict[str, Any]:
    """Return the proof that the journal still begins with what a kept head stands for.

    NoAnswer when the journal has fewer events. The proof of a rewritten journal exists, and fails to verify; of a head
    that was kept in short there is none, as nobody knows the rest of its root: Refused.
    """
    head = current_head(database)
    if kept.size > head.size:
        sentence = f"the kept head stands for {counted(kept.size, 'event')}, the journal holds {head.size}"
        raise NoAnswer(Problem("tree head", "cut-off", sentence))
    leaves = _leaves(database, head.size)
    root = kept.root
    if root is None:
        root = Frontier(leaves[: kept.size]).root()
        if not kept.is_of(kept.size, root):
            sentence = f"the first {counted(kept.size, 'event')} are not those of the kept head"
            raise Refused(Problem("tree head", "rewritten", sentence))
    known = database.row("SELECT known FROM event WHERE number = :size", {"size": kept.size})
    return {
        "proof": "consistency",
        "first": head_to_json(Head(kept.size, root, known[0] if known else 0)),
        "head": head_to_json(head),
        "path": [one.hex() for one in consistency_proof(leaves, kept.size, head.size)],
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


@dataclass(frozen=True, slots=True)
class Proved:
    """What a proof proves by its hashes alone: the `head` that it leads to, and what is under that.

    Of one event, its `entry`; of growth, the head that was `first`.
    """

    head: TreeHead
    entry: Entry | None = None
    first: TreeHead | None = None


_FIELDS = {
    "inclusion": ({"proof", "event", "number", "known", "head", "path"}, {"signed", "login"}),
    "consistency": ({"proof", "first", "head", "path"}, frozenset[str]()),
}
"""What each sort of proof holds, and what it may hold: anything else no hash covers, and somebody would read it."""


def verify_proof(data: Any) -> Proved:
    """Return what a proof made by `prove` or `prove_consistency` proves.

    Its head must be compared with one from a source that is trusted. BadInput when the proof proves nothing.
    """
    readers: dict[str, Callable[[Mapping[str, Any]], Proved | None]] = {
        "inclusion": _inclusion,
        "consistency": _consistency,
    }
    try:
        reader = readers[data["proof"]]
        _expect_fields(data, *_FIELDS[data["proof"]])
        found = reader(data)
    except (
        KeyError, TypeError, ValueError, OverflowError, RecursionError, NotCanonical, AttributeError, BadQuantity,
        MsgspecError,
    ):  # fmt: skip
        raise BadInput(Problem("proof", "not-a-proof", "this is no proof that the journal gives")) from None
    if found is None:
        sentence = "the hashes don't lead to this root: the event or the proof was changed"
        raise BadInput(Problem("proof", "proves-nothing", sentence))
    return found


def _expect_fields(data: Mapping[str, Any], wanted: Set[str], allowed: Set[str]) -> None:
    if wanted - data.keys():
        raise ValueError("a field is missing")
    more = sorted(data.keys() - wanted - allowed)
    if more:
        sentence = f"{more[0][:200]!r} is no field of a proof, and nothing proves it"
        raise BadInput(Problem("proof", "unknown-field", sentence))


def _inclusion(data: Mapping[str, Any]) -> Proved | None:
    body = canonical_json(data["event"])
    READ_EVENT.decode(body)
    event = event_from_json(json.loads(body))
    number, known, login = _whole(data["number"]), _whole(data["known"]), data.get("login")
    if login is not None and not isinstance(login, str):
        raise TypeError("expected a text as the login")
    if not (is_instant(known) and is_instant(event.happened)):
        raise ValueError("expected times that a journal keeps")
    signed = data.get("signed")
    text = None if signed is None else canonical_json(signed)
    leaf = leaf_hash(leaf_record(body, number, known, text, login))
    head = _head(data["head"])
    if not verify_inclusion(leaf, number - 1, head.size, _path(data), head.root):
        return None
    return Proved(head, Entry(event, number, known, login))


def _consistency(data: Mapping[str, Any]) -> Proved | None:
    first, second = _head(data["first"]), _head(data["head"])
    sound = verify_consistency(first.size, second.size, first.root, second.root, _path(data))
    return Proved(second, first=first) if sound else None


def _head(data: Mapping[str, Any]) -> TreeHead:
    """Return the head in a proof. When its last event became known stands there too: nothing proves it."""
    _expect_fields(data, {"size", "root"}, {"known"})
    return TreeHead(_whole(data["size"]), _hash(data["root"]))


def _path(data: Mapping[str, Any]) -> list[bytes]:
    if not isinstance(data["path"], list):
        raise TypeError("expected a list of hashes")
    return [_hash(one) for one in data["path"]]


def _whole(value: object) -> int:
    if type(value) is not int:
        raise TypeError("expected a whole number")
    return value


def _hash(value: object) -> bytes:
    if not isinstance(value, str) or len(value) != 2 * HASH_SIZE:
        raise TypeError("expected a hash in hexadecimal")
    return bytes.fromhex(value)


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


def head_to_json(head: Head) -> dict[str, Any]:
    """Return a head as a JSON object."""
    return {"size": head.size, "root": head.root.hex(), "known": head.known}
