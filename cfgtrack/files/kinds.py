"""Media and kinds of port, read from a hardware definition."""

from __future__ import annotations

from collections.abc import Collection

from cfgtrack.files.fields import ID, ID_FORM, Fields, shown
from cfgtrack.files.table import Table
from cfgtrack.model.action import BOOK_ACTIONS, GENERAL_ACTIONS
from cfgtrack.model.kind import NOTHING, Kind, Medium, Move
from cfgtrack.model.naming import is_line
from cfgtrack.model.part import EXPANSION

MOST_WORDS = 24
"""How long the words for a status may be: they stand in a column of a table."""

_NEEDS = (EXPANSION, NOTHING)


def read_medium(fields: Fields) -> Medium:
    """Return the medium of a [[medium]] table."""
    medium = Medium(
        id=fields.ident("id"),
        title=fields.text("title"),
        upstream=fields.flag("upstream"),
        volumes_need=fields.reference("volumes_need", "role", _NEEDS) or EXPANSION,
    )
    fields.finish()
    return medium


def read_kind(table: Table, media: Collection[str], kinds: Collection[str]) -> Kind | None:
    """Return the kind of a [[kind]] table, None after noting what is wrong with its ladder or its moves."""
    name, title = table.ident("id"), table.text("title")
    statuses = _statuses(table)
    on_ladder = {key: _status(table, key, statuses) for key in ("initial", "joined", "carries")}
    moves = _moves(table, statuses)
    medium = table.reference("medium", "medium", media) or None
    flexible, fits = table.flag("flexible"), _fits(table, kinds)
    grip, tether = table.flag("grip"), table.flag("tether")
    words = _words(table, statuses)
    table.finish()
    for what, said in (("grip", grip), ("tether", tether)):
        if said and not table.values.get("joined"):
            table.note(what, "ladder", f"a kind that is never joined is no {what}")
    if on_ladder["carries"] and not table.values.get("medium"):
        table.note("carries", "ladder", "nothing can be carried without a medium")
    if not statuses or moves is None or not _is_consistent(table, statuses, on_ladder):
        return None
    return Kind(
        id=name,
        medium=medium,
        statuses=statuses,
        moves=moves,
        title=title,
        initial=on_ladder["initial"] or "",
        joined=on_ladder["joined"],
        carries=on_ladder["carries"],
        flexible=flexible,
        fits=fits,
        grip=grip,
        tether=tether,
        words=words,
    )


def _statuses(table: Table) -> tuple[str, ...]:
    """Return the ladder, () after noting what is wrong with it."""
    statuses = table.words("statuses", required=True)
    if not statuses:
        if table.values.get("statuses") == []:
            table.note("statuses", "ladder", "expected at least one status")
        return ()
    bad = [status for status in statuses if not ID.fullmatch(status)]
    for status in bad:
        table.note("statuses", "bad-id", f"expected a word of {ID_FORM}, found '{status}'")
    if len(set(statuses)) < len(statuses):
        table.note("statuses", "duplicate", "a status stands on the ladder twice")
        return ()
    return () if bad else statuses


def _status(table: Table, name: str, statuses: tuple[str, ...]) -> str | None:
    return (table.reference(name, "status", statuses) if statuses else table.text(name)) or None


def _words(table: Table, statuses: tuple[str, ...]) -> dict[str, str]:
    """Return what statuses are called in texts, without those that are noted as wrong."""
    said = table.get("words")
    if said is None:
        return {}
    if not isinstance(said, dict):
        table.wrong("words", 'a table such as { open = "mated, valve open" }', said)
        return {}
    words: dict[str, str] = {}
    for status, word in said.items():
        if statuses and not table.is_known("words", "status", status, statuses):
            continue
        if not isinstance(word, str) or not is_line(word) or len(word) > MOST_WORDS:
            table.note(
                "words",
                "bad-words",
                f"{status}: expected one line of at most {MOST_WORDS} characters, found {shown(word)}",
            )
        elif word in words.values() or word in set(statuses) - {status}:
            table.note(
                "words", "duplicate", f"{status}: '{word}' is another status already: it needs its own words"
            )
        else:
            words[status] = word
    return words


def _is_consistent(table: Table, statuses: tuple[str, ...], on_ladder: dict[str, str | None]) -> bool:
    named = [name for name in on_ladder if table.values.get(name)]
    if not all(on_ladder[name] in statuses for name in named):
        return False
    rank = {name: statuses.index(status) for name, status in on_ladder.items() if status}
    if "joined" not in rank:
        return True
    if rank["joined"] == 0:
        table.note(
            "joined", "ladder", f"{statuses[0]} is the lowest status: a port without a mate needs one too"
        )
        return False
    if rank.get("initial", 0) >= rank["joined"]:
        table.note("initial", "ladder", f"a port starts without a mate, so below {on_ladder['joined']}")
        return False
    if rank.get("carries", rank["joined"]) < rank["joined"]:
        table.note(
            "carries", "ladder", f"a port without a mate carries nothing: not below {on_ladder['joined']}"
        )
        return False
    return True


def _moves(table: Table, statuses: tuple[str, ...]) -> dict[str, Move] | None:
    """Return the moves by action, None after noting what is wrong with one of them."""
    moves: dict[str, Move] = {}
    good = True
    for one in table.tables("move"):
        move = _move(one, statuses)
        if move is None:
            good = False
        elif move.action in moves:
            one.note("action", "duplicate", f"the kind has the action {move.action} already")
        else:
            moves[move.action] = move
    return moves if good else None


def _move(table: Table, statuses: tuple[str, ...]) -> Move | None:
    action = table.ident("action")
    if action != action.lower():
        table.note("action", "bad-id", f"actions are said in small letters: write {action.lower()}")
    if action in GENERAL_ACTIONS or action in BOOK_ACTIONS:
        table.note("action", "reserved", f"{action} is an action of its own already")
    sources = table.words("from", required=True)
    target = table.text("to", required=True)
    good = bool(action and sources and target)
    for name, status in (*(("from", one) for one in sources), ("to", target)):
        if status and statuses and not table.is_known(name, "status", status, statuses):
            good = False
    each, cycle = table.flag("each"), table.flag("cycle")
    table.finish()
    return Move(action, sources, target, each=each, cycle=cycle) if good else None


def _fits(table: Table, kinds: Collection[str]) -> frozenset[str]:
    fits = table.words("fits")
    for one in fits:
        table.is_known("fits", "kind", one, kinds)
    if fits and not table.values.get("joined"):
        table.note("fits", "ladder", "a kind that is never joined fits nothing")
    return frozenset(fits)
