"""Where in a TOML text each key and each array element stands, so that an error can name its line.

The standard library's parser gives values without positions. This scanner gives positions without values: it
trusts that the text has been parsed already, follows TOML 1.0's structure only, and checks nothing.
"""

from __future__ import annotations

import re
import tomllib

Keys = tuple[str | int, ...]

_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_COMMA = re.compile(r"(?:[ \t\r\n]+|#[^\n]*|,)*")
_KEY = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
# A multi-line string may end in up to two quotes of its own before the three that close it.
_SCALAR = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'"
    r"|[^,\]}#\n]+",
    re.DOTALL,
)


_TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?"""'
    r"|'''.*?'''"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*|[^.#\"'\n=,\[\]{}]+|.",
    re.DOTALL,
)


def long_key(text: str, most: int) -> int:
    """Return the line of the first dotted key of more than `most` names, 0 where there is none.

    Asked before the text is parsed: the time that a key takes grows with the square of its names.
    """
    if all(line.count(".") <= most for line in text.split("\n")):
        return 0
    dots = 0
    for found in _TOKEN.finditer(text):
        sign = found[0]
        if sign == ".":
            dots += 1
            if dots >= most:
                return text.count("\n", 0, found.start()) + 1
        elif sign in ('"', "'"):
            return 0  # never closed: the parser goes no further either
        elif sign[0] in "#\n=,[]{}":
            dots = 0
    return 0


def line_numbers(text: str) -> dict[Keys, int]:
    """The 1-based line of every table, key and array element of a TOML text that has already been parsed.

    A path is made of keys and indices as in the parsed document: `('unit', 3, 'part')`. A table has the line
    where it is first named, an array element the line where it begins; `()`, the document, has line 1.
    """
    return _Scanner(text).document()


class _Scanner:
    __slots__ = ("array_tables", "at", "counted", "line", "lines", "text")

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.counted = 0
        self.lines: dict[Keys, int] = {(): 1}
        self.array_tables: dict[Keys, int] = {}  # path of an array of tables -> index of its last table

    def document(self) -> dict[Keys, int]:
        table: Keys = ()
        self.take(_BLANK)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self.header()
            else:
                self.pair(table)
            self.take(_BLANK)
        return self.lines

    def header(self) -> Keys:
        """Read `[a.b]` or `[[a.b]]`; give the path of the table it opens."""
        line = self.current_line()
        brackets = 2 if self.text.startswith("[[", self.at) else 1
        self.at += brackets
        keys = self.keys()
        self.at += brackets
        path: Keys = ()
        for key in keys[:-1]:
            path = self.last_table((*path, key), line)
        path = (*path, keys[-1])
        self.note(path, line)
        if brackets == 2:
            index = self.array_tables.get(path, -1) + 1
            self.array_tables[path] = index
            path = (*path, index)
            self.note(path, line)
        return path

    def last_table(self, path: Keys, line: int) -> Keys:
        """A table named on the way to another one: of an array of tables, its last."""
        self.note(path, line)
        return (*path, self.array_tables[path]) if path in self.array_tables else path

    def pair(self, table: Keys) -> None:
        """Read `key = value`."""
        line = self.current_line()
        path = table
        for key in self.keys():
            path = (*path, key)
            self.note(path, line)
        self.at += 1  # the equals sign
        self.take(_SPACE)
        self.value(path)

    def keys(self) -> list[str]:
        """Read a dotted key, up to the sign that ends it."""
        keys: list[str] = []
        while True:
            self.take(_SPACE)
            keys.append(_unquoted(self.take(_KEY)))
            self.take(_SPACE)
            if self.text[self.at] != ".":
                return keys
            self.at += 1

    def value(self, path: Keys) -> None:
        opening = self.text[self.at]
        if opening == "[":
            self.array(path)
        elif opening == "{":
            self.inline_table(path)
        else:
            self.take(_SCALAR)

    def array(self, path: Keys) -> None:
        self.at += 1
        self.take(_COMMA)
        index = 0
        while self.text[self.at] != "]":
            element = (*path, index)
            self.note(element, self.current_line())
            self.value(element)
            self.take(_COMMA)
            index += 1
        self.at += 1

    def inline_table(self, path: Keys) -> None:
        self.at += 1
        self.take(_COMMA)
        while self.text[self.at] != "}":
            self.pair(path)
            self.take(_COMMA)
        self.at += 1

    def note(self, path: Keys, line: int) -> None:
        self.lines.setdefault(path, line)

    def current_line(self) -> int:
        self.line += self.text.count("\n", self.counted, self.at)
        self.counted = self.at
        return self.line

    def take(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:
            raise ValueError(f"line {self.current_line()}: not TOML; ask for lines of parsed texts only")
        self.at = found.end()
        return found.group()


def _unquoted(key: str) -> str:
    if key[0] == "'":
        return key[1:-1]
    if key[0] == '"':
        return str(tomllib.loads(f"key = {key}")["key"])
    return key
