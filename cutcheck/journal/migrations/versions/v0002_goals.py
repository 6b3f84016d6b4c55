"""Goals."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table of goals."""
    op.create_table(
        "goals",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("key", sa.Text, nullable=False, unique=True),
        sa.Column("cook_id", sa.Integer, sa.ForeignKey("cooks.id", ondelete="CASCADE"), nullable=False),
        sa.Column("cut", sa.Text, nullable=False),
        sa.Column("on_size", sa.Float, nullable=False),
        sa.Column("sessions", sa.Integer, nullable=False),
        sa.Column("days_apart", sa.Integer, nullable=False),
        sa.Column("set_on", sa.Text, nullable=False),
        sa.UniqueConstraint("cook_id", "cut"),
    )
