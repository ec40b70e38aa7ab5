"""What is raised when something cannot be done.

A rule that is broken is never raised: it is a finding in a list. A bug is never one of these: it is a
traceback. Everything in between is a `Trouble`: it carries its facts as `Problem` values, composes its own
text, and knows the exit status that the command line ends with.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

MOST_TOLD = 1000
"""So many problems are told one by one: a table read with the wrong mapping has one in every row."""
_MOST_SAID = 2_000
"""So many characters of a sentence, or of a row, are shown."""


def _short(text: str) -> str:
    """Return a text without its middle where it is long: nobody reads all that somebody has put there."""
    if len(text) <= _MOST_SAID:
        return text
    return f"{text[: _MOST_SAID // 2]} ... {text[-_MOST_SAID // 4 :]}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong.

    `where` is the place as its author knows it (`plant.toml:12`, `events.csv row 7, column port`, an option),
    `code` a stable word such as `unknown`, `sentence` what was expected and what was found, and `row`
    the offending line or row itself, where there is one. `thing`: a unit, place, port, node or part is named that isn't
    there. Where nothing else is wrong there is no answer (`or_no_answer`); any other name or word that isn't known is
    an error of what was given, and of a row that corrects an unknown event the journal says no.
    """

    where: str
    code: str
    sentence: str
    row: str | None = None
    thing: bool = False

    def __str__(self) -> str:
        return f"{_short(self.where)}: {self.code}: {_short(self.sentence)}"

    def lines(self) -> tuple[str, ...]:
        """The problem as text lines: the sentence, then the offending row, indented."""
        return (str(self),) if self.row is None else (str(self), f"    {_short(self.row)}")


class Trouble(Exception):
    """The base of the family. Raise a subclass.

    `problems` are the facts, at least one; `exit_status` is what the command line returns.
    """

    exit_status: ClassVar[int]
    problems: tuple[Problem, ...]

    def __init__(self, problems: Problem | Sequence[Problem]) -> None:
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__(self.problems)

    def lines(self) -> Iterator[str]:
        """The whole text, line by line, in the order the problems were found; of very many the last only counted."""
        for problem in self.problems[:MOST_TOLD]:
            yield from problem.lines()
        if rest := self.problems[MOST_TOLD:]:
            often = Counter(problem.code for problem in rest).most_common()
            yield f"... and {len(rest)} more: {', '.join(f'{number} {code}' for code, number in often)}"

    def __str__(self) -> str:
        return "\n".join(self.lines())


class BadInput(Trouble):
    """What was given is malformed. Carries every problem of the input, and nothing has been changed."""

    exit_status = 2


class Refused(Trouble):
    """The journal says no: the action is impossible in the configuration it would act on.

    `collides` names the recorded events it collides with.
    """

    exit_status = 3
    collides: tuple[str, ...]

    def __init__(self, problem: Problem | Sequence[Problem], *, collides: Sequence[str] = ()) -> None:
        super().__init__(problem)
        self.collides = tuple(collides)

    def lines(self) -> Iterator[str]:
        """The problems, then the recorded events they collide with."""
        yield from super().lines()
        if self.collides:
            yield f"    collides with event {', '.join(self.collides)}"


class NoAnswer(Trouble):
    """The question can't be answered here: no such unit, no database, a schema that is not current."""

    exit_status = 4


UNFOLLOWABLE = "unfollowable"
"""The code of an event in the journal that nobody can follow: it says of something what can't be so."""


def way_out_of(event: str) -> str:
    """Return what to do about an event that can't be followed."""
    return f'withdraw it: `cfgtrack withdraw {event} --reason "..."`'


def recorded_by(login: str | None) -> str:
    """Return, for the middle of a sentence, whose login recorded an event; "" where no server said so."""
    return f", which the login {login} recorded," if login else ""


class Unfollowable(NoAnswer):
    """An event in the journal can't be followed, so what came of it and of all later ones isn't known."""

    def __init__(self, event: str | None, subject: str) -> None:
        named = event or "of an earlier version"
        sentence = (
            f"event {named} can't be followed: it tells of {subject} what can't be so. Nothing can be said of what came"
            f" after it; {way_out_of(named)}"
        )
        super().__init__(Problem("the journal", UNFOLLOWABLE, sentence))


def or_no_answer(trouble: Trouble) -> Trouble:
    """Return the trouble; NoAnswer instead when all that is wrong is that things aren't there."""
    return NoAnswer(trouble.problems) if all(problem.thing for problem in trouble.problems) else trouble


class Misput(Exception):
    """A question that makes no sense as it is put, in the words of the command line, which shows its usage."""


class Problems:
    """Collects the problems of one input, so that one run names them all."""

    __slots__ = ("found",)

    def __init__(self) -> None:
        self.found: list[Problem] = []

    def __bool__(self) -> bool:
        return bool(self.found)

    def __len__(self) -> int:
        return len(self.found)

    def add(
        self, where: str, code: str, sentence: str, *, row: str | None = None, thing: bool = False
    ) -> None:
        """Note one problem and go on."""
        self.found.append(Problem(where, code, sentence, row, thing))

    def raise_if_any(self) -> None:
        """Raise `BadInput` with everything collected, or do nothing when the input was good."""
        if self.found:
            raise BadInput(self.found)


def counted(number: int, noun: str) -> str:
    """Return how many of something there are, as one says it.

    >>> counted(1, "fault"), counted(2, "fault")
    ('1 fault', '2 faults')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
