"""Audits and proofs, as text."""

from __future__ import annotations

from cfgtrack.answers.console import Forgotten
from cfgtrack.answers.key import Keys
from cfgtrack.answers.trust import Audited, Verified
from cfgtrack.answers.upkeep import Granted
from cfgtrack.files.keys import KeyFile
from cfgtrack.files.phrase import phrase
from cfgtrack.model.handover import WHOLE_BITS, SaidHead
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import counted


def audit_text(audited: Audited) -> str:
    """Return whether the journal is sound, what is wrong with it and what to do then, or the head to keep."""
    if audited.sound:
        as_recorded = "is as it was recorded" if audited.events == 1 else "are as they were recorded"
        lines = [f"sound: {counted(audited.events, 'event')} {as_recorded}"]
    else:
        lines = [f"NOT SOUND: {counted(len(audited.faults), 'fault')}"]
    lines += _begins_with(audited)
    for fault in audited.faults:
        where = f"event {fault.event} (number {fault.number})" if fault.number is not None else "the journal"
        lines.append(f"  {where}: {fault.code}: {fault.sentence}")
    if audited.signed:
        lines.append(_signed(audited))
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


def forgotten_text(found: Forgotten) -> str:
    """Return what a console has forgotten, and what is left to do."""
    told = f"forgotten: {counted(found.size, 'event')} seen at {found.database} ({found.reason})"
    return f"{told}; every other console that saw them needs `head forget` too" if found.journals else told


def _signed(audited: Audited) -> str:
    """Return how many events are signed, and how many of them with a key that counts no more for then, a line."""
    are = "is" if audited.signed == 1 else "are"
    told = (
        f"  {audited.signed} of them {are} signed, with the keys that the plant knew when they were recorded"
    )
    revoked = sum(one.code == "revoked" for one in audited.doubts)
    if not revoked:
        return told
    was = "that key was" if revoked == 1 else "those keys were"
    return f"{told}; of {revoked} of these the plant says since that {was} revoked by then: see below"


def _begins_with(audited: Audited) -> list[str]:
    """Return how much the head that was kept proves, a line."""
    if audited.kept is None or not audited.sound:
        return []
    found = f"  it begins with the {counted(audited.kept.size, 'event')} of the head that was kept"
    return [found + _as_far_as(audited.kept)]


def _as_far_as(kept: SaidHead) -> str:
    return (
        "" if kept.bits == WHOLE_BITS else f" (kept in short: that proves {kept.bits} bits of {WHOLE_BITS})"
    )


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
    """Return what a proof proves, and under which head."""
    kept = verified.kept
    if kept is None:
        first = (
            "agrees with itself; hold it against a head that you kept (--kept): anybody can make such a proof"
        )
    elif not verified.verified:
        first = f"NOT of the head that was kept, {counted(kept.size, 'event')}: it proves nothing about that journal"
    else:
        first = f"verified against the head that was kept{_as_far_as(kept)}"
    lines = [first]
    if verified.entry is not None:
        event = verified.entry.event
        lines += [
            f"  event {event.id} (number {verified.entry.number}): {phrase(event)}",
            f"  happened {format_instant(event.happened)}, known {format_instant(verified.entry.known)}",
            *(
                []
                if verified.signed is None
                else [f"  signed by {verified.signed.by} with {verified.signed.key}"]
            ),
        ]
    if verified.first is not None:
        lines.append(f"  the journal only grew from the head {verified.first.text}")
        lines.append(f"  to the head {verified.head.text}")
    else:
        lines.append(f"  under the head {verified.head.text}")
    return "\n".join(lines)


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
