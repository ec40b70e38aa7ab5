"""What is connected to what, as a picture: everything, one medium, one unit and its neighbours, one loop, places."""

from __future__ import annotations

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.model.plant import HOLD
from cfgtrack.show.compact import compact_picture
from cfgtrack.show.detailed import detailed_picture
from cfgtrack.show.diagram_source import source
from cfgtrack.show.flags import flag
from cfgtrack.show.place_tree import place_picture


def diagram(scene: Scene, *, title: str = "") -> str:
    """Return the DOT source of a picture. Its findings are flagged by number on the items that they name.

    The same input gives the same source, byte for byte.
    """
    scope, configuration, networks, moment = scene.scope, scene.configuration, scene.networks, scene.moment
    flags = flag(scene.findings)
    heading = title or _title(scope)
    if scope.sort == "places":
        picture = place_picture(configuration, networks, heading, str(moment), flags)
    elif scope.sort == "everything" or (scope.medium == HOLD and scope.sort == "medium"):
        media = [scope.medium] if scope.medium else list(scene.plant.media)
        picture = compact_picture(configuration, networks, media, heading, str(moment), flags)
    else:
        media = [scope.medium] if scope.medium else list(scene.plant.media)
        picture = detailed_picture(
            configuration,
            networks,
            media,
            heading,
            str(moment),
            flags,
            around=scope.subject if scope.sort == "around" else "",
            hops=scope.hops,
            loop=scope.subject if scope.sort == "loop" else "",
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
