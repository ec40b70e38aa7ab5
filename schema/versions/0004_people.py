"""What the server calls whoever recorded an event; on PostgreSQL, what keeps everybody to what he may.

Revision 0004. Events from before have none, and their leaves are as they were.
"""

from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_SECURITY = Path(__file__).parents[1] / "postgresql" / "0004.sql"


def upgrade() -> None:
    op.add_column("event", sa.Column("login", sa.String))
    if op.get_bind().dialect.name == "postgresql":
        driver: Any = op.get_bind().connection.driver_connection
        (schema,) = driver.execute("SELECT quote_ident(current_schema())").fetchone()
        driver.execute(_SECURITY.read_text(encoding="utf-8").replace("{schema}", schema))


def downgrade() -> None:
    raise NotImplementedError("a journal is never taken back to an older schema: restore a backup instead")
