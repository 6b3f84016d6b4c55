"""The gradebook: students, classes, card numbers, assignments, gradings, their photos, and the log."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

ONLY_GROWS = "the log of grades only grows"


def upgrade() -> None:
    """Make the tables of the gradebook, and guard the log."""
    op.create_table(
        "students",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("key", sa.Text, nullable=False, unique=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("added", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "classes",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("key", sa.Text, nullable=False, unique=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("begins", sa.Text, nullable=False),
        sa.Column("ends", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "members",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("class_id", sa.Integer, sa.ForeignKey("classes.id", ondelete="CASCADE"), nullable=False),
        sa.Column("student_id", sa.Integer, sa.ForeignKey("students.id", ondelete="CASCADE"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("begins", sa.Text, nullable=False),
        sa.Column("ends", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("members_of_class", "members", ["class_id", "number"])
    op.create_table(
        "assignments",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("key", sa.Text, nullable=False, unique=True),
        sa.Column("class_id", sa.Integer, sa.ForeignKey("classes.id", ondelete="CASCADE"), nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("cut", sa.Text, nullable=False),
        sa.Column("standard", sa.Text),
        sa.Column("standard_text", sa.Text),
        sa.Column("produce", sa.Text),
        sa.Column("rubric", sa.Text, nullable=False),
        sa.Column("day", sa.Text, nullable=False),
        sa.Column("blind", sa.Boolean, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("assignments_of_class", "assignments", ["class_id", "day"])
    op.create_table(
        "gradings",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("key", sa.Text, nullable=False, unique=True),
        sa.Column(
            "assignment_id", sa.Integer, sa.ForeignKey("assignments.id", ondelete="CASCADE"), nullable=False
        ),
        sa.Column("student_id", sa.Integer, sa.ForeignKey("students.id", ondelete="CASCADE"), nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("kept", sa.Text, nullable=False),
        sa.Column("points", sa.Float, nullable=False),
        sa.Column("low", sa.Float, nullable=False),
        sa.Column("high", sa.Float, nullable=False),
        sa.Column("sample_low", sa.Float, nullable=False),
        sa.Column("sample_high", sa.Float, nullable=False),
        sa.Column("scale_text", sa.Text, nullable=False),
        sa.Column("passed", sa.Boolean, nullable=False),
        sa.Column("second_look", sa.Boolean, nullable=False),
        sa.Column("pass_probability", sa.Float, nullable=False),
        sa.Column("counted", sa.Integer, nullable=False),
        sa.Column("points_all", sa.Float, nullable=False),
        sa.Column("hand_marks", sa.JSON, nullable=False),
        sa.Column("excluded", sa.JSON, nullable=False),
        sa.Column("extras", sa.JSON, nullable=False),
        sa.Column("scale_u", sa.Float, nullable=False),
        sa.Column("parts", sa.JSON, nullable=False),
        sa.Column("not_marked", sa.JSON, nullable=False),
        sa.Column("result", sa.JSON, nullable=False),
        sa.UniqueConstraint("assignment_id", "student_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("gradings_of_student", "gradings", ["student_id"])
    op.create_table(
        "grading_photos",
        sa.Column(
            "grading_id", sa.Integer, sa.ForeignKey("gradings.id", ondelete="CASCADE"), primary_key=True
        ),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "grade_log",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("written", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("class_key", sa.Text),
        sa.Column("assignment_key", sa.Text),
        sa.Column("student_key", sa.Text),
        sa.Column("grading_key", sa.Text),
        sa.Column("before", sa.Float),
        sa.Column("after", sa.Float),
        sa.Column("why", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("grade_log_of_class", "grade_log", ["class_key"])
    op.create_index("grade_log_of_grading", "grade_log", ["grading_key"])
    # INSERT OR REPLACE removes a row without its DELETE trigger (https://sqlite.org/lang_conflict.html).
    for name, when in (
        ("changed", "BEFORE UPDATE ON grade_log"),
        ("removed", "BEFORE DELETE ON grade_log"),
        ("replaced", "BEFORE INSERT ON grade_log WHEN EXISTS (SELECT 1 FROM grade_log WHERE id = NEW.id)"),
    ):
        op.execute(
            f"CREATE TRIGGER grade_log_not_{name} {when} BEGIN SELECT RAISE(ABORT, '{ONLY_GROWS}'); END"
        )
