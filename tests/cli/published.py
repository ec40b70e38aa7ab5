"""The published schema of the answers: is an answer as it says, and does all come that it promises?"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator, ValidationError, validators

PATH = Path(__file__).parents[2] / "schema" / "files" / "answers.schema.json"
SCHEMA: dict[str, Any] = json.loads(PATH.read_text(encoding="utf-8"))
Schema = dict[str, Any]


def answer_of(command: str) -> str:
    """Return the name of the sub-schema that a command's answer follows."""
    return f"{command.replace(' ', '-')}-answer"


def validator_of(name: str) -> Any:
    """Return the validator by the sub-schema of that name. Formats are checked."""
    whole = Draft202012Validator(SCHEMA, format_checker=Draft202012Validator.FORMAT_CHECKER)
    return whole.evolve(schema={"$ref": f"#/$defs/{name}"})


def errors(name: str, value: object) -> list[str]:
    """Return what is wrong with a value by the sub-schema of that name: where, and what."""
    found = validator_of(name).iter_errors(value)
    return [f"{error.json_path}: {error.message[:300]}" for error in _deepest(found)]


def _deepest(found: Any) -> Iterator[ValidationError]:
    """Yield errors; of one that no alternative fits, those of each alternative too."""
    for error in found:
        yield error
        yield from _deepest(error.context or ())


def parts() -> Iterator[tuple[str, Schema]]:
    """Yield every sub-schema with where it stands, below `$defs`."""
    for name, schema in SCHEMA["$defs"].items():
        yield from _below(name, schema)


def _below(where: str, schema: Any) -> Iterator[tuple[str, Schema]]:
    if not isinstance(schema, dict):
        return
    yield where, schema
    for name, one in schema.get("properties", {}).items():
        yield from _below(f"{where}/{name}", one)
    for word in ("allOf", "anyOf", "oneOf"):
        for i, one in enumerate(schema.get(word, ())):
            yield from _below(f"{where}/{word}/{i}", one)
    for word in ("items", "additionalProperties", "propertyNames"):
        yield from _below(f"{where}/{word}", schema.get(word))


Promise = tuple[str, str, str]
"""Where in the schema, which word of it, and what that lets an answer be."""


def promises() -> set[Promise]:
    """Return all that answers may be by the schema, and might never be.

    Each word of an enumeration, each alternative, each type where there are several; each optional property, there
    and not there; an element of each list and of each map.
    """
    return {(where, *rest) for where, schema in parts() for rest in _promised(schema)}


def _promised(schema: Schema) -> Iterator[tuple[str, str]]:
    for value in schema.get("enum", ()):
        yield "enum", str(value)
    for word in ("anyOf", "oneOf"):
        for i, _ in enumerate(schema.get(word, ())):
            yield word, str(i)
    if isinstance(schema.get("type"), list):
        for name in schema["type"]:
            yield "type", name
    if "required" in schema and "description" in schema:  # else it only narrows what is described elsewhere
        for name in schema.get("properties", {}).keys() - schema["required"]:
            yield "there", name
            yield "not there", name
    for word in ("items", "additionalProperties"):
        if isinstance(schema.get(word), dict):
            yield word, "one"


class Met:
    """What of `promises` the values kept that were taken in so far."""

    def __init__(self) -> None:
        self.kept: set[Promise] = set()
        self._where = {id(schema): where for where, schema in parts()}
        self._trying = 0
        words = {word: self._watched(word) for word in _WATCHED}
        watching = validators.extend(Draft202012Validator, words)
        self._validator = watching(SCHEMA, format_checker=Draft202012Validator.FORMAT_CHECKER)

    def take(self, name: str, value: object) -> None:
        """Take in a value that follows the sub-schema of that name."""
        assert self._validator.evolve(schema={"$ref": f"#/$defs/{name}"}).is_valid(value), name

    def _watched(self, word: str) -> Any:
        plain = Draft202012Validator.VALIDATORS[word]

        def check(validator: Any, said: Any, value: Any, schema: Schema) -> Iterator[ValidationError]:
            if word in ("anyOf", "oneOf"):
                fitting = self._fitting(validator, said, value)
                self._note(schema, ((word, str(i)) for i in fitting))
                if not fitting:
                    yield ValidationError(f"{value!r} is none of these")
                for i in fitting:
                    yield from validator.descend(value, said[i])
                return
            self._note(schema, _kept(word, said, value, schema))
            yield from plain(validator, said, value, schema)

        return check

    def _fitting(self, validator: Any, said: list[Schema], value: object) -> list[int]:
        """Return which alternatives a value follows, taking nothing in."""
        self._trying += 1
        try:
            return [i for i, one in enumerate(said) if validator.evolve(schema=one).is_valid(value)]
        finally:
            self._trying -= 1

    def _note(self, schema: Schema, found: Iterator[tuple[str, str]]) -> None:
        where = self._where.get(id(schema))
        if where is not None and not self._trying:
            self.kept.update((where, *one) for one in found)


_WATCHED = ("enum", "type", "anyOf", "oneOf", "required", "items", "additionalProperties")
_TYPES = {type(None): "null", str: "string", bool: "boolean", int: "integer", float: "number"}


def _kept(word: str, said: Any, value: Any, schema: Schema) -> Iterator[tuple[str, str]]:
    """Yield what of a word's promises a value keeps."""
    if word == "enum" and value in said:
        yield word, str(value)
    elif word == "type" and isinstance(said, list):
        name = _TYPES[type(value)]
        yield word, "number" if name == "integer" and name not in said else name
    elif word == "required" and isinstance(value, dict):
        for name in schema.get("properties", {}).keys() - said:
            yield ("there" if name in value else "not there"), name
    elif (word == "items" and isinstance(value, list) and value) or (
        word == "additionalProperties" and isinstance(value, dict) and value
    ):
        yield word, "one"
