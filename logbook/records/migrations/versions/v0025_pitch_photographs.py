"""pitch photographs."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0025"
down_revision = "0024"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "pitch_photo",
        sa.Column("chart_id", sa.Integer(), nullable=False),
        sa.Column("photo_id", sa.Integer(), nullable=False),
        sa.Column("preview_id", sa.Integer(), nullable=False),
        sa.Column("printed", sa.String(length=20), nullable=False),
        sa.Column("distance", logbook.records.base.LengthText(), nullable=False),
        sa.Column("thickness", logbook.records.base.LengthText(), nullable=False),
        sa.Column("refractive_index", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("lpi", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("u_lpi", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("told", sa.Text(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("reader_id", sa.Integer(), nullable=False),
        sa.Column("pitch_id", sa.Integer(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["chart_id"], ["pitch_chart.id"], name=op.f("fk_pitch_photo_chart_id_pitch_chart")),
        sa.ForeignKeyConstraint(["photo_id"], ["kept_file.id"], name=op.f("fk_pitch_photo_photo_id_kept_file")),
        sa.ForeignKeyConstraint(
            ["pitch_id"], ["pitch_on_record.id"], name=op.f("fk_pitch_photo_pitch_id_pitch_on_record")
        ),
        sa.ForeignKeyConstraint(["preview_id"], ["kept_file.id"], name=op.f("fk_pitch_photo_preview_id_kept_file")),
        sa.ForeignKeyConstraint(["reader_id"], ["person.id"], name=op.f("fk_pitch_photo_reader_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pitch_photo")),
        sa.UniqueConstraint("code", name=op.f("uq_pitch_photo_code")),
        sa.UniqueConstraint("pitch_id", name=op.f("uq_pitch_photo_pitch_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_pitch_photo_chart_id"), "pitch_photo", ["chart_id"], unique=False)
