"""`reference`: look up what ships with the tool - threads, tightening, fluids - and what follows from it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any

import click

from cfgtrack.cli import session as s

if TYPE_CHECKING:
    from cfgtrack.analysis.tightening import Tightening
    from cfgtrack.analysis.warming import Warming
    from cfgtrack.model.quantity import Quantity
    from cfgtrack.model.reference import Entry


def _complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Return the tables, or the entries of the one that is named, that begin so."""
    from cfgtrack.files.reference import TABLES, shipped_table

    known: Iterable[str] = TABLES
    if param.name == "name":
        name = str(ctx.params.get("table"))
        known = shipped_table(name) if name in TABLES else ()
    return [one for one in known if one.startswith(incomplete)]


@s.command("reference")
@click.argument("table", required=False, shell_complete=_complete)
@click.argument("name", required=False, shell_complete=_complete)
@click.option("--torque", metavar="TORQUE", help="Of a thread: the preload that this torque gives.")
@click.option("--preload", metavar="FORCE", help="Of a thread: the torque for this preload.")
@click.option(
    "--surface", metavar="SURFACE", help="With these two: the bolt's surface, from the table surface."
)
@click.option(
    "--warmed", metavar="DIFFERENCE", help="Of a fluid shut in: the rise of pressure when warmed so."
)
@click.option("--rise", metavar="PRESSURE", help="Of a fluid shut in: how far it may warm for this rise.")
def reference_command(
    session: s.Session,
    /,
    *,
    table: str | None,
    name: str | None,
    torque: str | None,
    preload: str | None,
    surface: str | None,
    warmed: str | None,
    rise: str | None,
) -> None:
    """List the reference tables, one TABLE, or everything that is known of one NAME in it, with its source.

    `reference thread M16 --torque "200 N*m" --surface lubricated` tells the preload, low, likely and high, and the part
    of the proof load; `reference fluid water --warmed "5 K"` tells how the pressure of a full, rigid volume rises.
    No database is needed. The tool advises: the approved procedure decides.
    """
    from cfgtrack.show import reference as show

    _check_options(
        table, name, {"--torque": torque, "--preload": preload}, {"--warmed": warmed, "--rise": rise}
    )
    if (surface is None) != (torque is None and preload is None):
        surfaces = ", ".join(_table("surface"))
        raise click.UsageError(f"--torque or --preload goes with --surface, one of {surfaces}.")
    if table is None:
        _tell(session, *_overview())
        return
    entries = _table(table)
    if name is None:
        _tell(
            session,
            lambda: show.table_text(table, entries.values()),
            {"table": table, "entries": show.to_plain(tuple(entries.values()))},
        )
        return
    entry = _find(name, entries, table)
    data = {"table": table, "entry": show.to_plain(entry)}
    if surface is not None:
        tightened = _tightening(entry, surface, torque=torque, preload=preload)
        _tell(
            session,
            lambda: show.tightening_text(tightened),
            {**data, "tightening": show.tightening_json(tightened)},
        )
    elif warmed is not None or rise is not None:
        warming = _warming(entry, warmed=warmed, rise=rise)
        _tell(session, lambda: show.warming_text(warming), {**data, "warming": show.warming_json(warming)})
    else:
        _tell(session, lambda: show.entry_text(table, entry), data)


def _check_options(
    table: str | None, name: str | None, of_thread: dict[str, str | None], of_fluid: dict[str, str | None]
) -> None:
    """Refuse options that don't go with what is named, or with each other."""
    for wanted, options in (("thread", of_thread), ("fluid", of_fluid)):
        given = [option for option, value in options.items() if value is not None]
        if len(given) > 1:
            raise click.UsageError(f"Give {' or '.join(given)}, not both.")
        if given and (table != wanted or name is None):
            raise click.UsageError(f"{given[0]} asks about one {wanted}: `reference {wanted} NAME`.")


def _tell(session: s.Session, text: Callable[[], str], data: dict[str, Any]) -> None:
    """Print an answer: it is of no moment, but of this version of the tool."""
    from cfgtrack import __version__

    session.tell(text, lambda: {"version": __version__, **data})


def _overview() -> tuple[Callable[[], str], dict[str, Any]]:
    from cfgtrack.files.reference import TABLES, shipped_table
    from cfgtrack.show.reference import overview_text

    tables = {name: (what, len(shipped_table(name))) for name, (_, what) in TABLES.items()}
    data = [{"table": name, "what": what, "entries": number} for name, (what, number) in tables.items()]
    return lambda: overview_text(tables), {"tables": data}


def _table(name: str) -> Mapping[str, Entry]:
    from cfgtrack.files.reference import TABLES, shipped_table
    from cfgtrack.model.trouble import NoAnswer, Problem, near_hint

    if name not in TABLES:
        hint = near_hint(name, TABLES) or f"; there are {', '.join(TABLES)}"
        raise NoAnswer(Problem(name, "no-such-table", f"there is no reference table {name}{hint}"))
    return shipped_table(name)


def _find(name: str, entries: Mapping[str, Entry], table: str) -> Entry:
    from cfgtrack.model.trouble import NoAnswer, Problem, near_hint

    if name not in entries:
        hint = near_hint(name, entries) or f"; `cfgtrack reference {table}` lists them"
        raise NoAnswer(Problem(name, f"no-such-{table}", f"the table {table} has no {name}{hint}"))
    return entries[name]


def _quantity(option: str, text: str, dimension: str) -> Quantity:
    """Read what was given with an option: nothing below zero makes sense with any of them."""
    from cfgtrack.model.quantity import BadQuantity, parse_quantity
    from cfgtrack.model.trouble import BadInput, Problem

    try:
        found = parse_quantity(text, dimension=dimension)
    except BadQuantity as err:
        raise BadInput([Problem(option, "bad-quantity", str(err))]) from None
    if found.value < 0:
        why = "cooling is not covered: a full volume that cools draws bubbles" if option == "--warmed" else ""
        sentence = why or f"expected nothing below zero, found {text}"
        raise BadInput([Problem(option, "out-of-range", sentence)])
    return found


def _tightening(entry: Entry, surface: str, *, torque: str | None, preload: str | None) -> Tightening:
    """Work out what a torque, or the torque for a preload, does to a thread."""
    from cfgtrack.analysis.tightening import tighten
    from cfgtrack.model.reference import PropertyClass, Scatter, Surface, Thread

    found = _find(surface, _table("surface"), "surface")
    assert isinstance(entry, Thread)
    assert isinstance(found, Surface)
    scatter = _table("scatter")[found.scatter]
    assert isinstance(scatter, Scatter)
    classes = [one for one in _table("class").values() if isinstance(one, PropertyClass)]
    given = {
        "torque": None if torque is None else _quantity("--torque", torque, "torque"),
        "preload": None if preload is None else _quantity("--preload", preload, "force"),
    }
    return tighten(entry, found, scatter, classes, **given)


def _warming(entry: Entry, *, warmed: str | None, rise: str | None) -> Warming:
    """Work out the rise of pressure in a full rigid volume, or how far it may warm, from each state of a fluid."""
    from cfgtrack.analysis.warming import warm
    from cfgtrack.model.reference import Fluid
    from cfgtrack.model.trouble import NoAnswer, Problem

    assert isinstance(entry, Fluid)
    answer = warm(
        entry,
        warmed=None if warmed is None else _quantity("--warmed", warmed, "temperature difference"),
        rise=None if rise is None else _quantity("--rise", rise, "pressure"),
    )
    if not answer.found:
        sentence = f"nobody here knows how {entry.id} gives under pressure: ask its maker"
        raise NoAnswer(Problem(entry.id, "no-data", sentence))
    if not answer.is_rise and all(rises is None for _, rises in answer.found):
        end = max((state.rises[-1].warmed for state, _ in answer.found), key=lambda q: q.value)
        raise NoAnswer(Problem("--warmed", "beyond-table", f"the rises of {entry.id} are known up to {end}"))
    return answer
