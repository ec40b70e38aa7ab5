"""The parts of the corpus that are given, not drawn."""

from __future__ import annotations

from collections.abc import Callable

from tests.corpus.transcript import Transcript

PARTS: dict[str, Callable[[Transcript], None]] = {}
