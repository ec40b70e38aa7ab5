"""Sheets drawn at random: every form, symbol, look and mark, in awkward company, with names that are hard to set."""

from __future__ import annotations

from random import Random

from cfgtrack.show.drawing.sheet import (
    Alarm,
    Bar,
    Box,
    Form,
    Gate,
    Line,
    Look,
    Mark,
    Note,
    Row,
    Sheet,
    Symbol,
)

MEDIA = ("fluid", "power", "data")
STATUSES = ("capped", "demated", "mated, valve shut", "mated, valve open")
SIGNS = {
    "fluid": (Symbol.VALVE, Symbol.CHECK_VALVE, Symbol.PUMP),
    "power": (Symbol.SWITCH, Symbol.DIODE),
    "data": (Symbol.SWITCH,),
}
NAMES = ("", "P", "SUPPLY", "Kühlwasser-Rücklauf", "W" * 24, "<a & b>", "冷却", "i" * 30, "=A1+K1-X2:14")
WORDS = ("CUT OFF", "NOT HELD", "NO POWER", "OPEN END", "LOCKED by Ann, 2 tags", "spare")


def draw_sheet(seed: int, most: int = 9) -> Sheet:
    """Draw the sheet of a seed, of up to so many boxes and as many lines as they have free rows for."""
    r = Random(seed)
    boxes = [_box(r, f"B{i}") for i in range(r.randint(1, most))]
    free = [(box.id, row) for box in boxes for row in box.rows]
    r.shuffle(free)
    lines = []
    while len(free) > 1 and r.random() < 0.97:
        a, one = free.pop()
        mates = [i for i, (b, other) in enumerate(free) if b != a and other.medium == one.medium]
        if mates:
            b, other = free.pop(r.choice(mates))
            label = r.choice(("", "", "", "HOSE-12", "tie-wrapped"))
            ghost = r.random() < 0.15
            lines.append(
                Line(a, one.key, b, other.key, one.medium, r.choice([*Look][:4]), label, ghost=ghost)
            )
    bare = [box.id for box in boxes if box.form is not Form.INLINE]
    stands = {tuple(sorted(r.sample(bare, 2))) for _ in range(r.randint(0, 2) if len(bare) > 1 else 0)}
    for a, b in sorted(stands):
        lines.append(Line(a, "", b, "", "hold", Look.INSIDE))
    notes = tuple(
        Note(r.choice([*Alarm]), " ".join(r.choices(WORDS, k=r.randint(1, 20))), n) for n in (1, 2, 3)
    )
    return Sheet(
        tuple(boxes),
        tuple(lines),
        r.choice(("", "Loop EAST", "A title " * 20)),
        "2025-11-01 00:00 UTC",
        "clear" if r.random() < 0.5 else "2 findings need attention",
        notes[: r.randint(0, 3)],
        MEDIA,
        r.random() < 0.4,
    )


def _marks(r: Random) -> tuple[Mark, ...]:
    if r.random() < 0.75:
        return ()
    return tuple(Mark(r.choice([*Alarm]), r.choice(WORDS), r.randint(0, 12)) for _ in range(r.randint(1, 3)))


def _row(r: Random, key: str, medium: str, bar: str) -> Row:
    valve = r.choice((None, None, True, False)) if medium == "fluid" else None
    joined = r.random() < 0.3
    return Row(
        key,
        r.choice(NAMES) or key.rpartition(":")[2],
        r.choice(STATUSES),
        STATUSES,
        medium,
        bar,
        r.choice(("", "", "in", "out")),
        joined,
        not joined and r.random() < 0.5,
        r.choice(("", "X-1:P9")) if joined else "",
        valve,
        marks=_marks(r),
    )


def _box(r: Random, name: str) -> Box:
    if r.random() < 0.2:
        bar = Bar(f"{name}/bore", r.choice(MEDIA), look=r.choice([*Look][:4]))
        ends = tuple(_row(r, f"{name}:E{i}", bar.medium, bar.key) for i in (1, 2))
        return Box(name, f"HOSE-{name}", r.choice(((), ("3 m",))), Form.INLINE, ends, (bar,), marks=_marks(r))
    bars = tuple(
        Bar(
            f"{name}/{i}",
            r.choice(MEDIA),
            tuple(r.choices(NAMES[1:], k=r.randint(0, 2))),
            r.choice(((), (Symbol.EXPANSION,), (Symbol.LOAD,), (Symbol.SOURCE,))),
            r.choice([*Look][:4]),
            _marks(r),
        )
        for i in range(r.randint(0, 3))
    )
    rows: list[Row] = []
    gates: list[Gate] = []
    for i in range(r.randint(0, 7)):
        at = r.choice((*bars, None))
        medium = at.medium if at is not None else r.choice(MEDIA)
        is_gated = at is not None and r.random() < 0.4
        rows.append(_row(r, f"{name}:P{i}", medium, "" if at is None or is_gated else at.key))
        if at is not None and is_gated:
            gates.append(_gate(r, f"{name}:V{i}", rows[-1].key, at.key, medium))
    for one, other in [(a, b) for a in bars for b in bars if a.key < b.key and a.medium == b.medium]:
        if r.random() < 0.6:
            gates.append(_gate(r, f"{name}:{one.key[-1]}{other.key[-1]}", one.key, other.key, one.medium))
    count = r.choice((1, 1, 1, 1, 40))
    return Box(
        name,
        r.choice(("", f"{name}-PUMP", f"{name} " + "long name " * 6)),
        tuple(
            r.choices(
                ("Coolant pump", "in RACK A", "a line that is rather long, as titles sometimes are"),
                k=r.randint(0, 3),
            )
        ),
        r.choice([f for f in Form if f is not Form.INLINE]),
        tuple(rows),
        bars,
        tuple(gates),
        count,
        tuple(f"{name}.{i}" for i in range(count)) if count > 1 else (),
        symbol=r.choice((Symbol.NONE, Symbol.PUMP)),
        marks=_marks(r),
    )


def _gate(r: Random, key: str, one: str, other: str, medium: str) -> Gate:
    a, b = r.sample((one, other), 2)
    sign = r.choice(SIGNS[medium])
    one_way = sign in (Symbol.CHECK_VALVE, Symbol.DIODE, Symbol.PUMP)
    is_open = r.random() < 0.5
    return Gate(
        key,
        a,
        b,
        sign,
        is_open,
        one_way,
        key.rpartition(":")[2],
        "open" if is_open else "shut",
        ("open", "shut"),
        medium,
        marks=_marks(r),
    )
