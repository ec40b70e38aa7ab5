"""Which role each command needs, where the plant has roles. A command without an entry fails a test.

Who writes an event is judged by what it does, wherever it is written (`store/permit.py`): this says what that comes to
for each command. A test enumerates roles and commands, and holds them to it.
"""

from __future__ import annotations

from collections.abc import Mapping

from cfgtrack.model.people import APPROVE, CORRECT, DEFINE, LOOK, RECORD

NOBODY = ""
"""What needs no role: no journal is asked."""

OWNER = "owner"
"""What on a server only the owner of the tables does, whatever his roles; of a file whoever may write it."""

NEEDS: Mapping[str, str] = {
    **dict.fromkeys(("new", "convert", "reference", "verify", "completion", "man"), NOBODY),
    **dict.fromkeys(("key new", "key list", "head forget", "rules starter"), NOBODY),
    **dict.fromkeys(("plant", "vet", "rules list", "rules show", "rules explain", "rules try"), LOOK),
    **dict.fromkeys(
        ("state", "history", "diff", "remarks", "draw", "check", "can", "findings", "review"), LOOK
    ),
    **dict.fromkeys(("audit", "head", "prove", "backup", "export"), LOOK),
    **dict.fromkeys(("orders",), LOOK),
    **dict.fromkeys(("record", "explain", "import"), RECORD),
    **dict.fromkeys(("correct", "withdraw"), CORRECT),
    **dict.fromkeys(("approve", "acknowledge"), APPROVE),
    **dict.fromkeys(("load", "rules load", "rules drop", "retire"), DEFINE),
    **dict.fromkeys(("plan show", "plan list", "progress", "left"), LOOK),
    **dict.fromkeys(("done", "skip"), RECORD),
    **dict.fromkeys(("plan adopt", "plan drop"), DEFINE),
    **dict.fromkeys(("without", "isolate", "segments", "checks", "compare", "mend"), LOOK),
    **dict.fromkeys(("restore", "rebuild", "migrate", "grant"), OWNER),
    **dict.fromkeys(("durations", "which"), LOOK),
    **dict.fromkeys(("stops", "leave", "failures"), LOOK),
    **dict.fromkeys(("way",), LOOK),
    "complete": LOOK,
}
"""Command to role; actions that are commands of their own are short for `record`. A `load` of people, permissions or
settings needs `administer`; what corrects or withdraws something needs the role that it needed, where that was more
than to record."""
