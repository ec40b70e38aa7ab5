"""Modes, one a file: when a rule must hold. Each says all there is to say of it; none is listed anywhere else."""

from cfgtrack.rules.discovery import classes_in
from cfgtrack.rules.mode import Mode

MODES = {one.key: one for one in classes_in(__name__, __path__) if issubclass(one, Mode)}
"""The modes by their key in a rules file."""
