"""Audits and proofs, as text."""

from __future__ import annotations

from cfgtrack.answers.key import Keys
from cfgtrack.answers.trust import Audited, Verified
from cfgtrack.answers.upkeep import Granted
from cfgtrack.files.keys import KeyFile


def audit_text(audited: Audited) -> str:
    """Return whether the journal is sound, what is wrong with it and what to do then, or the head to keep."""
    if audited.sound:
        lines = [f"sound: {audited.events} events are as they were recorded"]
    else:
        lines = [f"NOT SOUND: {len(audited.faults)} faults"]
    for fault in audited.faults:
        where = f"event {fault.event} (number {fault.number})" if fault.number is not None else "the journal"
        lines.append(f"  {where}: {fault.code}: {fault.sentence}")
    if audited.signed:
        lines.append(f"  {audited.signed} of them are signed, as the keys of the plant say")
    lines += [
        f"  event {one.event} (number {one.number}): {one.code}: {one.sentence}" for one in audited.doubts
    ]
    lines += _rests_on(audited)
    codes: dict[str, list[str]] = {}
    for fault in audited.faults:
        of = codes.setdefault(fault.next, [])
        of.extend([fault.code] * (fault.code not in of))
    lines.extend(f"what to do next ({', '.join(of)}): {what}" for what, of in codes.items())
    if audited.head is not None:
        lines.append(f"head to keep elsewhere: {audited.head.text}")
    return "\n".join([*lines, f"  ({audited.moment})"])


def _rests_on(audited: Audited) -> list[str]:
    """Return what it rests on who recorded, a line."""
    if not audited.roles and not audited.logins:
        return ["  nobody has a role in this plant: everybody may do everything"]
    if not audited.logins:
        return ["  who recorded is what each said, or signed: of a file whoever may write it decides"]
    return [
        f"  the server knew who recorded {audited.logins} of them; of the rest it is what each said, or signed"
    ]


def verified_text(verified: Verified) -> str:
    """Return which head a proof is good under."""
    text = f"verified under the head {verified.head.text}"
    if verified.signed is not None:
        text += f"\nsigned by {verified.signed.by} with {verified.signed.key}"
    return text if verified.is_kept is not False else f"{text}\nthis is NOT the head that was kept"


def granted_text(found: Granted) -> str:
    """Return what a server was told, a statement each."""
    lines = [f"{statement};" for statement in found.statements]
    lines += [f"-- the server has no user {name}: CREATE ROLE makes one" for name in found.missing]
    return "\n".join(lines) or "nothing to grant: users may do what goes with their roles"


def key_text(made: KeyFile) -> str:
    """Return where a key was put, and what goes into the definition."""
    return (
        f"key of {made.person} made, kept in {made.file}: keep it to yourself\n"
        f'the plant knows it by this line of the person, once that is loaded:\nkey = "{made.key}"'
    )


def keys_text(kept: Keys) -> str:
    """Return the keys that are kept here, a line each."""
    lines = [f"{one.person} {one.key} {one.file}" for one in kept.keys]
    lines += [
        f"{file}: damaged: no key can be had from it; make a new one (`cfgtrack key new`)"
        for file in kept.damaged
    ]
    return "\n".join(lines) or "no keys"
