"""Signing what is said, and checking it at the door of the journal.

What is signed is the canonical JSON (RFC 8785) of the action as it was said, with the journal that it is for; by
Ed25519 (RFC 8032). A key counts from the next transaction on after the one that defines it, and until the one that
says otherwise: so nobody brings a key and what it signs at once, and a stolen one is of no use once that is known,
whatever time its events say.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from cfgtrack.model.action import DEFINITIONS, RECTIFY, Action
from cfgtrack.model.codec import FILLED_IN, SAID, said_from_json, said_to_json
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant
from cfgtrack.model.quantity import BadQuantity
from cfgtrack.model.setting import REFUSED, UNSIGNED
from cfgtrack.model.signature import Signed, Signer, fault_of_key, signed_from_json, signed_to_json
from cfgtrack.model.trouble import NoAnswer, Problem, Refused
from cfgtrack.store.canonical import NotCanonical, canonical_json
from cfgtrack.store.database import Database
from cfgtrack.store.form import unrecordable
from cfgtrack.store.security import expect_owner

KEYS_LOST = "keys_lost"
"""What the body of a load says, a reason, that brings keys and is signed by nobody since nobody can."""

_MAY_BE_LEFT_OUT = ("id", "recorder", "subjects", "place")
_AS_GIVEN = tuple(told.name for told in SAID if told.name not in _MAY_BE_LEFT_OUT)


def identity(database: Database) -> str | None:
    """Return what a journal is known by, its first leaf in hexadecimal; None while it is empty."""
    row = database.row("SELECT leaf FROM event WHERE number = 1")
    return None if row is None else bytes(row[0]).hex()


def signed_text(signed: Signed) -> str:
    """Return a signature as the journal keeps it: canonical JSON. NotCanonical where that can't be."""
    return canonical_json(signed_to_json(signed)).decode()


def read_signed(text: str) -> Signed:
    """Return the signature of a text that the journal keeps. ValueError when it is none."""
    return signed_from_json(json.loads(text))


def sign(action: Action, signer: Signer, journal: str) -> Action:
    """Return an action with somebody's signature under what it says. NotCanonical where that can't be."""
    bare = Signed(signer.person, signer.key, journal, said_to_json(action), "")
    signature = signer.sign(canonical_json(bare.signs)).hex()
    return replace(action, signed=replace(bare, signature=signature))


def is_good(signed: Signed) -> bool:
    """Return whether a signature is that of its key under what it says. NoAnswer without the library."""
    try:
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    except ImportError as err:
        sentence = "signatures are checked by the library cryptography: install cfgtrack[sign]"
        raise NoAnswer(Problem("signature", "no-library", sentence)) from err
    if fault_of_key(signed.key) is not None:  # the library takes a point of small order
        return False
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(signed.key.partition(":")[2]))
        key.verify(bytes.fromhex(signed.signature), canonical_json(signed.signs))
    except (InvalidSignature, ValueError, NotCanonical):
        return False
    return True


_OF_A_DEFECT = ("bars", "status")
"""What somebody who rectifies a defect may leave out, where only one stands."""


def differing(given: Action, recorded: Event | Action) -> Iterator[str]:
    """Yield the names of what differs between an action as it is given and the event that was recorded.

    What recording fills in (mate, what moved along, who lifts, which defect is rectified) may be left out. The initial
    state is the same whoever loads it.
    """
    left_out = _OF_A_DEFECT if given.action == RECTIFY else ()
    for name in _AS_GIVEN:
        said = getattr(given, name)
        if said != getattr(recorded, name) and not (said is None and name in left_out):
            yield name
    if given.recorder != recorded.recorder and not given.initial:
        yield "recorder"
    if given.subjects != recorded.subjects[: len(given.subjects)]:
        yield "subjects"
    if given.place not in (None, recorded.place):
        yield "place"
    if isinstance(given, Event) and isinstance(recorded, Event):
        for name, _, unsaid, _ in FILLED_IN:
            if getattr(given, name) not in (unsaid, getattr(recorded, name)):
                yield name


def faults(
    signed: Signed | None, event: Action, plant: Plant, journal: str | None
) -> Iterator[tuple[str, str]]:
    """Yield, by code, what is wrong with the signature under an event, or with there being none.

    `plant`: as it was told when the event was recorded, whose keys and setting count. NoAnswer without the library.
    """
    if signed is None:
        if plant.setting(UNSIGNED) == REFUSED and (reason := why_lost(event)):
            yield KEYS_LOST, f"it is signed by nobody, since keys were said to be lost: {reason}"
        elif plant.setting(UNSIGNED) == REFUSED:
            yield "unsigned", "this plant takes signed events alone, and nobody has signed it"
        return
    person = plant.people.get(signed.by)
    if person is None or not person.key:
        yield "no-key", f"it is signed by {signed.by}, who has no key in this plant"
    elif person.key != signed.key:
        yield (
            "other-key",
            f"it is signed with {signed.key}, which is not the key of {signed.by}: revoked, or forged",
        )
    if signed.journal != journal:
        yield "other-journal", "it is signed for another journal"
    if not is_good(signed):
        yield "forged", f"it is not what {signed.by} has signed"
    try:
        said = said_from_json(signed.said)
    except (TypeError, ValueError, AttributeError, BadQuantity):
        yield "forged", "what is signed is no action"
        return
    if said.id != event.id:
        yield "forged", f"signed is event {said.id}"
    names = list(differing(said, event))
    if names:
        yield "forged", f"what is signed has a different {', '.join(names)}"


def why_lost(event: Action) -> str | None:
    """Return why a load that brings keys is signed by nobody; None for any other event."""
    reason = (event.body or {}).get(KEYS_LOST) if event.action in DEFINITIONS else None
    return reason if isinstance(reason, str) and reason.strip() else None


def other_than_keys(database: Database, load: int) -> str | None:
    """Return what an event loads besides keys of people who were told before, the first of it; None for nothing."""
    sql = "SELECT sort, id, body FROM item WHERE load = :load ORDER BY sort, id"
    last = "SELECT body FROM item WHERE sort = :sort AND id = :id AND load < :load ORDER BY load DESC LIMIT 1"
    for sort, i, body in database.rows(sql, {"load": load}):
        before = database.row(last, {"sort": sort, "id": i, "load": load})
        is_same = before is not None and before[0] == body
        if not is_same and (before is None or sort != "person" or _keyless(before[0]) != _keyless(body)):
            return f"{sort} {i}"
    return None


def _keyless(text: str | None) -> dict[str, Any]:
    return {name: said for name, said in json.loads(text or "{}").items() if name != "key"}


class Door:
    """Who may bring what into the journal, in one transaction: signs for `signer`, and checks what is signed."""

    def __init__(self, database: Database, plant: Plant, signer: Signer | None) -> None:
        self._plant = plant
        self._signer = signer
        self._database = database
        self._journal: str | None = None
        self._asks = signer is not None or plant.setting(UNSIGNED) == REFUSED
        self.keys_lost: str | None = None

    def without_keys(self, reason: str) -> None:
        """Let the load that brings keys in, which nobody can sign. Refused where somebody could, or nobody has to.

        On a server only the owner of the tables may; in a file whoever may load people.
        """
        expect_owner(self._database)
        if self._plant.setting(UNSIGNED) != REFUSED:
            sentence = "this plant takes what nobody signed: load it without --keys-lost"
            raise Refused([Problem("--keys-lost", "needless", sentence)])
        if self._signer is not None:
            sentence = f"the key of {self._signer.person} is here, and the plant knows it: load it signed"
            raise Refused([Problem("--keys-lost", "needless", sentence)])
        self.keys_lost = reason

    def pass_in(self, where: str, action: Action) -> Action:
        """Return an action as it may be recorded: signed by whoever signs here. Unrecordable when it may not be."""
        if action.signed is None and not self._asks:
            return action
        if self._journal is None:
            self._journal = identity(self._database)
        if action.signed is None and self._signer is not None and self._journal is not None:
            try:
                action = sign(action, self._signer, self._journal)
            except NotCanonical as err:
                raise unrecordable(where, "not-json", f"event {action.id} can't be signed: {err}") from err
        wrong = next(faults(action.signed, action, self._plant, self._journal), None)
        if wrong is not None and (wrong[0] != KEYS_LOST or self.keys_lost is None):
            raise unrecordable(where, *_with_way_out(*wrong, action))
        return action


def _with_way_out(code: str, sentence: str, action: Action) -> tuple[str, str]:
    ways = {
        "unsigned": (
            "make a key (`cfgtrack key new`), have it defined by somebody who can sign, and sign; where nobody can any"
            " more: `cfgtrack load FILE --effective TIME --keys-lost REASON`"
        ),
        "no-key": "have the key defined (`key` of the person), or record it unsigned",
        "other-key": "have the new key defined, with `load --effective`",
        "other-journal": "record it here anew",
    }
    way = f"; {ways[code]}" if code in ways else ""
    return code, f"event {action.id}: {sentence}{way}"


def revoked(signed: Signed, plant: Plant) -> bool:
    """Return whether, as is told now, the key was that person's no longer. `plant`: that of when it was recorded."""
    person = plant.people.get(signed.by)
    return person is None or person.key != signed.key
