"""The moment of an answer as it is told: to the second, and as of when it was known for whoever asked for that."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace
from typing import TYPE_CHECKING

from cfgtrack.model.time import SECOND

if TYPE_CHECKING:
    from cfgtrack.answers.moment import Moment

_known: ContextVar[bool] = ContextVar("known", default=False)


@contextmanager
def telling_known(*, asked: bool) -> Iterator[None]:
    """Tell in all texts that are made inside as of when things were known, if that was asked.

    Whoever prints an answer knows what was asked; what makes its text need not hand that on.
    """
    before = _known.set(asked)
    try:
        yield
    finally:
        _known.reset(before)


def shown_moment(moment: Moment, *, known: bool = False) -> Moment:
    """Return a moment as it is told: to the second; as of when it was known only for whoever asked for that."""
    if known or _known.get():
        return moment
    return replace(moment, at=moment.at // SECOND * SECOND, known=None)
