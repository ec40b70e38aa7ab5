"""The constants that the tables' contents stand on. Imports nothing, so that a question need not load the schema."""

from __future__ import annotations

REVISIONS = ("0001", "0002", "0003", "0004", "0005", "0006")
"""The schema revisions that this program knows, oldest first. The last is the one it works with."""

NEVER = 2**63 - 1
"""`until` of what no correction has ended, and the end of open spans of time."""

AT_PLACE = "@"
"""The aspect under which a unit's or a mobile place's whereabouts are kept; a port's status has the aspect ""."""
