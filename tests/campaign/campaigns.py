"""Which campaigns there are, and how many cases of each are a small run and a full one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from cfgtrack.store.journal import create
from tests.campaign import hostile
from tests.campaign.broken_off import can_mount, chosen, full_disk, kills_of_commands, writing
from tests.campaign.flips import aimed_flips, flips
from tests.campaign.outcome import Outcome, chance_of
from tests.campaign.processes import creations, crowd, kills, restores, server_kills
from tests.campaign.skewed import clocks
from tests.campaign.tampering import POSTGRESQL, QUESTIONS, postgresql_campaign, sqlite_campaign

if TYPE_CHECKING:
    from tests.campaign.commands import Step
    from tests.store.conftest import Server

SMALL, FULL = "small", "full"


@dataclass
class Ground:
    """What campaigns run on: a seed, a size, folders, and servers where one needs them.

    `cases` instead of a campaign's own number, `kind` and `first` of hostile input.
    """

    seed: int
    size: str = SMALL
    cases: int | None = None
    kind: str = ""
    first: int = 0
    stack: ExitStack = field(default_factory=ExitStack)

    def number(self, small: int, full: int) -> int:
        """Return how many cases are wanted."""
        return self.cases if self.cases is not None else (full if self.size == FULL else small)

    @property
    def is_full(self) -> bool:
        """Whether all of it is wanted."""
        return self.size == FULL

    def folder(self) -> Path:
        """Return a new folder."""
        folder = Path(self.stack.enter_context(TemporaryDirectory(prefix="cfgtrack-campaign-"))) / "here"
        folder.mkdir()
        return folder

    def file(self) -> str:
        """Return a new, empty journal in a file."""
        url = str(self.folder() / "journal.db")
        create(url)
        return url

    @cached_property
    def server(self) -> Server:
        """A server that gives durability up for speed."""
        return self._server(durable=False)

    @cached_property
    def durable(self) -> Server:
        """A server as one is by itself: to be killed."""
        return self._server(durable=True)

    def _server(self, *, durable: bool) -> Server:
        from tests.store.conftest import Server

        server = Server(durable=durable)
        self.stack.callback(server.close)
        return server

    @cached_property
    def writing(self) -> list[Step]:
        """The steps of a session that write; of a small run a few of them."""
        return chosen(writing(self.folder()), 0 if self.is_full else 6, self.seed)


Campaign = Callable[[Ground], Iterator[Outcome]]


def _hostile(ground: Ground) -> Iterator[Outcome]:
    yield hostile.run(ground.seed, ground.number(220, 20_000), kind=ground.kind, first=ground.first)


def _flips(ground: Ground) -> Iterator[Outcome]:
    asked = QUESTIONS if ground.is_full else ()
    yield flips(ground.folder(), ground.number(30, 800), ground.seed, asked)


def _aimed_flips(ground: Ground) -> Iterator[Outcome]:
    asked = QUESTIONS if ground.is_full else ()
    yield aimed_flips(ground.folder(), ground.number(24, 200), ground.seed, asked)


def _tampering(ground: Ground) -> Iterator[Outcome]:
    yield sqlite_campaign(ground.folder(), QUESTIONS if ground.is_full else ()).outcome


def _tampering_postgresql(ground: Ground) -> Iterator[Outcome]:
    kinds = POSTGRESQL if ground.is_full else chance_of(ground.seed, "kinds").sample(POSTGRESQL, 14)
    asked = QUESTIONS if ground.is_full else ()
    yield postgresql_campaign(ground.server, ground.folder(), asked, kinds).outcome


def _kills_of_commands(ground: Ground) -> Iterator[Outcome]:
    yield kills_of_commands(ground.writing, ground.number(1, 10), ground.seed)


def _full_disk(ground: Ground) -> Iterator[Outcome]:
    yield full_disk(ground.writing, ground.number(1, 6), ground.seed)
    if ground.is_full and can_mount():
        yield full_disk(ground.writing, ground.number(1, 3), ground.seed, mounted=True)


def _kills_of_writers(ground: Ground) -> Iterator[Outcome]:
    for name, url in (("sqlite", ground.file()), ("postgresql", ground.durable.fresh())):
        yield kills(url, ground.number(12, 100), ground.seed).outcome(f"kills of writers, {name}")


def _kills_of_servers(ground: Ground) -> Iterator[Outcome]:
    yield server_kills(ground.durable, ground.number(4, 30), ground.seed).outcome("kills of servers")


def _kills_of_creations(ground: Ground) -> Iterator[Outcome]:
    yield creations(ground.number(16, 100), ground.seed).outcome("kills of creations")


def _kills_of_restores(ground: Ground) -> Iterator[Outcome]:
    for name in ("sqlite", "postgresql"):
        empty = ground.server.empty if name == "postgresql" else None
        yield restores(ground.number(14, 50), ground.seed, empty).outcome(f"kills of restores, {name}")


def _crowd(ground: Ground) -> Iterator[Outcome]:
    for name, url in (("sqlite", ground.file()), ("postgresql", ground.server.fresh())):
        found = crowd(url, writers=4, readers=4, seconds=ground.number(2, 30))
        yield found.outcome(f"conflicting writers, {name}")


def _clocks(ground: Ground) -> Iterator[Outcome]:
    rounds = ground.number(25, 600)
    yield clocks(ground.folder(), rounds, ground.seed)
    yield clocks(ground.folder(), rounds // 3, ground.seed, ground.server.fresh())


CAMPAIGNS: dict[str, Campaign] = {
    "hostile": _hostile,
    "flips": _flips,
    "aimed-flips": _aimed_flips,
    "tampering": _tampering,
    "tampering-postgresql": _tampering_postgresql,
    "kills-of-commands": _kills_of_commands,
    "kills-of-writers": _kills_of_writers,
    "kills-of-servers": _kills_of_servers,
    "kills-of-creations": _kills_of_creations,
    "kills-of-restores": _kills_of_restores,
    "crowd": _crowd,
    "full-disk": _full_disk,
    "clocks": _clocks,
}


def run(ground: Ground, names: list[str]) -> Iterator[Outcome]:
    """Run some campaigns; yield the row of each when it is done."""
    with ground.stack:
        for name in names:
            yield from CAMPAIGNS[name](ground)
