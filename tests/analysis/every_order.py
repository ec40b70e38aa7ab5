"""Any order, against a page that knows nothing of engine, network or rules: every order is written out, one by one.

A unit on its base: two valves, a switch, a fluid disconnect, a bolt, as plain words in a dictionary. The page says what
each action needs and does, what each rule asks, and how long a clock has run, from the meaning of an order alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

START = {"V": "open", "W": "open", "S": "on", "F": "mated", "B": "torqued"}

LADDER = {
    ("open", "V"): ("shut", "open"), ("shut", "V"): ("open", "shut"),
    ("open", "W"): ("shut", "open"), ("shut", "W"): ("open", "shut"),
    ("energise", "S"): ("off", "on"), ("de-energise", "S"): ("on", "off"),
    ("demate", "F"): ("mated", "demated"), ("mate", "F"): ("demated", "mated"),
    ("engage", "B"): ("released", "engaged"),
}  # fmt: skip
"""Action and port -> (status needed, status then). A bolt is released and torqued from either status that holds."""

Word = tuple[str, str]


@dataclass(frozen=True)
class Job:
    """One step: its number, track, action and port, its high duration, and the numbers of those it waits for."""

    number: int
    track: str
    word: Word
    high: int
    after: tuple[int, ...] = ()


def orders(jobs: Sequence[Job]) -> Iterator[list[Job]]:
    """Yield every order: tracks in turn, each job after what it waits for."""

    def further(done: list[Job]) -> Iterator[list[Job]]:
        if len(done) == len(jobs):
            yield done
            return
        over = {job.number for job in done}
        heads = {}
        for job in jobs:
            if job.number not in over:
                heads.setdefault(job.track, job)
        for job in heads.values():
            if all(number in over for number in job.after):
                yield from further([*done, job])

    yield from further([])


def done_to(state: Mapping[str, str], word: Word) -> dict[str, str] | None:
    """Return the state after an action, None where it can't be done."""
    verb, port = word
    if word in (("release", "B"), ("torque", "B")):
        return None if state["B"] == "released" else {**state, "B": f"{verb}d"}
    needed, then = LADDER[word]
    return None if state[port] != needed else {**state, port: then}


@dataclass(frozen=True)
class Limits:
    """How long, in seconds: the switch may be off, and after V is shut F must be demated (or V open) within a time."""

    off: int
    drain: int


def elapsed(order: Sequence[Job], start: int, end: int) -> int:
    """Return the longest chain from the end of one step of an order to the end of another, all at their high durations.

    Only what comes after the first counts; what was under way then counts whole.
    """
    finish: dict[int, int] = {}
    for job in order[start + 1 : end + 1]:
        ahead = [finish[other.number] for other in order[start + 1 : order.index(job)]
                 if other.track == job.track or other.number in job.after]  # fmt: skip
        finish[job.number] = max(ahead, default=0) + job.high
    return finish[order[end].number]


def end_of_all(order: Sequence[Job], start: int) -> int:
    """Return how long after a step the last one of an order may end."""
    return max((elapsed(order, start, i) for i in range(start + 1, len(order))), default=0)


def is_forbidden(state: Mapping[str, str], word: Word, then: Mapping[str, str]) -> bool:
    """Return whether an action breaks at once what one of the rules asks, whatever the time."""
    is_wet = word == ("demate", "F") and state["V"] != "shut"
    is_live = word == ("release", "B") and state["S"] != "off"
    return is_wet or is_live or then["V"] == then["W"] == "shut"


def first_bad(order: Sequence[Job], limits: Limits) -> int | None:
    """Return after how many steps an order is bad, the bad one included; None for a good one.

    The rules: one of V and W is open at all times; F is demated only while V is shut; the bolt is let go only while the
    switch is off; the switch is off for no longer than is tolerated; F is demated within a time after V is shut; at the
    end the bolt holds. What is left running at the end is bad, too.
    """
    state: dict[str, str] = dict(START)
    off: int | None = None
    drains: list[int] = []
    for i, job in enumerate(order):
        then = done_to(state, job.word)
        if then is None or is_forbidden(state, job.word, then):
            return i + 1
        if off is not None and then["S"] == "on":
            if elapsed(order, off, i) > limits.off:
                return i + 1
            off = None
        if then["S"] == "off" and state["S"] == "on":
            off = i
        if job.word == ("shut", "V"):
            drains.append(i)
        if drains and then["F"] == "demated":
            # Met the moment that it is so; F may have been demated all along.
            if any(s != i and elapsed(order, s, i) > limits.drain for s in drains):
                return i + 1
            drains = []
        state = then
    if state["B"] == "released" or off is not None or drains:
        return len(order)
    return None


def shortest_bad(jobs: Sequence[Job], limits: Limits) -> int | None:
    """Return after how few steps some order is bad; None where every order is clear."""
    return min((bad for order in orders(jobs) if (bad := first_bad(order, limits)) is not None), default=None)
