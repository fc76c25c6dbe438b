"""leak sheets."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "leak_sheet",
        sa.Column("pitch_id", sa.Integer(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("raster_id", sa.Integer(), nullable=False),
        sa.Column("made_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_leak_sheet_made_by_id_person")),
        sa.ForeignKeyConstraint(
            ["pitch_id"], ["pitch_on_record.id"], name=op.f("fk_leak_sheet_pitch_id_pitch_on_record")
        ),
        sa.ForeignKeyConstraint(["raster_id"], ["kept_file.id"], name=op.f("fk_leak_sheet_raster_id_kept_file")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_leak_sheet")),
        sa.UniqueConstraint("code", name=op.f("uq_leak_sheet_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_leak_sheet_pitch_id"), "leak_sheet", ["pitch_id"], unique=False)
    op.create_table(
        "leak_reading",
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("lens_id", sa.Integer(), nullable=False),
        sa.Column("printer_id", sa.Integer(), nullable=False),
        sa.Column("paper_id", sa.Integer(), nullable=False),
        sa.Column("taps", sa.Text(), nullable=False),
        sa.Column("tone", sa.Text(), nullable=False),
        sa.Column("into_first_percent", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("first_bound_percent", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("into_last_percent", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("last_bound_percent", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("reader_id", sa.Integer(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lens_id"], ["material.id"], name=op.f("fk_leak_reading_lens_id_material")),
        sa.ForeignKeyConstraint(["paper_id"], ["material.id"], name=op.f("fk_leak_reading_paper_id_material")),
        sa.ForeignKeyConstraint(["printer_id"], ["machine.id"], name=op.f("fk_leak_reading_printer_id_machine")),
        sa.ForeignKeyConstraint(["reader_id"], ["person.id"], name=op.f("fk_leak_reading_reader_id_person")),
        sa.ForeignKeyConstraint(["sheet_id"], ["leak_sheet.id"], name=op.f("fk_leak_reading_sheet_id_leak_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_leak_reading")),
        sa.UniqueConstraint("code", name=op.f("uq_leak_reading_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        "ix_leak_reading_lens_id_printer_id_paper_id",
        "leak_reading",
        ["lens_id", "printer_id", "paper_id"],
        unique=False,
    )
    op.create_index(op.f("ix_leak_reading_sheet_id"), "leak_reading", ["sheet_id"], unique=False)
