"""Signers for tests, made of fixed seeds, and a plant that knows their keys."""

from __future__ import annotations

from dataclasses import replace

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from cfgtrack.model.definition import Definition
from cfgtrack.model.people import Person
from cfgtrack.model.setting import REFUSED, UNSIGNED, Setting
from cfgtrack.model.signature import Signer
from tests.store.world import DEFINITION


def signer(person: str, seed: int = 1) -> Signer:
    """Return somebody who signs with a key of his own for each seed."""
    private = Ed25519PrivateKey.from_private_bytes(bytes([seed]) * 32)
    return Signer(person, f"ed25519:{private.public_key().public_bytes_raw().hex()}", private.sign)


INA = signer("INA")
INA_LATER = signer("INA", 2)
BAG = signer("BAG", 3)


def knowing(*signers: Signer, unsigned: str = "", of: Definition = DEFINITION) -> Definition:
    """Return a definition whose people have these keys, and no other."""
    keys = {one.person: one.key for one in signers}
    mobile = {name for name, place in of.places.items() if place.mobile}
    people = {
        name: Person(name, place=name if name in mobile else "", key=keys.get(name, ""))
        for name in sorted({*mobile, *keys})
    }
    settings = {UNSIGNED: Setting(UNSIGNED, unsigned)} if unsigned else {}
    return replace(of, people=people, settings=settings)


STRICT = knowing(INA, unsigned=REFUSED)
