"""The `cfgtrack` command group."""

import click

from cfgtrack import __version__


@click.group()
@click.version_option(__version__, prog_name="cfgtrack", message="%(prog)s %(version)s")
def main() -> None:
    """Track what is mated, held, powered and pressurised, and judge the next step."""
