"""One thing has one word in everything that people read: the words that were given up for it don't come back.

Looked at are the texts in the program (literals of two words or more that are no docstrings: a single word is a key or
an id), the files that come with it, and the two texts about it. The words are the trade's: a connector is demated and a
bolt released; a path leads through a valve; a value is above or below a limit. Source of the words: common practice.
"""

import ast
import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

TOP = Path(__file__).parents[1]

GIVEN_UP = {
    r"\b(stands?|standing|stood) out\b": "needs attention",
    r"\bapart\b": "the status itself, else: not connected",
    r"\b(hangs?|hanging|hung)\b": "by its ends (a cable); is on (a lock or tag); suspended (a load)",
    r"\bnowhere\b": "place not known; at no site",
    r"\b(parting|parted)\b": "demating, demated; else separated",
    r"\b(to|they|may|that|which|it|can't|cannot|nor) parts?\b(?! (number|of))": "demate; else separate",
    r"\blinks? (is|are|was|were) made\b|\bmade links?\b": "connected",
    r"\bso since\b": "since",
    r"\bbeyond\b": "above, below, outside, past",
    r"\b(is|are|was|were|be|isn't) over\b": "has ended",
    r"\b(paths?|ways?|leads?|led) over\b": "through",
    r"\bover (its|the|a|his|their) (limit|budget|rating)\b": "above",
}
"""What isn't said any more, and what is said instead."""

OVER = {
    r"(?<!handed )(?<!hands )(?<!hand )(?<!takes )\bover\b(?! again)": "above, more than, through, by way of, for"
}
"""Given up as well in the program and in what is shipped: a word for too many things. Handing over is handover."""

ALLOWED = {
    ("demo/rules.toml", "before-parting"): "ids of rules: what was approved and acknowledged names them",
    ("shared/tightening.toml", "over"): "a field's name: it stands in files of users, too",
    ("cfgtrack/model/quantity.py", "?P<over>"): "a group's name in a regular expression",
    ("cfgtrack/model/quantity.py", "a fraction over zero"): "arithmetic: a numerator over a denominator",
    ("DEVELOPERS.md", "instants a microsecond apart"): "a distance in time, not a port",
    (
        "cfgtrack/files/trade_words.py",
        "hoist, raise, hang",
    ): "a word that somebody may type: it is answered with ours",
    ("DEVELOPERS.md", "torn apart"): "by force, not a status",
    ("DEVELOPERS.md", "`parted`"): "a key of the journal",
    ("DEVELOPERS.md", "`hangs`"): "a key in JSON",
    ("DEVELOPERS.md", "node of that part."): "the noun",
}
"""Where one of them stands all the same: the file, something of the text, and why."""


def texts_of_program() -> Iterator[tuple[str, int, str]]:
    """Yield every text of two words or more in the program: file, line, and the text with {} for what is put in."""
    for file in sorted((TOP / "cfgtrack").rglob("*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        silent = {id(one) for one in _docstrings(tree)}
        for text, line in _literals(tree, silent):
            if " " in text.strip():
                yield str(file.relative_to(TOP)), line, text


def _docstrings(tree: ast.AST) -> Iterator[ast.AST]:
    """Yield the texts that stand as statements: docstrings, of attributes as well."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield node.value


def _literals(node: ast.AST, silent: set[int]) -> Iterator[tuple[str, int]]:
    if id(node) in silent:
        return
    if isinstance(node, ast.JoinedStr):
        parts = [str(one.value) if isinstance(one, ast.Constant) else "{}" for one in node.values]
        yield "".join(parts), node.lineno
        for one in node.values:
            if isinstance(one, ast.FormattedValue):
                yield from _literals(one, silent)
        return
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value, node.lineno
    for child in ast.iter_child_nodes(node):
        yield from _literals(child, silent)


def texts_of_files() -> Iterator[tuple[str, int, str]]:
    """Yield the lines of what is shipped and of what is said about it, and the descriptions of the schemas."""
    for pattern in (
        "README.md",
        "DEVELOPERS.md",
        "cfgtrack/**/*.toml",
        "shared/*.toml",
        "demo/*.toml",
        "demo/*.csv",
    ):
        for file in sorted(TOP.glob(pattern)):
            for i, line in enumerate(file.read_text(encoding="utf-8").splitlines(), 1):
                yield str(file.relative_to(TOP)), i, line
    for file in sorted((TOP / "schema" / "files").glob("*.json")):
        for text in _described(json.loads(file.read_text(encoding="utf-8"))):
            yield str(file.relative_to(TOP)), 0, text


def _described(schema: Any) -> Iterator[str]:
    if isinstance(schema, dict):
        if isinstance(schema.get("description"), str):
            yield schema["description"]
        for one in schema.values():
            yield from _described(one)
    elif isinstance(schema, list):
        for one in schema:
            yield from _described(one)


@cache
def texts() -> tuple[tuple[str, int, str], ...]:
    """Return all that is looked at."""
    return (*texts_of_program(), *texts_of_files())


def offences() -> Iterator[tuple[str, str, str]]:
    """Yield every word that was given up and stands somewhere: where, the text, and what is said instead."""
    for file, line, text in texts():
        for pattern, instead in {**GIVEN_UP, **({} if file.endswith(".md") else OVER)}.items():
            found = re.search(pattern, text, re.IGNORECASE)
            if found and not _is_allowed(file, text):
                yield f"{file}:{line}: '{found[0]}'", text, instead
                break


def _is_allowed(file: str, text: str) -> bool:
    return any(file.startswith(where) and said in text for where, said in ALLOWED)


def test_no_word_that_was_given_up_stands_in_a_text() -> None:
    """Every text says one thing by one word: those that meant several things, or another one in the trade, are gone."""
    found = [f"{where} in {text!r}: say {instead}" for where, text, instead in offences()]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(("where", "said"), ALLOWED)
def test_every_exception_is_needed(where: str, said: str) -> None:
    """What is allowed all the same still stands where it is allowed."""
    patterns = "|".join([*GIVEN_UP, *OVER])
    assert any(
        file.startswith(where) and said in text and re.search(patterns, text, re.IGNORECASE)
        for file, _, text in texts()
    )


def test_a_text_is_found_wherever_it_stands() -> None:
    """A plain text, what stands about a value and a column's heading are read; docstrings, keys and ids are not."""
    source = '''"""It hangs."""
X = {"parted": f"{name} is apart from {other + ' hangs'}", "key": "nowhere"}
"""So is this that hangs."""
'''
    tree = ast.parse(source)
    silent = {id(one) for one in _docstrings(tree)}
    texts = [text for text, _ in _literals(tree, silent) if " " in text.strip()]
    assert texts == ["{} is apart from {}"]


@pytest.mark.parametrize(
    ("text", "is_wrong"),
    [
        ("3 stand out", True),
        ("the halves are apart", True),
        ("a way over BV", True),
        ("handed over to ANN", False),
        ("the part is heavy", False),
        ("the halves which part here", True),
        ("a part number", False),
        ("demated, not capped", False),
    ],
)
def test_what_is_given_up_is_told_from_what_is_not(text: str, is_wrong: bool) -> None:
    """A word is found in what it shouldn't be said for, and not where it means another thing."""
    assert any(re.search(one, text, re.IGNORECASE) for one in (*GIVEN_UP, *OVER)) is is_wrong
