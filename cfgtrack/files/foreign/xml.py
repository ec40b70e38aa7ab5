"""XML from anybody: no entity is declared, nothing is fetched, nothing nests without end."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, TreeBuilder
from xml.parsers import expat

from cfgtrack.files.foreign.reader import raw_of
from cfgtrack.model.trouble import BadInput, Problem

DEEPEST = 200
"""So deep may elements nest."""


def read_xml(path: Path) -> Element:
    """Return the root of an XML file, tags and attributes without their namespaces. BadInput for what is none.

    An entity that the file declares is refused, used or not: a few of them fill any memory. What stands elsewhere (a
    document type, an outer entity) is never fetched.
    """
    builder = TreeBuilder()
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    depth = 0

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal depth
        depth += 1
        if depth > DEEPEST:
            raise _Refused(f"elements nest deeper than {DEEPEST}")
        builder.start(_local(tag), {_local(name): value for name, value in attributes.items()})

    def end(tag: str) -> None:
        nonlocal depth
        depth -= 1
        builder.end(_local(tag))

    def refuse(*_: Any) -> Any:
        raise _Refused("it declares entities, which nobody needs here and which can fill any memory")

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = builder.data
    parser.EntityDeclHandler = refuse
    parser.ExternalEntityRefHandler = refuse
    try:
        parser.Parse(raw_of(path), True)
    except _Refused as err:
        raise _bad(path, parser.CurrentLineNumber, "refused", f"{err}") from None
    except expat.ExpatError as err:
        raise _bad(path, err.lineno, "syntax", f"expected XML: {expat.ErrorString(err.code)}") from None
    except (ValueError, LookupError) as err:  # an encoding that nobody knows, or that isn't kept
        raise _bad(path, parser.CurrentLineNumber, "syntax", f"expected XML: {err}") from None
    return builder.close()


class _Refused(Exception):
    """What an XML file may not have here."""


def _local(name: str) -> str:
    return name.rpartition(" ")[2]


def _bad(path: Path, line: int, code: str, sentence: str) -> BadInput:
    return BadInput(Problem(f"{path}:{line}", code, sentence))
