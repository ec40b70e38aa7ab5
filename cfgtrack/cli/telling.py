"""How much is told of findings: the table alone, or why, since when, source and codes of all or some of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from cfgtrack.cli import session as s

if TYPE_CHECKING:
    from cfgtrack.show.findings import Wanted

told_in_full = s.options(
    click.option("--details", is_flag=True, help="Tell why, since when, source and codes of each finding."),
    click.option(
        "--finding",
        "numbers",
        metavar="NO",
        type=click.IntRange(1),
        multiple=True,
        help="Tell these of the finding with this number alone.",
    ),
)


def wanted_of(*, details: bool, numbers: tuple[int, ...], follows: bool = False) -> Wanted:
    """Return how much is told of findings."""
    from cfgtrack.show.findings import Wanted

    return Wanted(details, numbers, follows)
