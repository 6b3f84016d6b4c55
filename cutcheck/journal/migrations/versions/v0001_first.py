"""Cooks, checks with their sides and pieces, photos.

A migration spells its tables out: it must make the same ones whatever ``schema`` says later.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "cooks",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("key", sa.Text, nullable=False, unique=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("added", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "checks",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("key", sa.Text, nullable=False, unique=True),
        sa.Column("cook_id", sa.Integer, sa.ForeignKey("cooks.id", ondelete="CASCADE"), nullable=False),
        sa.Column("sha256", sa.Text, nullable=False, unique=True),
        sa.Column("file", sa.Text, nullable=False),
        sa.Column("width_px", sa.Integer, nullable=False),
        sa.Column("height_px", sa.Integer, nullable=False),
        sa.Column("taken", sa.Text),
        sa.Column("practised", sa.Text, nullable=False),
        sa.Column("kept", sa.Text, nullable=False),
        sa.Column("cut", sa.Text),
        sa.Column("standard", sa.Text),
        sa.Column("produce", sa.Text),
        sa.Column("cut_version", sa.Text),
        sa.Column("program_version", sa.Text, nullable=False),
        sa.Column("mark", sa.Float),
        sa.Column("mark_low", sa.Float),
        sa.Column("mark_high", sa.Float),
        sa.Column("on_size", sa.Float),
        sa.Column("evenness", sa.Float),
        sa.Column("squareness", sa.Float),
        sa.Column("counted", sa.Integer),
        sa.Column("sampling", sa.Float),
        sa.Column("raw_g", sa.Float),
        sa.Column("finished_g", sa.Float),
        sa.Column("waste_g", sa.Float),
        sa.Column("minutes", sa.Float),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("scale", sa.JSON, nullable=False),
        sa.Column("suggested", sa.JSON),
        sa.Column("taking", sa.JSON, nullable=False),
        sa.Column("advice", sa.JSON, nullable=False),
        sa.Column("warnings", sa.JSON, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("checks_of_cook", "checks", ["cook_id", "cut", "practised"])
    op.create_table(
        "sides",
        sa.Column("check_id", sa.Integer, sa.ForeignKey("checks.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("side", sa.Text, primary_key=True),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("low_mm", sa.Float, nullable=False),
        sa.Column("high_mm", sa.Float, nullable=False),
        sa.Column("mean_mm", sa.Float),
        sa.Column("mean_u_mm", sa.Float),
        sa.Column("sd_mm", sa.Float),
        sa.Column("noise_mm", sa.Float),
        sa.Column("share_on_size", sa.Float),
        sa.Column("seen", sa.Integer, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "pieces",
        sa.Column("check_id", sa.Integer, sa.ForeignKey("checks.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("shape", sa.Text, nullable=False),
        sa.Column("length_mm", sa.Float),
        sa.Column("length_u95", sa.Float),
        sa.Column("width_mm", sa.Float),
        sa.Column("width_u95", sa.Float),
        sa.Column("height_mm", sa.Float),
        sa.Column("height_u95", sa.Float),
        sa.Column("verdict", sa.Text),
        sa.Column("conformity", sa.Float),
        sa.Column("flags", sa.JSON, nullable=False),
        sa.Column("rest", sa.JSON, nullable=False),
    )
    op.create_table(
        "photos",
        sa.Column("check_id", sa.Integer, sa.ForeignKey("checks.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
