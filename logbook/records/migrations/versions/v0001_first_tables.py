"""first tables."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "audit_entry",
        sa.Column("previous_hash", sa.String(length=64), nullable=False),
        sa.Column("entry_hash", sa.String(length=64), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("action", sa.String(length=60), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("actor_name", sa.String(length=120), nullable=False),
        sa.Column("request_id", sa.String(length=64), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit_entry")),
        sa.UniqueConstraint("entry_hash", name=op.f("uq_audit_entry_entry_hash")),
        sa.UniqueConstraint("request_id", name=op.f("uq_audit_entry_request_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_audit_entry_action"), "audit_entry", ["action"], unique=False)
    op.create_table(
        "customer",
        sa.Column("name", sa.String(length=200), nullable=True),
        sa.Column("contact", sa.Text(), nullable=True),
        sa.Column("hash_key", sa.String(length=64), nullable=True),
        sa.Column("erased_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customer")),
        sa.UniqueConstraint("code", name=op.f("uq_customer_code")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "kept_file",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("media_type", sa.String(length=80), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("kept_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("dropped_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("recipe", sa.Text(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('record', 'preview', 'interlaced')", name=op.f("ck_kept_file_kind_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_file")),
        sa.UniqueConstraint("sha256", name=op.f("uq_kept_file_sha256")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "machine",
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("drive", sa.String(length=20), nullable=False),
        sa.Column("heated", sa.Boolean(), nullable=False),
        sa.Column("cutting", sa.String(length=20), nullable=False),
        sa.Column("widest", logbook.records.base.LengthText(), nullable=True),
        sa.Column("manual", sa.Text(), nullable=False),
        sa.Column("freeing_procedure", sa.Text(), nullable=False),
        sa.Column("stop_position", sa.Text(), nullable=False),
        sa.Column("isolator", sa.Text(), nullable=False),
        sa.Column("competent_role", sa.Text(), nullable=False),
        sa.Column("last_inspection", sa.String(length=80), nullable=False),
        sa.Column("out_of_use_reason", sa.Text(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("drive IN ('powered', 'hand')", name=op.f("ck_machine_drive_known")),
        sa.CheckConstraint("kind IN ('printer', 'laminator', 'trimmer')", name=op.f("ck_machine_kind_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_machine")),
        sa.UniqueConstraint("code", name=op.f("uq_machine_code")),
        sa.UniqueConstraint("name", name=op.f("uq_machine_name")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_machine_kind"), "machine", ["kind"], unique=False)
    op.create_table(
        "material",
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("nominal_lpi", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("thickness", logbook.records.base.LengthText(), nullable=True),
        sa.Column("refractive_index", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("substance", sa.String(length=40), nullable=False),
        sa.Column("dry_hours", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("trim_hours", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("ship_hours", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('lens', 'paper', 'adhesive')", name=op.f("ck_material_kind_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_material")),
        sa.UniqueConstraint("code", name=op.f("uq_material_code")),
        sa.UniqueConstraint("name", name=op.f("uq_material_name")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_material_kind"), "material", ["kind"], unique=False)
    op.create_table(
        "person",
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("initials", sa.String(length=8), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("password_hash", sa.String(length=200), nullable=False),
        sa.Column("under_18_until", sa.Date(), nullable=True),
        sa.Column("units", sa.String(length=4), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("role IN ('owner', 'operator', 'viewer')", name=op.f("ck_person_role_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("code", name=op.f("uq_person_code")),
        sa.UniqueConstraint("name", name=op.f("uq_person_name")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "shop_fact",
        sa.Column("key", sa.String(length=60), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shop_fact")),
        sa.UniqueConstraint("key", name=op.f("uq_shop_fact_key")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "step_list_revision",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("revision", sa.String(length=40), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("kept_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_step_list_revision")),
        sa.UniqueConstraint("sha256", name=op.f("uq_step_list_revision_sha256")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "throttle",
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("blocked_until", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_throttle")),
        sa.UniqueConstraint("key", name=op.f("uq_throttle_key")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "audit_object",
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=60), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["audit_entry.id"], name=op.f("fk_audit_object_entry_id_audit_entry")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit_object")),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_audit_object_ref_entry", "audit_object", ["ref", "entry_id"], unique=False)
    op.create_table(
        "authorisation",
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("given_by_id", sa.Integer(), nullable=False),
        sa.Column("given_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("until", sa.Date(), nullable=False),
        sa.Column("minor_document", sa.Text(), nullable=False),
        sa.Column("minor_issuer", sa.String(length=200), nullable=False),
        sa.Column("minor_adult", sa.String(length=120), nullable=False),
        sa.Column("withdrawn_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["given_by_id"], ["person.id"], name=op.f("fk_authorisation_given_by_id_person")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_authorisation_machine_id_machine")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_authorisation_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_authorisation")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_authorisation_machine_id"), "authorisation", ["machine_id"], unique=False)
    op.create_table(
        "lot",
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("place", sa.String(length=120), nullable=False),
        sa.Column("sheet_width", logbook.records.base.LengthText(), nullable=True),
        sa.Column("sheet_height", logbook.records.base.LengthText(), nullable=True),
        sa.Column("price", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("expires_on", sa.Date(), nullable=True),
        sa.Column("received_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("reorder_level", sa.Integer(), nullable=True),
        sa.Column("set_aside_reason", sa.Text(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["material_id"], ["material.id"], name=op.f("fk_lot_material_id_material")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot")),
        sa.UniqueConstraint("code", name=op.f("uq_lot_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_lot_label"), "lot", ["label"], unique=False)
    op.create_index(op.f("ix_lot_material_id"), "lot", ["material_id"], unique=False)
    op.create_table(
        "machine_check",
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("answers", sa.Text(), nullable=False),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_machine_check_machine_id_machine")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_machine_check_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_machine_check")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_machine_check_machine_id"), "machine_check", ["machine_id"], unique=False)
    op.create_table(
        "machine_event",
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(length=40), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("new_scale", sa.Boolean(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_machine_event_machine_id_machine")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_machine_event_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_machine_event")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_machine_event_machine_id"), "machine_event", ["machine_id"], unique=False)
    op.create_table(
        "order_",
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("placed_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("closed_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("cancelled_reason", sa.Text(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"], name=op.f("fk_order__customer_id_customer")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_")),
        sa.UniqueConstraint("code", name=op.f("uq_order__code")),
        sa.UniqueConstraint("number", name=op.f("uq_order__number")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_order__customer_id"), "order_", ["customer_id"], unique=False)
    op.create_index("ix_order_open", "order_", ["due_on"], unique=False, sqlite_where=sa.text("closed_at IS NULL"))
    op.create_table(
        "printer_mode",
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("dpi_across", sa.String(length=40), nullable=False),
        sa.Column("dpi_down", sa.String(length=40), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_printer_mode_machine_id_machine")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_printer_mode")),
        sa.UniqueConstraint("code", name=op.f("uq_printer_mode_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_printer_mode_machine_id"), "printer_mode", ["machine_id"], unique=False)
    op.create_table(
        "roller_session",
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("helper_id", sa.Integer(), nullable=True),
        sa.Column("alone_with", sa.Text(), nullable=False),
        sa.Column("started_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("last_used_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("ended_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("ticks", sa.Text(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["helper_id"], ["person.id"], name=op.f("fk_roller_session_helper_id_person")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_roller_session_machine_id_machine")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_roller_session_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_roller_session")),
        sa.UniqueConstraint("code", name=op.f("uq_roller_session_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_roller_session_machine_id"), "roller_session", ["machine_id"], unique=False)
    op.create_table(
        "rule_strength",
        sa.Column("rule", sa.String(length=60), nullable=False),
        sa.Column("strength", sa.String(length=10), nullable=False),
        sa.Column("chosen_by_id", sa.Integer(), nullable=False),
        sa.Column("chosen_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("strength IN ('note', 'ask')", name=op.f("ck_rule_strength_strength_known")),
        sa.ForeignKeyConstraint(["chosen_by_id"], ["person.id"], name=op.f("fk_rule_strength_chosen_by_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rule_strength")),
        sa.UniqueConstraint("rule", name=op.f("uq_rule_strength_rule")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "sign_in",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("started_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("seen_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("ended_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sign_in_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_sign_in_token_hash")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "job",
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=24), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("artwork", sa.String(length=200), nullable=False),
        sa.Column("flip", sa.String(length=20), nullable=False),
        sa.Column("width", logbook.records.base.LengthText(), nullable=False),
        sa.Column("height", logbook.records.base.LengthText(), nullable=False),
        sa.Column("bleed", logbook.records.base.LengthText(), nullable=False),
        sa.Column("distance", logbook.records.base.LengthText(), nullable=False),
        sa.Column("use", sa.String(length=20), nullable=False),
        sa.Column("fit", sa.String(length=20), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("price", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("started_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("entered_at_stage", sa.String(length=20), nullable=True),
        sa.Column("ended_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("step_list_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("fit IN ('crop', 'pad', 'stretch')", name=op.f("ck_job_fit_known")),
        sa.CheckConstraint("flip IN ('left-right', 'up-down')", name=op.f("ck_job_flip_known")),
        sa.CheckConstraint("kind IN ('print', 'mount-only')", name=op.f("ck_job_kind_known")),
        sa.CheckConstraint("use IN ('wall', 'hand')", name=op.f("ck_job_use_known")),
        sa.ForeignKeyConstraint(["order_id"], ["order_.id"], name=op.f("fk_job_order_id_order_")),
        sa.ForeignKeyConstraint(
            ["step_list_id"], ["step_list_revision.id"], name=op.f("fk_job_step_list_id_step_list_revision")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
        sa.UniqueConstraint("code", name=op.f("uq_job_code")),
        sa.UniqueConstraint("number", name=op.f("uq_job_number")),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_job_open", "job", ["started_at"], unique=False, sqlite_where=sa.text("ended_at IS NULL"))
    op.create_index(op.f("ix_job_order_id"), "job", ["order_id"], unique=False)
    op.create_table(
        "pitch_test",
        sa.Column("started_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("started_by_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("lens_lot_id", sa.Integer(), nullable=False),
        sa.Column("mode_id", sa.Integer(), nullable=False),
        sa.Column("paper_id", sa.Integer(), nullable=False),
        sa.Column("paper_lot_id", sa.Integer(), nullable=True),
        sa.Column("axis", sa.String(length=10), nullable=False),
        sa.Column("distance", logbook.records.base.LengthText(), nullable=True),
        sa.Column("lens_loose", sa.Boolean(), nullable=False),
        sa.Column("temperature_c", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("humidity_percent", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("axis IN ('across', 'down')", name=op.f("ck_pitch_test_axis_known")),
        sa.CheckConstraint("state IN ('open', 'accepted', 'given up')", name=op.f("ck_pitch_test_state_known")),
        sa.ForeignKeyConstraint(["lens_lot_id"], ["lot.id"], name=op.f("fk_pitch_test_lens_lot_id_lot")),
        sa.ForeignKeyConstraint(["mode_id"], ["printer_mode.id"], name=op.f("fk_pitch_test_mode_id_printer_mode")),
        sa.ForeignKeyConstraint(["paper_id"], ["material.id"], name=op.f("fk_pitch_test_paper_id_material")),
        sa.ForeignKeyConstraint(["paper_lot_id"], ["lot.id"], name=op.f("fk_pitch_test_paper_lot_id_lot")),
        sa.ForeignKeyConstraint(["started_by_id"], ["person.id"], name=op.f("fk_pitch_test_started_by_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pitch_test")),
        sa.UniqueConstraint("code", name=op.f("uq_pitch_test_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_pitch_test_lens_lot_id"), "pitch_test", ["lens_lot_id"], unique=False)
    op.create_table(
        "job_materials",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("lens_lot_id", sa.Integer(), nullable=False),
        sa.Column("mode_id", sa.Integer(), nullable=False),
        sa.Column("paper_id", sa.Integer(), nullable=False),
        sa.Column("paper_lot_id", sa.Integer(), nullable=True),
        sa.Column("adhesive_lot_id", sa.Integer(), nullable=True),
        sa.Column("temperature_c", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("humidity_percent", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["adhesive_lot_id"], ["lot.id"], name=op.f("fk_job_materials_adhesive_lot_id_lot")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_job_materials_job_id_job")),
        sa.ForeignKeyConstraint(["lens_lot_id"], ["lot.id"], name=op.f("fk_job_materials_lens_lot_id_lot")),
        sa.ForeignKeyConstraint(["mode_id"], ["printer_mode.id"], name=op.f("fk_job_materials_mode_id_printer_mode")),
        sa.ForeignKeyConstraint(["paper_id"], ["material.id"], name=op.f("fk_job_materials_paper_id_material")),
        sa.ForeignKeyConstraint(["paper_lot_id"], ["lot.id"], name=op.f("fk_job_materials_paper_lot_id_lot")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_job_materials_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_materials")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_job_materials_job_id"), "job_materials", ["job_id"], unique=False)
    op.create_table(
        "picture",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("preview_id", sa.Integer(), nullable=False),
        sa.Column("original_name", sa.String(length=255), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.Column("added_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("replaced_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["file_id"], ["kept_file.id"], name=op.f("fk_picture_file_id_kept_file")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_picture_job_id_job")),
        sa.ForeignKeyConstraint(["preview_id"], ["kept_file.id"], name=op.f("fk_picture_preview_id_kept_file")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_picture")),
        sa.UniqueConstraint("code", name=op.f("uq_picture_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_picture_job_id"), "picture", ["job_id"], unique=False)
    op.create_table(
        "pitch_chart",
        sa.Column("test_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.Column("centre_lpi", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("step_lpi", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("bands", sa.Integer(), nullable=False),
        sa.Column("width", logbook.records.base.LengthText(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("raster_id", sa.Integer(), nullable=False),
        sa.Column("made_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('bands', 'sliding')", name=op.f("ck_pitch_chart_kind_known")),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_pitch_chart_made_by_id_person")),
        sa.ForeignKeyConstraint(["raster_id"], ["kept_file.id"], name=op.f("fk_pitch_chart_raster_id_kept_file")),
        sa.ForeignKeyConstraint(["test_id"], ["pitch_test.id"], name=op.f("fk_pitch_chart_test_id_pitch_test")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pitch_chart")),
        sa.UniqueConstraint("code", name=op.f("uq_pitch_chart_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_pitch_chart_test_id"), "pitch_chart", ["test_id"], unique=False)
    op.create_table(
        "pitch_on_record",
        sa.Column("origin", sa.String(length=20), nullable=False),
        sa.Column("lpi", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("u_lpi", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("test_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("known_since", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("accepted_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("accepted_by_id", sa.Integer(), nullable=False),
        sa.Column("lens_lot_id", sa.Integer(), nullable=False),
        sa.Column("mode_id", sa.Integer(), nullable=False),
        sa.Column("paper_id", sa.Integer(), nullable=False),
        sa.Column("paper_lot_id", sa.Integer(), nullable=True),
        sa.Column("axis", sa.String(length=10), nullable=False),
        sa.Column("distance", logbook.records.base.LengthText(), nullable=True),
        sa.Column("lens_loose", sa.Boolean(), nullable=False),
        sa.Column("temperature_c", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("humidity_percent", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("axis IN ('across', 'down')", name=op.f("ck_pitch_on_record_axis_known")),
        sa.CheckConstraint(
            "origin IN ('test', 'carried over', 'nominal', 'forecast')", name=op.f("ck_pitch_on_record_origin_known")
        ),
        sa.ForeignKeyConstraint(
            ["accepted_by_id"], ["person.id"], name=op.f("fk_pitch_on_record_accepted_by_id_person")
        ),
        sa.ForeignKeyConstraint(["lens_lot_id"], ["lot.id"], name=op.f("fk_pitch_on_record_lens_lot_id_lot")),
        sa.ForeignKeyConstraint(["mode_id"], ["printer_mode.id"], name=op.f("fk_pitch_on_record_mode_id_printer_mode")),
        sa.ForeignKeyConstraint(["paper_id"], ["material.id"], name=op.f("fk_pitch_on_record_paper_id_material")),
        sa.ForeignKeyConstraint(["paper_lot_id"], ["lot.id"], name=op.f("fk_pitch_on_record_paper_lot_id_lot")),
        sa.ForeignKeyConstraint(["test_id"], ["pitch_test.id"], name=op.f("fk_pitch_on_record_test_id_pitch_test")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pitch_on_record")),
        sa.UniqueConstraint("code", name=op.f("uq_pitch_on_record_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_pitch_on_record_lens_lot_id"), "pitch_on_record", ["lens_lot_id"], unique=False)
    op.create_table(
        "proof",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("made_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.Column("picture_hashes", sa.Text(), nullable=False),
        sa.Column("specification", sa.Text(), nullable=False),
        sa.Column("animation_id", sa.Integer(), nullable=False),
        sa.Column("page_id", sa.Integer(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["animation_id"], ["kept_file.id"], name=op.f("fk_proof_animation_id_kept_file")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_proof_job_id_job")),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_proof_made_by_id_person")),
        sa.ForeignKeyConstraint(["page_id"], ["kept_file.id"], name=op.f("fk_proof_page_id_kept_file")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_proof")),
        sa.UniqueConstraint("code", name=op.f("uq_proof_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_proof_job_id"), "proof", ["job_id"], unique=False)
    op.create_table(
        "traveller_issue",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("made_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("cards", sa.Text(), nullable=False),
        sa.Column("head_seq", sa.Integer(), nullable=False),
        sa.Column("head_hash", sa.String(length=64), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["file_id"], ["kept_file.id"], name=op.f("fk_traveller_issue_file_id_kept_file")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_traveller_issue_job_id_job")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_traveller_issue_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_traveller_issue")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_traveller_issue_job_id"), "traveller_issue", ["job_id"], unique=False)
    op.create_table(
        "answer",
        sa.Column("proof_id", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(length=20), nullable=False),
        sa.Column("how", sa.String(length=20), nullable=False),
        sa.Column("given_by", sa.String(length=200), nullable=True),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("hash_key", sa.String(length=64), nullable=True),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("recorded_by_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("how IN ('e-mail', 'telephone', 'in person', 'link')", name=op.f("ck_answer_how_known")),
        sa.CheckConstraint("verdict IN ('approved', 'change')", name=op.f("ck_answer_verdict_known")),
        sa.ForeignKeyConstraint(["proof_id"], ["proof.id"], name=op.f("fk_answer_proof_id_proof")),
        sa.ForeignKeyConstraint(["recorded_by_id"], ["person.id"], name=op.f("fk_answer_recorded_by_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_answer")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_answer_proof_id"), "answer", ["proof_id"], unique=False)
    op.create_table(
        "job_pitch",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("pitch_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_job_pitch_job_id_job")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_job_pitch_person_id_person")),
        sa.ForeignKeyConstraint(
            ["pitch_id"], ["pitch_on_record.id"], name=op.f("fk_job_pitch_pitch_id_pitch_on_record")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_pitch")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_job_pitch_job_id"), "job_pitch", ["job_id"], unique=False)
    op.create_table(
        "pitch_reading",
        sa.Column("chart_id", sa.Integer(), nullable=False),
        sa.Column("band", sa.Integer(), nullable=False),
        sa.Column("lpi", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("fringes", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("words", sa.String(length=80), nullable=False),
        sa.Column("reader_id", sa.Integer(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("round", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["chart_id"], ["pitch_chart.id"], name=op.f("fk_pitch_reading_chart_id_pitch_chart")),
        sa.ForeignKeyConstraint(["reader_id"], ["person.id"], name=op.f("fk_pitch_reading_reader_id_person")),
        sa.ForeignKeyConstraint(
            ["replaces_id"], ["pitch_reading.id"], name=op.f("fk_pitch_reading_replaces_id_pitch_reading")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pitch_reading")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_pitch_reading_replaces_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_pitch_reading_chart_id"), "pitch_reading", ["chart_id"], unique=False)
    op.create_table(
        "pitch_withdrawal",
        sa.Column("pitch_id", sa.Integer(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_pitch_withdrawal_person_id_person")),
        sa.ForeignKeyConstraint(
            ["pitch_id"], ["pitch_on_record.id"], name=op.f("fk_pitch_withdrawal_pitch_id_pitch_on_record")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pitch_withdrawal")),
        sa.UniqueConstraint("pitch_id", name=op.f("uq_pitch_withdrawal_pitch_id")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "run",
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("sample", sa.Boolean(), nullable=False),
        sa.Column("pitch_id", sa.Integer(), nullable=False),
        sa.Column("pitch_lpi", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("lpi", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("u_lpi", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("pitch_reason", sa.Text(), nullable=False),
        sa.Column("lens_lot_id", sa.Integer(), nullable=False),
        sa.Column("mode_id", sa.Integer(), nullable=False),
        sa.Column("paper_id", sa.Integer(), nullable=False),
        sa.Column("recipe", sa.Text(), nullable=False),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("result", sa.Text(), nullable=True),
        sa.Column("output_id", sa.Integer(), nullable=True),
        sa.Column("pixels_sha256", sa.String(length=64), nullable=True),
        sa.Column("asked_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("asked_by_id", sa.Integer(), nullable=False),
        sa.Column("token", sa.String(length=32), nullable=True),
        sa.Column("lease_until", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("progress", sa.Integer(), nullable=False),
        sa.Column("started_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("ended_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("cancel_wanted", sa.Boolean(), nullable=False),
        sa.Column("trouble", sa.Text(), nullable=True),
        sa.Column("accepted_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("accepted_by_id", sa.Integer(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "state IN ('waiting', 'running', 'done', 'failed', 'cancelled')", name=op.f("ck_run_state_known")
        ),
        sa.ForeignKeyConstraint(["accepted_by_id"], ["person.id"], name=op.f("fk_run_accepted_by_id_person")),
        sa.ForeignKeyConstraint(["asked_by_id"], ["person.id"], name=op.f("fk_run_asked_by_id_person")),
        sa.ForeignKeyConstraint(["lens_lot_id"], ["lot.id"], name=op.f("fk_run_lens_lot_id_lot")),
        sa.ForeignKeyConstraint(["mode_id"], ["printer_mode.id"], name=op.f("fk_run_mode_id_printer_mode")),
        sa.ForeignKeyConstraint(["output_id"], ["kept_file.id"], name=op.f("fk_run_output_id_kept_file")),
        sa.ForeignKeyConstraint(["paper_id"], ["material.id"], name=op.f("fk_run_paper_id_material")),
        sa.ForeignKeyConstraint(["pitch_id"], ["pitch_on_record.id"], name=op.f("fk_run_pitch_id_pitch_on_record")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run")),
        sa.UniqueConstraint("code", name=op.f("uq_run_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_run_lens_lot_id"), "run", ["lens_lot_id"], unique=False)
    op.create_index(op.f("ix_run_pitch_id"), "run", ["pitch_id"], unique=False)
    op.create_index(
        "ix_run_unfinished", "run", ["state"], unique=False, sqlite_where=sa.text("state IN ('waiting', 'running')")
    )
    op.create_table(
        "run_piece",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("trim_dots", sa.String(length=80), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_run_piece_job_id_job")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_run_piece_run_id_run")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run_piece")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_run_piece_job_id"), "run_piece", ["job_id"], unique=False)
    op.create_index(op.f("ix_run_piece_run_id"), "run_piece", ["run_id"], unique=False)
    op.create_table(
        "sheet",
        sa.Column("number", sa.String(length=30), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("lens_lot_id", sa.Integer(), nullable=False),
        sa.Column("mode_id", sa.Integer(), nullable=True),
        sa.Column("paper_lot_id", sa.Integer(), nullable=True),
        sa.Column("adhesive_lot_id", sa.Integer(), nullable=True),
        sa.Column("stage", sa.String(length=20), nullable=False),
        sa.Column("started_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "stage IN ('print', 'dry', 'adhesive', 'laminate', 'dwell', 'parted', 'scrapped')",
            name=op.f("ck_sheet_stage_known"),
        ),
        sa.ForeignKeyConstraint(["adhesive_lot_id"], ["lot.id"], name=op.f("fk_sheet_adhesive_lot_id_lot")),
        sa.ForeignKeyConstraint(["lens_lot_id"], ["lot.id"], name=op.f("fk_sheet_lens_lot_id_lot")),
        sa.ForeignKeyConstraint(["mode_id"], ["printer_mode.id"], name=op.f("fk_sheet_mode_id_printer_mode")),
        sa.ForeignKeyConstraint(["paper_lot_id"], ["lot.id"], name=op.f("fk_sheet_paper_lot_id_lot")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_sheet_run_id_run")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sheet")),
        sa.UniqueConstraint("code", name=op.f("uq_sheet_code")),
        sa.UniqueConstraint("number", name=op.f("uq_sheet_number")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_sheet_adhesive_lot_id"), "sheet", ["adhesive_lot_id"], unique=False)
    op.create_index(op.f("ix_sheet_lens_lot_id"), "sheet", ["lens_lot_id"], unique=False)
    op.create_index(
        "ix_sheet_open", "sheet", ["stage"], unique=False, sqlite_where=sa.text("(stage NOT IN ('parted', 'scrapped'))")
    )
    op.create_index(op.f("ix_sheet_paper_lot_id"), "sheet", ["paper_lot_id"], unique=False)
    op.create_index(op.f("ix_sheet_run_id"), "sheet", ["run_id"], unique=False)
    op.create_table(
        "print",
        sa.Column("serial", sa.String(length=30), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("sample", sa.Boolean(), nullable=False),
        sa.Column("stage", sa.String(length=20), nullable=False),
        sa.Column("set_aside_reason", sa.Text(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "stage IN ('on sheet', 'trim', 'inspect', 'pack', 'gone', 'scrapped')", name=op.f("ck_print_stage_known")
        ),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_print_job_id_job")),
        sa.ForeignKeyConstraint(["replaces_id"], ["print.id"], name=op.f("fk_print_replaces_id_print")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_print_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_print")),
        sa.UniqueConstraint("code", name=op.f("uq_print_code")),
        sa.UniqueConstraint("serial", name=op.f("uq_print_serial")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_print_job_id"), "print", ["job_id"], unique=False)
    op.create_index(
        "ix_print_open", "print", ["stage"], unique=False, sqlite_where=sa.text("(stage NOT IN ('gone', 'scrapped'))")
    )
    op.create_index(op.f("ix_print_sheet_id"), "print", ["sheet_id"], unique=False)
    op.create_table(
        "stock_move",
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("change", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(length=60), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_stock_move_lot_id_lot")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_stock_move_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_move")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_stock_move_lot_id"), "stock_move", ["lot_id"], unique=False)
    op.create_table(
        "strip_reading",
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("band", sa.Integer(), nullable=False),
        sa.Column("lpi", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("fringes", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("reader_id", sa.Integer(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("distance", logbook.records.base.LengthText(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["reader_id"], ["person.id"], name=op.f("fk_strip_reading_reader_id_person")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_strip_reading_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_strip_reading")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_strip_reading_sheet_id"), "strip_reading", ["sheet_id"], unique=False)
    op.create_table(
        "departure",
        sa.Column("print_id", sa.Integer(), nullable=False),
        sa.Column("how", sa.String(length=20), nullable=False),
        sa.Column("carrier", sa.String(length=120), nullable=False),
        sa.Column("tracking", sa.String(length=120), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("how IN ('sent', 'collected', 'kept')", name=op.f("ck_departure_how_known")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_departure_person_id_person")),
        sa.ForeignKeyConstraint(["print_id"], ["print.id"], name=op.f("fk_departure_print_id_print")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_departure")),
        sa.UniqueConstraint("print_id", name=op.f("uq_departure_print_id")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "step_record",
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("print_id", sa.Integer(), nullable=True),
        sa.Column("stage", sa.String(length=20), nullable=False),
        sa.Column("step_key", sa.String(length=60), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("unit", sa.String(length=20), nullable=False),
        sa.Column("meaning", sa.String(length=20), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("source", sa.String(length=20), nullable=False),
        sa.Column("roller_session_id", sa.Integer(), nullable=True),
        sa.Column("machine_id", sa.Integer(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "source IN ('screen', 'paper', 'before the logbook')", name=op.f("ck_step_record_source_known")
        ),
        sa.CheckConstraint("(sheet_id IS NULL) <> (print_id IS NULL)", name=op.f("ck_step_record_one_subject")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_step_record_machine_id_machine")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_step_record_person_id_person")),
        sa.ForeignKeyConstraint(["print_id"], ["print.id"], name=op.f("fk_step_record_print_id_print")),
        sa.ForeignKeyConstraint(
            ["replaces_id"], ["step_record.id"], name=op.f("fk_step_record_replaces_id_step_record")
        ),
        sa.ForeignKeyConstraint(
            ["roller_session_id"], ["roller_session.id"], name=op.f("fk_step_record_roller_session_id_roller_session")
        ),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_step_record_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_step_record")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_step_record_replaces_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_step_record_print_id"), "step_record", ["print_id"], unique=False)
    op.create_index(op.f("ix_step_record_sheet_id"), "step_record", ["sheet_id"], unique=False)
    op.create_table(
        "verdict",
        sa.Column("print_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('scrap', 'concession', 'rework', 'replace')", name=op.f("ck_verdict_kind_known")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_verdict_person_id_person")),
        sa.ForeignKeyConstraint(["print_id"], ["print.id"], name=op.f("fk_verdict_print_id_print")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_verdict")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_verdict_print_id"), "verdict", ["print_id"], unique=False)
