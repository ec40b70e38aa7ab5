"""Two more derived tables: what the rules remember at some instants of the past, and what was settled before them.

Revision 0002. Both begin empty: the next record fills them.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "checkpoint",
        sa.Column("at", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("events", sa.BigInteger, nullable=False),
        sa.Column("known", sa.BigInteger, nullable=False),
        sa.Column("shape", sa.String, nullable=False),
        sa.Column("memory", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "settled",
        sa.Column("at", sa.BigInteger, primary_key=True),
        sa.Column("place", sa.Integer, primary_key=True),
        sa.Column("body", sa.String, nullable=False),
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    raise NotImplementedError("a journal is never taken back to an older schema: restore a backup instead")
