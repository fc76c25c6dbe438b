"""forecasts."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "forecast_source",
        sa.Column("forecast_id", sa.Integer(), nullable=False),
        sa.Column("source_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["forecast_id"], ["pitch_on_record.id"], name=op.f("fk_forecast_source_forecast_id_pitch_on_record")
        ),
        sa.ForeignKeyConstraint(
            ["source_id"], ["pitch_on_record.id"], name=op.f("fk_forecast_source_source_id_pitch_on_record")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forecast_source")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_forecast_source_forecast_id"), "forecast_source", ["forecast_id"], unique=False)
    op.create_index(op.f("ix_forecast_source_source_id"), "forecast_source", ["source_id"], unique=False)
