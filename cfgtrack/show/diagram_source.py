"""A picture as DOT source: our own shapes, a palette that the colour-blind can tell apart, and text for every meaning.

Every id in the source is generated; names stand in escaped labels only, so no name can break the source.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from html import escape as escaped_for_html
from typing import TYPE_CHECKING

from cfgtrack.show.defects import DEFECT
from cfgtrack.show.picture import Box, BoxRow, Cluster, Line, Look, Picture, Sort
from cfgtrack.show.render import FONT
from cfgtrack.show.visible import visible

if TYPE_CHECKING:
    import graphviz

_INK, _FAINT, _PALE, _SHADE, _ALARM = "#222222", "#595959", "#f6f6f4", "#e4e4e0", "#ffe9a8"
_PALETTE = ("#0072B2", "#D55E00", "#009E73", "#444444", "#AA4499", "#8B7500")
"""After Okabe and Ito's colours for every kind of eye, darkened where a thin line needs it; a medium each."""

_ORDER = ("fluid", "power", "data", "hold", "bond")
_LOOKS: dict[Look, dict[str, str]] = {
    Look.MADE: {"style": "solid", "penwidth": "1.6"},
    Look.APART: {"style": "dashed", "penwidth": "1.6"},
    Look.CUT_OFF: {"style": "solid", "penwidth": "1.4"},
    Look.DEAD: {"style": "dotted", "penwidth": "1.4"},
    Look.GIVES: {"style": "dotted", "penwidth": "1.2"},
    Look.INSIDE: {"style": "solid", "penwidth": "0.8"},
}
_SAMPLES = {
    Look.MADE: ("solid", 1),
    Look.APART: ("dashed", 1),
    Look.CUT_OFF: ("solid", 2),
    Look.DEAD: ("dotted", 2),
    Look.GIVES: ("dotted", 1),
}
"""How the caption draws a sample of a line: the style of a cell's border, and how many lie above each other."""

_WRAP = 34
_SPARE = 60
_HEAD = "head"
"""The port of a box itself, where a line ends at no row of it."""


def source(picture: Picture) -> str:
    """Return the DOT source of a picture. The same picture gives the same source, byte for byte."""
    import graphviz

    fonts = f"{FONT},Arial,sans-serif"
    graph = graphviz.Graph(
        "cfgtrack",
        graph_attr={
            "rankdir": "LR",
            "fontname": fonts,
            "fontsize": "11",
            "fontcolor": _INK,
            "label": _caption(picture),
            "labelloc": "t",
            "labeljust": "l",
            "nodesep": "0.18",
            "ranksep": "0.9",
            "pad": "0.3",
            "bgcolor": "white",
            "outputorder": "edgesfirst",
        },
        node_attr={"shape": "plain", "fontname": fonts, "fontsize": "10", "fontcolor": _INK},
        edge_attr={"fontname": fonts, "fontsize": "9", "fontcolor": _INK},
    )
    _Names(picture).write(graph)
    text: str = graph.source
    return text


class _Names:
    """The generated ids of a picture's boxes and rows, and what is written with them."""

    def __init__(self, picture: Picture) -> None:
        self.picture = picture
        self.ids = {box.id: f"b{i}" for i, box in enumerate(picture.boxes)}
        self.rows = {
            (box.id, row.key): f"r{i}"
            for box in picture.boxes
            for i, row in enumerate(row for group in box.groups for row in group)
            if row.key
        }

    def write(self, graph: graphviz.Graph) -> None:
        """Write boxes, clusters and lines.

        The engine puts what is connected in the order of the source, and of what is not the first at the bottom:
        so each connected piece is written in order, and the pieces last to first.
        """
        picture = self.picture
        piece = _pieces(picture)
        boxes = {box.id: box for box in picture.boxes}
        clustered = {name for cluster in picture.clusters for name in cluster.boxes}
        for box in sorted(picture.boxes, key=lambda b: -piece[b.id]):
            if box.id not in clustered:
                self._box(graph, box)
        clusters = sorted(enumerate(picture.clusters), key=lambda c: -piece[c[1].boxes[0]])
        for i, cluster in clusters:
            with graph.subgraph(name=f"cluster_{i}", graph_attr=_cluster(cluster)) as inner:
                for name in sorted(cluster.boxes, key=lambda b: -piece[b]):
                    self._box(inner, boxes[name])
        for line in picture.lines:
            self._line(graph, line)

    def _box(self, graph: graphviz.Graph, box: Box) -> None:
        graph.node(self.ids[box.id], label=f"<{_table(box, self.rows)}>", tooltip=_plain(box.name or box.id))

    def _line(self, graph: graphviz.Graph, line: Line) -> None:
        tail = f"{self.ids[line.a]}:{self.rows.get((line.a, line.a_row), _HEAD)}:e"
        head = f"{self.ids[line.b]}:{self.rows.get((line.b, line.b_row), _HEAD)}:w"
        colour = _colour(line.medium, self.picture.media)
        attributes = dict(_LOOKS[line.look])
        double = line.look in (Look.CUT_OFF, Look.DEAD)
        attributes["color"] = f"{colour}:white:{colour}" if double else colour
        if line.label:
            attributes["label"] = (
                f"<{'<BR/>'.join(escape(part) for part in visible(line.label).splitlines())}>"
            )
        graph.edge(tail, head, tooltip=_plain(line.label or line.look.value), **attributes)


def escape(text: str) -> str:
    """Return a text as it may stand in a label: the engine drops a whole label, or cuts it, for what XML can't hold."""
    return escaped_for_html(visible(text))


def _plain(text: str) -> str:
    """Return a text that stands in the source as it is: with no line breaks, and no escape of the engine's own."""
    return " ".join(visible(text).split()).replace("\\", "\\\\")


def _pieces(picture: Picture) -> dict[str, int]:
    """Number the connected pieces of a picture, in the order of their first boxes."""
    near: dict[str, list[str]] = {box.id: [] for box in picture.boxes}
    for line in picture.lines:
        near[line.a].append(line.b)
        near[line.b].append(line.a)
    piece: dict[str, int] = {}
    for number, start in enumerate(near):
        queue = [start]
        while queue:
            box = queue.pop()
            if box not in piece:
                piece[box] = number
                queue.extend(near[box])
    return piece


def _cluster(cluster: Cluster) -> dict[str, str]:
    return {
        "label": f"<<B>{escape(cluster.id)}</B>{_small(cluster.title, '  ')}>",
        "labeljust": "l",
        "labelloc": "t",
        "style": "filled,rounded",
        "color": "#bbbbb4",
        "fillcolor": _PALE,
        "margin": "10",
    }


# --- boxes --------------------------------------------------------------------------------------------------------


def _table(box: Box, rows: dict[tuple[str, str], str]) -> str:
    border = "0" if box.is_list else "1"
    style = ' STYLE="ROUNDED"' if box.moves else ""
    body = "<HR/>".join(
        "".join(_row(row, _port(box, row, rows)) for row in group) for group in box.groups if group
    )
    head = "" if box.is_list else f'<TR><TD ALIGN="LEFT" BALIGN="LEFT" PORT="{_HEAD}">{_head(box)}</TD></TR>'
    rule = "<HR/>" if head and body else ""
    fill = "" if box.is_list else f' BGCOLOR="{"white" if not box.is_place else _SHADE}"'
    return (
        f'<TABLE BORDER="{border}" CELLBORDER="0" CELLSPACING="0" CELLPADDING="2"'
        f' COLOR="{_INK}"{fill}{style}>{head}{rule}{body}</TABLE>'
    )


def _port(box: Box, row: BoxRow, rows: dict[tuple[str, str], str]) -> str:
    if box.is_list and row is box.groups[0][0]:
        return _HEAD
    return rows.get((box.id, row.key), "")


def _head(box: Box) -> str:
    lines = [f'<FONT POINT-SIZE="11"><B>{escape(box.name or box.id)}</B></FONT>{_flags(box.flags)}']
    lines += [_small(text) for text in _wrapped(box.title)]
    lines += [_small(text) for text in _wrapped(box.note)]
    return "<BR/>".join(lines)


def _row(row: BoxRow, port: str) -> str:
    anchor = f' PORT="{port}"' if port else ""
    text = "<BR/>".join(escape(line) for line in _wrapped(row.text))
    open_tag = '<TR><TD ALIGN="LEFT" BALIGN="LEFT"'
    if row.sort is Sort.SHUT_GATE:
        return f'{open_tag}{anchor} BGCOLOR="{_INK}"><FONT COLOR="white"><B>{text}</B></FONT></TD></TR>'
    if row.sort is Sort.ALARM:
        return f'{open_tag}{anchor} BGCOLOR="{_ALARM}"><B>{text}</B>{_flags(row.flags)}</TD></TR>'
    if row.sort is Sort.MEDIUM:
        return f"{open_tag}><I>{text}</I></TD></TR>"
    if row.sort is Sort.QUIET:
        return f'{open_tag}{anchor}><FONT COLOR="{_FAINT}" POINT-SIZE="9">{text}</FONT></TD></TR>'
    if row.sort is Sort.NODE:
        text = f"<B>{text}</B>"
    return f"{open_tag}{anchor}>{text}{_flags(row.flags)}</TD></TR>"


def _flags(flags: Iterable[int]) -> str:
    numbers = ",".join(str(n) for n in flags)
    return f' <B><FONT COLOR="#b00020">[!{numbers}]</FONT></B>' if numbers else ""


def _small(text: str, before: str = "") -> str:
    return f'{before}<FONT POINT-SIZE="9" COLOR="{_FAINT}">{escape(text)}</FONT>' if text else ""


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(visible(text), _WRAP, break_long_words=False, break_on_hyphens=False)


# --- lines --------------------------------------------------------------------------------------------------


def _colour(medium: str, media: tuple[str, ...]) -> str:
    """Return a medium's colour: fixed for the shipped media, in order for others, ink for none."""
    if not medium:
        return _INK
    order = [*_ORDER, *(m for m in media if m not in _ORDER)]
    return _PALETTE[order.index(medium) % len(_PALETTE)] if medium in order else _INK


# --- caption ------------------------------------------------------------------------------------------------------


def _caption(picture: Picture) -> str:
    """Return the caption: title, moment, legend of what really occurs, notes.

    The engine shares out what a long note needs evenly among all columns: spare ones keep the legend together.
    """
    legend = list(_legend(picture))
    span = f'<TR><TD ALIGN="LEFT" COLSPAN="{len(legend) + _SPARE}">'
    title = f'<FONT POINT-SIZE="16"><B>{escape(picture.title)}</B></FONT>'
    rows = [f"{span}{cell}</TD></TR>" for cell in (title, escape(picture.moment))]
    if legend:
        rows.append(f'<TR>{"".join(legend)}<TD COLSPAN="{_SPARE}"></TD></TR>')
    rows += [f"{span}{escape(note)}</TD></TR>" for note in picture.notes]
    rows.append(f"{span.replace('<TD ', f'<TD HEIGHT={chr(34)}12{chr(34)} ')}</TD></TR>")
    return f'<<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="3">{"".join(rows)}</TABLE>>'


def _legend(picture: Picture) -> Iterator[str]:
    """Yield cells for what occurs in the picture: media by colour and name, looks of lines, sorts of rows."""
    for medium in dict.fromkeys(line.medium for line in picture.lines if line.medium):
        colour = _colour(medium, picture.media)
        yield f'<TD BGCOLOR="{colour}"><FONT COLOR="white">{escape(medium)}</FONT></TD>'
    drawn = {line.look for line in picture.lines}
    for look, (style, lines) in _SAMPLES.items():
        if look in drawn:
            yield f'<TD>{_sample(style, lines)}</TD><TD ALIGN="LEFT">{escape(look.value)}  </TD>'
    rows = [row for box in picture.boxes for group in box.groups for row in group]
    sorts = {row.sort for row in rows}
    if Sort.SHUT_GATE in sorts:
        yield f'<TD BGCOLOR="{_INK}"><FONT COLOR="white"><B>V1 shut:  a | b</B></FONT></TD>'
        yield "<TD>shut or off, and what it parts  </TD>"
    if Sort.ALARM in sorts:
        yield f'<TD BGCOLOR="{_ALARM}"><B>stands out</B></TD>'
    if any(f"{DEFECT} " in f"{row.text} ".replace(":", " ") for row in rows):
        yield f"<TD><B>{DEFECT} no open</B></TD><TD>can't be done until it is rectified  </TD>"


def _sample(style: str, lines: int) -> str:
    cell = f'<TR><TD WIDTH="36" HEIGHT="4" FIXEDSIZE="TRUE" BORDER="{3 - lines}" SIDES="B" STYLE="{style}"></TD></TR>'
    return f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="0">{cell * lines}</TABLE>'
