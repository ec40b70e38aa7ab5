"""Reference data as text: every value with its unit, and where it is from."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import fields
from typing import Any

from cfgtrack.analysis.tightening import OfProof, Tightening
from cfgtrack.analysis.warming import Warming
from cfgtrack.answers.reference import Found, ReferenceTable
from cfgtrack.model.quantity import Quantity, from_si
from cfgtrack.model.reference import ADVISES, Fluid, Proof, Reference
from cfgtrack.show.tables import indented, labelled, sections, table


def overview_text(tables: Iterable[ReferenceTable]) -> str:
    """Return which tables there are."""
    rows = [[one.table, str(one.entries), one.what] for one in tables]
    return sections("Reference data", table(["table", "entries", "what"], rows), _advises())


def _advises() -> str:
    return indented(ADVISES, by=0)


def table_text(name: str, entries: Collection[Reference]) -> str:
    """Return the entries of a table, a line each, and behind them where they are from."""
    rows = [{"id": one.id, "what": one.title, **_cells(one)} for one in entries]
    computed = {str(row.pop("stress area source", "")): None for row in rows}
    heads = list(dict.fromkeys(head for row in rows for head in row))
    origins: dict[str, list[str]] = {}
    for one in entries:
        origins.setdefault(_origin(one), []).append(one.id)
    return sections(
        f"Reference: {name}",
        table(heads, [[row.get(head, "") for head in heads] for row in rows]),
        "\n".join(
            [
                "Sources",
                *(indented(f"{_span(ids)}: {said}") for said, ids in origins.items()),
                *(indented(f"stress area: {said} (computed)") for said in computed if said),
            ]
        ),
        _advises(),
    )


def _span(ids: list[str]) -> str:
    return ", ".join(ids) if len(ids) <= 3 else f"{ids[0]} to {ids[-1]}"


def found_text(found: Found) -> str:
    """Return what was asked about an entry, else everything that is known of it."""
    if found.tightening is not None:
        return tightening_text(found.tightening)
    if found.warming is not None:
        return warming_text(found.warming)
    return entry_text(found.table, found.entry)


def entry_text(name: str, entry: Reference) -> str:
    """Return everything that is known of one entry."""
    facts = {"what": entry.title, **_cells(entry), "source": entry.source, "trust": entry.trust}
    to = max(map(len, facts)) + 2
    lines = [labelled(label, text, to=to) for label, text in facts.items() if text]
    return sections("\n".join([f"Reference: {name} {entry.id}", "", *lines]), *_states(entry), _advises())


def _states(entry: Reference) -> Iterator[str]:
    """Yield a fluid's states, and its rises of pressure by what it is warmed by."""
    if not isinstance(entry, Fluid):
        return
    rows = [{name: _cell(value) for name, value in _plain(state)} for state in entry.state]
    yield table(list(rows[0]), [list(row.values()) for row in rows])
    steps = [str(one.warmed) for one in entry.state[0].rises]
    if steps:
        yield "Rise of pressure when it fills a rigid volume and is warmed by"
        yield table(
            ["from", *steps],
            [[str(state.temperature), *(str(one.rise) for one in state.rises)] for state in entry.state],
        )


def tightening_text(answer: Tightening) -> str:
    """Return which preload a torque gives, and how near that is to what the classes of bolt stand."""
    unit = "kN" if answer.thread.form == "metric" else "lbf"
    force = [str(_rounded(from_si(newton, unit=unit, dimension="force"))) for newton in answer.preload]
    surface = answer.surface
    rows = [
        [
            one.class_,
            f"{one.proof} at 0.2 %" if one.by_strain else str(one.proof),
            *(f"{100 * part:.0f} %" for part in (one.low, one.likely, one.high)),
            _remark(one),
        ]
        for one in answer.of_proof
    ]
    given = f"{_rounded(answer.torque)}"
    if answer.wanted is not None:
        given = f"{answer.wanted} takes {given}"
    return sections(
        indented(f"{given} on {answer.thread.id}, {surface.id} (K {surface.nut_factor})", by=0)
        + "\n"
        + labelled(
            "preload",
            f"{force[1]} likely, {force[0]} low, {force[2]} high (a torque wrench scatters +-{answer.scatter})",
        ),
        "Part of the proof load",
        table(["class", "proof stress", "low", "likely", "high", ""], rows),
        "\n".join(
            [
                indented(
                    "Preload = torque / (K x diameter), below yield; a locking nut's own torque comes on top.",
                    by=0,
                ),
                indented(
                    "Tension alone: while the nut is turned, twist comes on top. At 0.2 %: no proof load, the stress at"
                    " that permanent strain.",
                    by=0,
                ),
                indented(
                    "Another lubricant, such as a paste, may have a lower K: the same torque then gives more. Ask its"
                    " maker.",
                    by=0,
                ),
                indented(f"K: {_origin(surface)}", by=0),
                _advises(),
            ]
        ),
    )


_LITTLE_LEFT = 0.8
"""From this part of the proof load on, twist while turning may take a bolt to its yield (common practice)."""


def _remark(parts: OfProof) -> str:
    if parts.likely > 1:
        return "above proof"
    if parts.high > 1:
        return "may go above proof"
    return "little left for twist" if parts.high > _LITTLE_LEFT else ""


def warming_text(answer: Warming) -> str:
    """Return from each state how far the pressure of a full rigid volume rises, or how far it may warm."""
    if answer.rise is not None:
        head, column = f"until its pressure has risen by {answer.rise}", "warmed by"
    else:
        head, column = f"warmed by {answer.warmed}", "pressure rises by"
    rows = []
    tabled = (state for state in answer.fluid.state if state.rises)
    for state, one in zip(tabled, answer.from_, strict=True):
        last, found = state.rises[-1], one.rise if answer.rise is None else one.warmed
        end = f"more than {last.rise if answer.rise is None else last.warmed}: outside the table"
        rows.append([str(state.temperature), end if found is None else str(_rounded(found))])
    return sections(
        indented(f"{answer.fluid.title}, filling a rigid volume, {head}", by=0),
        table(["from", column], rows),
        "\n".join(
            [
                indented(
                    "A real wall gives, and the pressure then rises less. Cooling is not covered.", by=0
                ),
                indented(f"Source: {_origin(answer.fluid)}; straight between its values.", by=0),
                _advises(),
            ]
        ),
    )


# --- cells ----------------------------------------------------------------------------------------------------------


def _origin(entry: Reference) -> str:
    return f"{entry.source} ({entry.trust})"


def _cells(entry: Reference) -> dict[str, str]:
    """Return what fits a line of an entry's own values, by name."""
    common = {field.name for field in fields(Reference)}
    return {name: _cell(value) for name, value in _plain(entry) if name not in common}


def _plain(value: Any) -> Iterator[tuple[str, Any]]:
    """Yield the fields, by name, that have no table of their own."""
    for field in fields(value):
        if field.name not in ("state", "rises"):
            yield field.name.replace("_", " "), getattr(value, field.name)


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, Quantity):
        return str(_rounded(value) if value.dimension in ("area", "length") else value)
    if isinstance(value, tuple):
        return "; ".join(map(_proof, value)) if isinstance(value[0], Proof) else "-".join(map(str, value))
    return str(value)


def _proof(one: Proof) -> str:
    over = f" above {one.over}" if one.over is not None else ""
    return f"{one.stress}{over} up to {one.up_to}"


def _rounded(found: Quantity) -> Quantity:
    return Quantity(found.value, found.unit, float(f"{found.shown:.4g}"), found.dimension)
