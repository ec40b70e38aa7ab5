"""One scene is one file: the same bytes on every machine, in every process, whatever order its sets have."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.metrics import subset
from cfgtrack.show.drawing.shown import shown
from cfgtrack.show.drawing.svg import svg
from tests.show.golden import assert_golden
from tests.show.world import FINDING, MOMENT, yard

SCOPES = {"loop": Scope.loop("A"), "power": Scope.one_medium("power"), "everything": Scope.everything()}


def picture(scope: str, *, with_font: bool = True) -> bytes:
    """Return a picture of the yard."""
    world = yard()
    scene = Scene(MOMENT, world.plant, world.configuration, world.networks, SCOPES[scope], (FINDING,))
    return svg(drawn(shown(scene)), with_font=with_font)


@pytest.mark.parametrize("scope", SCOPES)
def test_the_same_on_every_machine(scope):
    """A picture of the yard is, to the byte, the one that was drawn and looked at elsewhere."""
    assert_golden(f"yard-{scope}.svg", picture(scope, with_font=False).decode())


def test_the_font_is_the_same_on_every_machine():
    """The letters that a picture carries are the same bytes everywhere; another release of the font's library may
    write others, as well, and then what is held here is written anew.
    """
    letters = [hashlib.sha256(subset("AaBb 019,;", bold=bold)).hexdigest() for bold in (False, True)]
    assert_golden("yard-font.txt", "\n".join(letters))


def test_the_same_in_every_process():
    """In another process, whose sets have another order, the whole file is the same, font and all."""
    program = (
        "import sys; from tests.show.drawing.test_same_everywhere import picture; "
        "sys.stdout.buffer.write(picture('everything'))"
    )
    made = [
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(Path(__file__).parents[3])},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert made[0] == made[1] == picture("everything")
