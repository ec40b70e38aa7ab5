"""`which`: which spare, which place, which port?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.check import rules_option


def _role(name: str, text: str) -> Callable[[Any], Any]:
    return click.option(f"--{name}", metavar="THING", help=text, shell_complete=s.complete_id)


@s.command("which")
@click.argument("sequence", metavar="[SEQUENCE.toml]", required=False, type=click.Path(path_type=Path))
@_role("for", "Which other unit could stand in for this one.")
@_role("place-for", "Which place could take this unit.")
@_role("port-for", "Which free port this one could be mated with.")
@click.option(
    "--among",
    metavar="THING",
    multiple=True,
    shell_complete=s.complete_id,
    help="Only this one, and others named so.",
)
@click.option("--do", "action", metavar="ACTION", help="Try each in this single action instead of a plan.")
@click.option(
    "--check-out",
    metavar="WHAT",
    help="What counts as one: an action, as 'measure voltage', or a rule's id; else any look or reading.",
)
@rules_option
@s.asked_at
def which_command(
    session: s.Session,
    sequence: Path | None,
    rules_files: tuple[Path, ...],
    among: tuple[str, ...],
    action: str | None,
    check_out: str | None,
    **roles: str | None,
) -> None:
    """Say which spare, stowage place or port would do best, and why: all that could do, side by side.

    Each is tried in the sequence, else in what is left of the plan in force: put where the plan has the one that it
    uses. Told too are defects, remarks, clocks, heat, the way, cycles left after the plan, and the last check-out.
    """
    from cfgtrack.answers.which import CONNECTION, STAND_IN, STOWAGE, which
    from cfgtrack.show.which import which_text

    meant = {"for": STAND_IN, "place_for": STOWAGE, "port_for": CONNECTION}
    asked = [(thing, meant[name]) for name, thing in roles.items() if thing is not None]
    if len(asked) != 1 or (sequence is not None and action is not None):
        raise click.UsageError("Say one of --for, --place-for and --port-for; and a sequence or --do.")
    thing, role = asked[0]
    found = which(
        session.asking, thing, role, sequence,
        among=among, action=action, check_out=check_out, rules=rules_files,
    )  # fmt: skip
    session.answer(found, lambda: which_text(found, colour=session.colour))
