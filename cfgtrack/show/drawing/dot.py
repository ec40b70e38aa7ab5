"""A sheet as DOT source, for whoever draws it with tools of his own: every box, row, gate and line, no positions.

Every id in the source is generated; names stand in escaped labels only, so no name can break the source.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from cfgtrack.show.drawing.palette import INK, colour_of
from cfgtrack.show.drawing.sheet import Bar, Box, Form, Gate, Line, Look, Mark, Row, Sheet
from cfgtrack.show.visible import visible

_STYLES = {
    Look.MADE: "solid",
    Look.NOT_CARRYING: "dashed",
    Look.CUT_OFF: "solid",
    Look.DEAD: "dotted",
    Look.GIVES: "dotted",
    Look.INSIDE: "solid",
}
_HEAD = "head"
_BREAK = '<BR ALIGN="LEFT"/>'


def dot(sheet: Sheet) -> str:
    """Return the DOT source of a sheet. The same sheet gives the same source, byte for byte."""
    import graphviz

    said = (sheet.title, sheet.moment, sheet.verdict, *(_note(n.number, n.text) for n in sheet.notes))
    graph = graphviz.Graph(
        "cfgtrack",
        graph_attr={
            "rankdir": "TB" if sheet.down else "LR",
            "label": f"<{_BREAK.join(_safe(text) for text in said if text)}>",
            "labelloc": "t",
            "labeljust": "l",
            "ranksep": "0.9",
        },
        node_attr={"shape": "plain", "fontname": "sans-serif", "fontsize": "10", "fontcolor": INK},
        edge_attr={"fontname": "sans-serif", "fontsize": "9", "fontcolor": INK},
    )
    ids = {box.id: f"b{i}" for i, box in enumerate(sheet.boxes)}
    ports = {row.key: f"r{i}" for i, row in enumerate(row for box in sheet.boxes for row in box.rows)}
    for box in sheet.boxes:
        graph.node(ids[box.id], label=f"<{_table(box, ports)}>", tooltip=_plain(box.name or box.id))
    for line in sheet.lines:
        if not line.ghost and line.a in ids and line.b in ids:
            graph.edge(
                f"{ids[line.a]}:{ports.get(line.a_row, _HEAD)}",
                f"{ids[line.b]}:{ports.get(line.b_row, _HEAD)}",
                **_attributes(line, sheet.media),
            )
    source: str = graph.source
    return source


def _attributes(line: Line, media: tuple[str, ...]) -> dict[str, str]:
    colour = colour_of(line.medium, media)
    said = "  ".join(part for part in (line.label, f"x {line.count}" if line.count > 1 else "") if part)
    attributes = {
        "color": f"{colour}:white:{colour}" if line.look is Look.CUT_OFF else colour,
        "style": _STYLES[line.look],
        "tooltip": _plain(line.label or line.look.value),
    }
    return {**attributes, "label": f"<{_safe(said)}>"} if said else attributes


def _table(box: Box, ports: dict[str, str]) -> str:
    names = {row.key: row.text for row in box.rows} | {bar.key: _bar_name(bar) for bar in box.bars}
    count = f" x {box.count}" if box.count > 1 else ""
    head = f"<B>{_safe((box.name or box.id) + count)}</B>{_marks(box.marks)}"
    lines = "".join(f"{_BREAK}{_safe(line)}" for line in box.lines)
    cells = [f'<TD ALIGN="LEFT" BALIGN="LEFT" PORT="{_HEAD}">{head}{lines}</TD>']
    cells += [_cell(_row(row), row.marks, ports[row.key]) for row in box.rows]
    cells += [_cell(text, bar.marks) for bar in box.bars for text in bar.texts if text]
    cells += [_cell(_gate(gate, names), gate.marks) for gate in box.gates]
    style = ' STYLE="ROUNDED"' if box.form in (Form.MOVES, Form.INLINE) else ""
    body = "".join(f"<TR>{cell}</TR>" for cell in cells)
    return f'<TABLE BORDER="1" CELLBORDER="0" CELLSPACING="0" CELLPADDING="2"{style}>{body}</TABLE>'


def _row(row: Row) -> str:
    valve = "" if row.valve is None else f"its valve {'open' if row.valve else 'shut'}"
    told = (row.text, row.status, valve, "capped" if row.capped and row.status != "capped" else "")
    return "  ".join(part for part in (*told, f"to {row.to}" if row.to else "") if part)


def _gate(gate: Gate, names: dict[str, str]) -> str:
    between = " -> " if gate.one_way else " | " if not gate.is_open else " - "
    state = gate.status or ("open" if gate.is_open else "shut")
    ends = between.join((names.get(gate.a, gate.a), names.get(gate.b, gate.b)))
    return f"{gate.text or gate.symbol.value}  {state}:  {ends}"


def _bar_name(bar: Bar) -> str:
    return next((text for text in bar.texts if text), bar.medium)


def _cell(text: str, marks: Iterable[Mark], port: str = "") -> str:
    anchor = f' PORT="{port}"' if port else ""
    return f'<TD ALIGN="LEFT"{anchor}>{_safe(text)}{_marks(marks)}</TD>'


def _marks(marks: Iterable[Mark]) -> str:
    return "".join(f"  <B>[{_safe(_note(mark.number, mark.word))}]</B>" for mark in marks)


def _note(number: int, text: str) -> str:
    return f"{number} {text}" if number else text


def _safe(text: str) -> str:
    """Return a text as it may stand in a label of this form."""
    return escape(visible(text, lines=False))


def _plain(text: str) -> str:
    """Return a text that stands in the source as it is: on one line, and with no escape of the form's own."""
    return " ".join(visible(text, lines=False).split()).replace("\\", "\\\\")
