"""Faults that can be put into a file: cosmic-ray's operators, and two that it lacks, where something runs."""

import ast
import random
import warnings
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from typing import Any

Place = tuple[int, int]


@dataclass(frozen=True, order=True)
class Fault:
    """One change of one file: where (line and column, begin and end), by which operator, and which of its turns."""

    file: str
    begin: Place
    end: Place
    operator: str
    turn: int


@dataclass(frozen=True)
class Mutant:
    """A fault, and the text of the file with it."""

    fault: Fault
    text: str
    what: str
    lines: frozenset[int] | None  # of its statement; None where it runs on import

    @property
    def where(self) -> str:
        """Return file and line."""
        return f"{self.fault.file}:{self.fault.begin[0]}"


class Source:
    """A file's text, with what in it says nothing when it runs, or nothing that a test could see."""

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.text = text
        self.tree = ast.parse(text)
        self.rows = text.splitlines(keepends=True)
        self.nodes = [node for node in ast.walk(self.tree) if isinstance(node, ast.stmt)]
        self.dead = list(self._dead())

    def span(self, node: Any) -> tuple[Place, Place]:
        """Return where a node begins and ends: lines from 1, columns from 0, in characters."""
        begin = len(self.rows[node.lineno - 1].encode()[: node.col_offset].decode())
        end = len(self.rows[node.end_lineno - 1].encode()[: node.end_col_offset].decode())
        return (node.lineno, begin), (node.end_lineno, end)

    def _dead(self) -> Iterator[tuple[Place, Place]]:
        """Annotations, decorators, blocks for type checkers, and texts that are statements."""
        for node in ast.walk(self.tree):
            found: list[Any] = []
            match node:
                case ast.AnnAssign() | ast.arg():
                    found = [node.annotation]
                case ast.FunctionDef():
                    found = [node.returns, *node.decorator_list]
                case ast.ClassDef():
                    found = [*node.decorator_list]
                case ast.If(test=ast.Name(id="TYPE_CHECKING")):
                    found = [node]
                case ast.Expr(value=ast.Constant()):
                    found = [node]
                case ast.Call(func=ast.Name(id="cast"), args=[kind, *_]):
                    found = [kind]
                case ast.Assign(targets=[ast.Name(id="__slots__")]):
                    found = [node]
            yield from (self.span(each) for each in found if each is not None)

    def functions(self, line: int) -> list[ast.FunctionDef]:
        """Return the functions in whose bodies a line is."""
        return [
            node
            for node in self.nodes
            if isinstance(node, ast.FunctionDef) and node.body[0].lineno <= line <= (node.end_lineno or 0)
        ]

    def lines(self, line: int) -> frozenset[int] | None:
        """Return the lines of the smallest statement at a line: one was run if any of them was. None: on import."""
        if not self.functions(line):
            return None
        around = [node for node in self.nodes if node.lineno <= line <= (node.end_lineno or 0)]
        smallest = min(around, key=lambda node: (node.end_lineno or 0) - node.lineno)
        inner = [
            child.lineno
            for child in ast.walk(smallest)
            if isinstance(child, ast.stmt) and child is not smallest
        ]
        if inner and line >= min(inner):
            return frozenset({line})
        return frozenset(range(smallest.lineno, min(inner, default=(smallest.end_lineno or 0) + 1)))

    def replaced(self, begin: Place, end: Place, new: str) -> str:
        """Return the text with something else between two places."""
        before = [*self.rows[: begin[0] - 1], self.rows[begin[0] - 1][: begin[1]]]
        return "".join([*before, new, self.rows[end[0] - 1][end[1] :], *self.rows[end[0] :]])


def _left_out(source: Source) -> Iterator[ast.stmt]:
    """Statements that can be left out and leave a program: calls, raises, and what changes something that is there."""
    for node in source.nodes:
        match node:
            case ast.Expr(value=ast.Call() | ast.Yield()) | ast.AugAssign() | ast.Raise():
                yield node
            case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]):
                yield node


def _returned(source: Source) -> Iterator[ast.stmt]:
    """Returns of something."""
    for node in source.nodes:
        match node:
            case ast.Return(value=None | ast.Constant(value=None)):
                continue
            case ast.Return():
                yield node


OURS: dict[str, tuple[Callable[[Source], Iterator[ast.stmt]], str]] = {
    "statement left out": (_left_out, "pass"),
    "None returned": (_returned, "return None"),
}


@cache
def _operators() -> dict[str, Any]:
    """Return cosmic-ray's operators by name, without those that change nothing, or that only an import would notice."""
    from cosmic_ray.plugins import get_operator, operator_names

    found = {}
    for name in sorted(operator_names()):
        short = name.removeprefix("core/")
        # Python keeps one object for equal short texts and small numbers, so `is` for `==` is mostly no fault.
        if short in {"NoOp", "RemoveDecorator"} or short.endswith(("_Eq_Is", "_NotEq_IsNot")):
            continue
        with suppress(TypeError):  # those that want to be told names
            found[short] = get_operator(name)()
    return found


def faults(source: Source) -> list[Fault]:
    """Return every fault that can be put into a file, in order."""
    from cosmic_ray.ast import ast_nodes, get_ast

    found = []
    nodes = list(ast_nodes(get_ast(source.text)))
    for name, operator in _operators().items():
        turn = 0
        for node in nodes:
            for begin, end in operator.mutation_positions(node):
                found.append(Fault(source.file, begin, end, name, turn))
                turn += 1
    for name, (places, _) in OURS.items():
        found += [
            Fault(source.file, *source.span(node), name, turn) for turn, node in enumerate(places(source))
        ]
    return sorted(fault for fault in found if not _is_dead(source, fault))


def _is_dead(source: Source, fault: Fault) -> bool:
    if any(begin <= fault.begin and fault.end <= end for begin, end in source.dead):
        return True
    # Outside functions `|` joins types.
    return "BitOr_" in fault.operator and not source.functions(fault.begin[0])


def mutant(source: Source, fault: Fault) -> Mutant | None:
    """Return a file with a fault in it, or None where it isn't Python any more, or the same program."""
    if fault.operator in OURS:
        text = source.replaced(fault.begin, fault.end, OURS[fault.operator][1])
    else:
        from cosmic_ray.mutating import mutate_code

        text = mutate_code(source.text, _operators()[fault.operator], fault.turn)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            tree = ast.parse(text)
            compile(text, fault.file, "exec")
        except (SyntaxError, SyntaxWarning):
            return None
    if ast.dump(tree) == ast.dump(source.tree):
        return None
    pairs = zip(source.rows, text.splitlines(keepends=True), strict=False)
    was, now = next((was.strip(), now.strip()) for was, now in pairs if was != now)
    return Mutant(fault, text, f"{fault.operator}: {was}  ->  {now}", source.lines(fault.begin[0]))


def draw(sources: list[Source], number: int, seed: int) -> tuple[list[Mutant], int, int]:
    """Return some mutants at different places, how many faults there are, and at how many places."""
    by_place: dict[tuple[str, Place, Place], list[Fault]] = {}
    for source in sources:
        for fault in faults(source):
            by_place.setdefault((fault.file, fault.begin, fault.end), []).append(fault)
    named = {source.file: source for source in sources}
    chance = random.Random(seed)
    places = sorted(by_place)
    chance.shuffle(places)
    drawn: list[Mutant] = []
    for place in places:
        if len(drawn) == number:
            break
        chosen = mutant(named[place[0]], chance.choice(by_place[place]))
        drawn += [] if chosen is None else [chosen]
    return drawn, sum(map(len, by_place.values())), len(places)
