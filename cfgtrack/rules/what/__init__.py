"""Conditions, one a file: what must hold. Each says all there is to say of it; none is listed anywhere else."""

from cfgtrack.rules.condition import Condition
from cfgtrack.rules.discovery import classes_in

CONDITIONS = {one.key: one for one in classes_in(__name__, __path__) if issubclass(one, Condition)}
"""The conditions by their key in a rules file."""
