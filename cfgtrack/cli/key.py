"""`key`: the keys that one signs with."""

from __future__ import annotations

import click

from cfgtrack.cli import session as s


@click.group("key")
def key_command() -> None:
    """Make and list the keys that you sign with. The private ones stay here; the public ones belong to the plant."""


@s.command("new", group=key_command)
@click.argument("person", metavar="PERSON")
def new_(session: s.Session, /, person: str) -> None:
    """Make a key for a person of the plant, in a file that nobody else may read. None is ever written over.

    The public half, which is printed, goes into the definition: `key = "ed25519:..."` of the person's [[person]]. Load
    it with --effective DATE to replace an older one from then on; take the line away, in the same way, to revoke a key.
    From then on what the person records here is signed.
    """
    from cfgtrack.answers.key import new
    from cfgtrack.show.trust import key_text

    found = new(session.asking, person)
    session.tell(lambda: key_text(found), found)


@s.command("list", group=key_command)
def list_(session: s.Session, /) -> None:
    """List the keys that are here."""
    from cfgtrack.answers.key import kept
    from cfgtrack.show.trust import keys_text

    found = kept(session.asking)
    session.tell(lambda: keys_text(found), found)
