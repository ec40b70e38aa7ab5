"""The zone of a place: on PostgreSQL, that a definition may have one.

Revision 0007. No table is another one, and what was loaded before says none of it: its leaves are as they were.
"""

from pathlib import Path
from typing import Any

from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

_FUNCTIONS = Path(__file__).parents[1] / "postgresql" / "0007.sql"


def upgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        driver: Any = op.get_bind().connection.driver_connection
        (schema,) = driver.execute("SELECT quote_ident(current_schema())").fetchone()
        driver.execute(_FUNCTIONS.read_text(encoding="utf-8").replace("{schema}", schema))


def downgrade() -> None:
    raise NotImplementedError("a journal is never taken back to an older schema: restore a backup instead")
