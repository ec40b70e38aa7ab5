"""`orders`: whether every order of a sequence that its waits and doers allow is possible and allowed."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.check import SITUATIONS, rules_option
from cfgtrack.cli.terminal import showing_text


@s.command("orders")
@click.argument("sequence", metavar="[SEQUENCE.toml]", required=False, type=click.Path(path_type=Path))
@rules_option
@s.asked_at
@click.option(
    "--waits", is_flag=True, help="Say of each wait of the plan what it is good for: it takes longer."
)
@click.option(
    "--most",
    metavar="N",
    type=click.IntRange(1),
    help="Look at so many situations in a search at most; else at 20000.",
)
@click.option("--all", "whole", is_flag=True, help="List all steps of a bad order.")
def orders_command(
    session: s.Session,
    sequence: Path | None,
    rules_files: tuple[Path, ...],
    waits: bool,
    most: int | None,
    whole: bool,
) -> None:
    """Check every order of a sequence that its waits and doers allow: tracks run side by side, and people dally.

    Without a file: of what is left of the plan in force. The verdict is the first line and the exit status: clear (0),
    not clear (3) with the shortest bad order and the fewest waits that cure it, undecided (4).
    """
    from cfgtrack.answers.orders import MOST_SITUATIONS, orders
    from cfgtrack.show.orders import orders_text

    found = orders(
        session.asking,
        sequence,
        rules=rules_files,
        waits=waits,
        most=most or MOST_SITUATIONS,
        tell=showing_text(SITUATIONS),
    )
    session.answer(found, lambda: orders_text(found, whole=whole, colour=session.colour))
    session.end(status=found.orders.verdict.status)
