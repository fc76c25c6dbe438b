"""proof links."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "proof_link",
        sa.Column("proof_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.Column("until", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("revoked_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("answer_id", sa.Integer(), nullable=True),
        sa.Column("answered_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["answer_id"], ["answer.id"], name=op.f("fk_proof_link_answer_id_answer")),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_proof_link_made_by_id_person")),
        sa.ForeignKeyConstraint(["proof_id"], ["proof.id"], name=op.f("fk_proof_link_proof_id_proof")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_proof_link")),
        sa.UniqueConstraint("answer_id", name=op.f("uq_proof_link_answer_id")),
        sa.UniqueConstraint("code", name=op.f("uq_proof_link_code")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_proof_link_token_hash")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_proof_link_answered_at"), "proof_link", ["answered_at"], unique=False)
    op.create_index(op.f("ix_proof_link_proof_id"), "proof_link", ["proof_id"], unique=False)
