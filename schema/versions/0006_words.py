"""Words for a status in the journal: on PostgreSQL, a kind may have that field too.

Revision 0006. No table is another one, and kinds from before have no words: their items are as they were.
"""

from pathlib import Path
from typing import Any

from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_FUNCTIONS = Path(__file__).parents[1] / "postgresql" / "0006.sql"


def upgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        driver: Any = op.get_bind().connection.driver_connection
        (schema,) = driver.execute("SELECT quote_ident(current_schema())").fetchone()
        driver.execute(_FUNCTIONS.read_text(encoding="utf-8").replace("{schema}", schema))


def downgrade() -> None:
    raise NotImplementedError("a journal is never taken back to an older schema: restore a backup instead")
