"""Ink to SVG: the same bytes for the same page on every machine.

The file carries the font, with only the characters that it needs. Where a viewer doesn't take it, each text is still
drawn as wide as it was measured, so nothing overprints. Whatever a name contains is text and nothing else.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Iterator
from xml.sax.saxutils import escape, quoteattr

from cfgtrack.show.drawing.ink import Anchor, Circle, Group, Ink, Page, Path, Rect, Text
from cfgtrack.show.drawing.metrics import FAMILY, subset
from cfgtrack.show.visible import visible

EMBEDDED = "cfgtrack-sans"
"""What the font that a file carries is called in it."""


def svg(page: Page, *, with_font: bool = True) -> bytes:
    """Return a page as SVG. Without its font it is for a renderer that is given the font's file."""
    width, height = _number(page.width), _number(page.height)
    family = f"'{EMBEDDED}','{FAMILY}',sans-serif" if with_font else FAMILY
    set_width, set_height = _number(page.width * page.scale), _number(page.height * page.scale)
    size = f'width="{set_width}pt" height="{set_height}pt" viewBox="0 0 {width} {height}"'
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family={quoteattr(family)} role="img">',
        f"<title>{_said(page.title)}</title>",
        *([f"<style>{_faces(page.ink)}text{{font-kerning:none}}</style>"] if with_font else []),
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        *(part for ink in page.ink for part in _written(ink)),
        "</svg>",
    ]
    return ("\n".join(parts) + "\n").encode()


def _faces(ink: Iterable[Ink]) -> str:
    """Return the style that brings the font: for each weight the characters that are drawn in it."""
    signs: dict[bool, set[str]] = {}
    for text in _texts(ink):
        signs.setdefault(text.bold, set()).update(visible(text.text, lines=False))
    return "".join(
        f"@font-face{{font-family:'{EMBEDDED}';font-weight:{700 if bold else 400};"
        f"src:url(data:font/ttf;base64,{b64encode(subset(signs[bold], bold=bold)).decode()})}}"
        for bold in sorted(signs)
    )


def _texts(ink: Iterable[Ink]) -> Iterator[Text]:
    for one in ink:
        if isinstance(one, Group):
            yield from _texts(one.ink)
        elif isinstance(one, Text):
            yield one


def _written(ink: Ink) -> Iterator[str]:
    match ink:
        case Group():
            yield from _group(ink)
        case Text():
            yield _text(ink)
        case Rect():
            radius = f' rx="{_number(ink.radius)}"' if ink.radius else ""
            yield (
                f'<rect x="{_number(ink.x)}" y="{_number(ink.y)}" width="{_number(ink.width)}"'
                f' height="{_number(ink.height)}"{radius}{_paint(ink)}/>'
            )
        case Circle():
            yield f'<circle cx="{_number(ink.x)}" cy="{_number(ink.y)}" r="{_number(ink.radius)}"{_paint(ink)}/>'
        case Path():
            yield from _path(ink)


def _group(group: Group) -> Iterator[str]:
    named = [("what", group.what), ("key", group.key), *group.data]
    data = "".join(f" data-{name}={_quoted(value)}" for name, value in named if value)
    sort = f" class={_quoted(group.what.replace(' ', '-'))}" if group.what else ""
    yield f"<g{sort}{data}>"
    if group.title:
        yield f"<title>{_said(group.title)}</title>"
    for one in group.ink:
        yield from _written(one)
    yield "</g>"


def _text(text: Text) -> str:
    said = _said(text.text, lines=False)
    weight = ' font-weight="700"' if text.bold else ""
    style = ' font-style="italic"' if text.italic else ""
    anchor = f' text-anchor="{text.anchor.value}"' if text.anchor is not Anchor.START else ""
    fit = (
        f' textLength="{_number(text.width)}" lengthAdjust="spacingAndGlyphs"' if text.width and said else ""
    )
    role = f" class={_quoted(text.role.replace(' ', '-'))}" if text.role else ""
    return (
        f'<text x="{_number(text.x)}" y="{_number(text.y)}" font-size="{_number(text.size)}" fill="{text.colour}"'
        f'{weight}{style}{anchor}{fit}{role} xml:space="preserve">{said}</text>'
    )


def _path(path: Path) -> Iterator[str]:
    points = [f"{_number(x)} {_number(y)}" for x, y in path.points]
    d = f"M{' L'.join(points)}{' Z' if path.closed else ''}"
    yield f'<path d="{d}"{_paint(path)} stroke-linejoin="{"miter" if path.closed else "round"}"/>'
    if path.double:
        middle = _number(max(path.thickness - 2.4, 0.6))
        yield f'<path d="{d}" fill="none" stroke="#ffffff" stroke-width="{middle}" stroke-linejoin="round"/>'
    if path.arrow and len(path.points) > 1:
        yield _arrow(path)


def _arrow(path: Path) -> str:
    (ax, ay), (bx, by) = path.points[-2:]
    length = max(((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5, 0.01)
    ux, uy = (bx - ax) / length, (by - ay) / length
    corners = (
        (bx, by),
        (bx - 6 * ux + 3 * uy, by - 6 * uy - 3 * ux),
        (bx - 6 * ux - 3 * uy, by - 6 * uy + 3 * ux),
    )
    d = " L".join(f"{_number(x)} {_number(y)}" for x, y in corners)
    return f'<path d="M{d} Z" fill="{path.stroke}"/>'


def _paint(ink: Rect | Circle | Path) -> str:
    dash = f' stroke-dasharray="{" ".join(_number(one) for one in ink.dash)}"' if ink.dash else ""
    stroke = f' stroke="{ink.stroke}" stroke-width="{_number(ink.thickness)}"' if ink.stroke != "none" else ""
    role = f" class={_quoted(ink.role.replace(' ', '-'))}" if ink.role else ""
    return f' fill="{ink.fill}"{stroke}{dash}{role}'


def _number(value: float) -> str:
    """Return a number with at most two decimals, never as -0."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _said(text: str, *, lines: bool = True) -> str:
    return escape(visible(text, lines=lines))


def _quoted(text: str) -> str:
    return quoteattr(visible(text, lines=False))
