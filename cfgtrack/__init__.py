"""Track the configuration of external equipment, and judge the next step before it is taken.

Nothing is imported here: every command pays for what this module loads.
"""

__version__ = "0.1.0"
