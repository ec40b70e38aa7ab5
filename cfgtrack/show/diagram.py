"""What is connected to what, as a picture: everything, one medium, one unit and its neighbours, one loop, places."""

from __future__ import annotations

from dataclasses import replace

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.model.plant import HOLD
from cfgtrack.show.compact import compact_picture
from cfgtrack.show.detailed import detailed_picture
from cfgtrack.show.diagram_source import source
from cfgtrack.show.flags import flag
from cfgtrack.show.place_tree import place_picture
from cfgtrack.show.ties import Survey


def diagram(scene: Scene, *, title: str = "") -> str:
    """Return the DOT source of a picture. Its findings are flagged by number on the items that they name.

    The same input gives the same source, byte for byte.
    """
    scope, media = scene.scope, list(scene.plant.media)
    flags = flag(scene.findings)
    if scope.medium:
        media = [scope.medium]
    elif scope.sort == "places":
        media = [HOLD] if HOLD in scene.networks else []
    survey = Survey(scene.configuration, scene.networks, media)
    if scope.sort == "places":
        picture = place_picture(survey, flags)
    elif scope.sort == "everything" or (scope.medium == HOLD and scope.sort == "medium"):
        picture = compact_picture(survey, flags)
    else:
        picture = detailed_picture(survey, flags, scope)
    picture = replace(
        picture,
        title=title or _title(scope),
        moment=str(scene.moment),
        notes=(*picture.notes, *flags.notes(picture.boxes)),
        media=tuple(scene.plant.media),
    )
    return source(picture)


def _title(scope: Scope) -> str:
    match scope.sort:
        case "everything":
            return "Everything, and what it is connected to"
        case "medium":
            return f"Medium {scope.subject}"
        case "around":
            medium = f", {scope.medium} only" if scope.medium else ""
            return f"{scope.subject} and what is connected to it{medium}"
        case "loop":
            return f"Loop {scope.subject} ({scope.medium})"
        case _:
            return "Places, and what stands in them"
