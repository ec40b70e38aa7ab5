"""What each action is, what it needs and how it is said: the help of all that is short for `record ACTION`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class ActionHelp(NamedTuple):
    """An action's `line`, what it `needs`, and an `example` that runs as it stands, given such a plant."""

    line: str
    needs: str
    example: str


_ONE, _TWO = "One port, as UNIT:PORT or PLACE:PORT", "Two ports, each as UNIT:PORT or PLACE:PORT"

ACTIONS: Mapping[str, ActionHelp] = {
    "mate": ActionHelp(
        "Mate two halves: connectors, couplings, a hose and what it goes to.",
        f"{_TWO}, that fit each other, are demated and uncapped. It takes a mate cycle of both.",
        "mate PUMP-1:F2 to PANEL-A:F2 --by ann",
    ),
    "demate": ActionHelp(
        "Demate a connector, coupling or hose from what it is mated to.",
        f"{_ONE}: either half; the other follows from the record.",
        "demate PUMP-1:F1 --by ann",
    ),
    "open": ActionHelp(
        "Open a valve, or the valve in a mated joint: the medium flows.",
        f"{_ONE}, that is shut. A switch is energised instead.",
        "open PANEL-A:V2 --by ann",
    ),
    "shut": ActionHelp(
        "Shut a valve, or the valve in a mated joint: nothing flows.",
        f"{_ONE}, that is open. A switch is de-energised instead.",
        "shut PANEL-A:V1 --by ann",
    ),
    "cap": ActionHelp(
        "Put the cap on a demated half.", f"{_ONE}, demated and without a cap.", "cap PUMP-1:F2 --by ann"
    ),
    "uncap": ActionHelp("Take the cap off a half.", f"{_ONE}, that is capped.", "uncap PUMP-2:F2 --by ann"),
    "engage": ActionHelp(
        "Engage a bolt in its hole by hand, a latch, a rail or a tether: it holds.",
        f"{_TWO}; the unit must be where the two meet. A bolt is torqued afterwards.",
        "engage PUMP-1:B2 to PANEL-A:B2 --by ann",
    ),
    "torque": ActionHelp(
        "Torque a bolt that is engaged; again, to check or to raise it.",
        f'{_ONE}, and the torque with its unit: N*m, "ft lbf", "in lbf"; it is told again as it was entered.',
        'torque PUMP-1:B1 torque="25 N*m" --by ann',
    ),
    "release": ActionHelp(
        "Release a bolt, latch, rail or tether: it holds nothing any more.",
        f"{_ONE}: either half.",
        "release PUMP-1:B1 --by ann",
    ),
    "grip": ActionHelp(
        "Grip something with a hand, an arm or a hook.",
        f"{_TWO}: what is gripped, and what grips.",
        "grip PUMP-2:H to ANN:HAND --by ann",
    ),
    "let-go": ActionHelp("Let go of what is gripped.", f"{_ONE}: either half.", "let-go PUMP-3:H --by ann"),
    "energise": ActionHelp(
        "Energise: close a switch or breaker, so that power is on.",
        f"{_ONE}, that is off.",
        "energise PANEL-A:K2 --by ann",
    ),
    "de-energise": ActionHelp(
        "De-energise: open a switch or breaker, so that power is off. That it is dead is measured.",
        f"{_ONE}, that is on.",
        "de-energise PANEL-A:K1 --by ann",
    ),
    "cover": ActionHelp("Put a cover on.", f"{_ONE}, that is uncovered.", "cover PUMP-2:C --by ann"),
    "uncover": ActionHelp("Take a cover off.", f"{_ONE}, that is covered.", "uncover PUMP-1:C --by ann"),
    "place": ActionHelp(
        "Place a unit: say where it is put, and which way round where that matters.",
        "One unit (no port of it), and a place. Its ports are mated and engaged afterwards, each by itself.",
        "place PUMP-2 at BAY-1 facing up",
    ),
    "lift": ActionHelp(
        "Lift a unit from where it is: it is suspended from whoever or whatever takes it.",
        "One unit that nothing holds any more; by whom or what, unless it is gripped already.",
        "lift PUMP-2 by ANN",
    ),
    "lock": ActionHelp(
        "Put a lock on: nobody opens, energises or mates it until it is off.",
        "One port, or a lock box, and whose lock: --by; or `with` the lock box that keeps the key.",
        "lock PANEL-A:V2 --by ann",
    ),
    "unlock": ActionHelp(
        "Take a lock off, by whoever put it on.",
        "One port or lock box, and whose lock it is: --by, or `from` NAME.",
        "unlock PANEL-A:V3 --by ann",
    ),
    "transfer": ActionHelp(
        "Transfer a lock from one person to the next, so that it is never off.",
        "One port or lock box, `from` whom and `to` whom.",
        "transfer PANEL-A:V3 from ann to ben",
    ),
    "cut": ActionHelp(
        "Cut a lock off, or take a tag away, of somebody who isn't there.",
        "One port or lock box, `from` whom, and --reason.",
        'cut PANEL-A:V3 from ann --by ben --reason "gone home, reached by phone"',
    ),
    "tag": ActionHelp(
        "Put a tag on: it forbids, and holds nothing back.",
        "One port, and whose tag: --by.",
        "tag PANEL-A:K2 --by ann",
    ),
    "untag": ActionHelp(
        "Take a tag off.", "One port, and whose tag it is: --by.", "untag PANEL-A:K3 --by ann"
    ),
    "defect": ActionHelp(
        "Say that something can't be done to a thing: it is seized, stuck, broken.",
        "The action that can't be done (else any), a port, unit or place, and what is wrong; values where measured.",
        'defect release PUMP-1:B1 seized torque="140 N*m" --by ann',
    ),
    "rectify": ActionHelp(
        "Say that what had a defect can be done again.",
        "What `defect` named: the action, if one, and the thing.",
        "rectify mate PUMP-2:F1 --by ann",
    ),
    "as-found": ActionHelp(
        "Say how a thing was found, whatever is recorded: what is so counts from then on.",
        "A port and its status (with `to PORT` where mated), or a unit and `at` its place.",
        "as-found PUMP-2:F1 capped --by ann",
    ),
    "measure": ActionHelp(
        "Record what was measured.",
        'A unit, port, place or volume, and values with their units: pressure="3 bar", gap="1/2 in", voltage="0 V".',
        'measure PANEL-A:K1 voltage="0 V" --by ann',
    ),
    "inspect": ActionHelp(
        "Record that a thing was inspected.",
        "A unit, port or place; what was seen with --remark.",
        'inspect PUMP-1:F2 --remark "seal is clean" --by ann',
    ),
    "remark": ActionHelp(
        "Stick a remark or lesson to a thing: it shows wherever that is about to be touched.",
        "A unit, port, part or place, and the text.",
        'remark PUMP-1:J1 "pin 3 is bent" --by ann',
    ),
    "begin": ActionHelp(
        "Begin an outing: HH:MM and +HH:MM are meant in it from then on.",
        "The outing's id; --head where the record was handed over.",
        "begin OUTING-2 --by ann",
    ),
    "end": ActionHelp("End an outing.", "The outing's id.", "end OUTING-1 --by ann"),
}
"""Every action that is a command of its own."""


def help_of(action: str) -> str:
    """Return what the help of an action says; of one that a plant's own kinds bring along, where to look."""
    found = ACTIONS.get(action)
    if found is None:
        return (
            f"Record the action {action}, one of the plant's own kinds.\n\nIt needs one port, or two.\n\n"
            f"`cfgtrack can THING` shows where it can be done; `cfgtrack record --help` says more."
        )
    return (
        f"{found.line}\n\nNeeds: {found.needs}\n\n\b\nExample:\n  cfgtrack {found.example}\n\n"
        f"Short for `record {action}`: what is impossible is refused (3), what breaks a rule is recorded (0) and told."
    )
