"""picture_shift."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "picture_shift",
        sa.Column("picture_id", sa.Integer(), nullable=False),
        sa.Column("dx", sa.Integer(), nullable=False),
        sa.Column("dy", sa.Integer(), nullable=False),
        sa.Column("dpi_across", sa.String(length=40), nullable=False),
        sa.Column("dpi_down", sa.String(length=40), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_picture_shift_person_id_person")),
        sa.ForeignKeyConstraint(["picture_id"], ["picture.id"], name=op.f("fk_picture_shift_picture_id_picture")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_picture_shift")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_picture_shift_picture_id"), "picture_shift", ["picture_id"], unique=False)
