"""Each placement says who made it, and each step in which order it was done.

Older rows keep an empty name and the order 0: the step's own words and its day still tell as much as they did.
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("placement") as table:
        table.add_column(sa.Column("signer", sa.String(), nullable=False, server_default=""))
    with op.batch_alter_table("step") as table:
        table.add_column(sa.Column("done_order", sa.Integer(), nullable=False, server_default="0"))
