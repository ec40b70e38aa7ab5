"""Who signed an event, and what he had said: beside the event, as the canonical JSON that its leaf holds too.

Revision 0003. Events from before have none, and their leaves are as they were.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("event", sa.Column("signed", sa.String))


def downgrade() -> None:
    raise NotImplementedError("a journal is never taken back to an older schema: restore a backup instead")
