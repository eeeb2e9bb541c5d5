"""first schema

Three rules: plain types only, nothing from app; forward only; after a table of the log was rebuilt, guard_entries(op).
"""

import sqlalchemy as sa
from alembic import op
from guards import guard_entries

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "adhesive",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("class", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=True),
        sa.Column("dilution", sa.Text(), nullable=True),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_adhesive")),
        sa.UniqueConstraint("code", name=op.f("uq_adhesive_code")),
    )
    op.create_table(
        "bundle",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("pressed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bundle")),
        sa.UniqueConstraint("code", name=op.f("uq_bundle_code")),
    )
    op.create_table(
        "cabinet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("stage", sa.Text(), nullable=True),
        sa.Column("is_clean", sa.Boolean(), nullable=False),
        sa.Column("capacity", sa.Integer(), nullable=True),
        sa.Column("limit_open_days", sa.Integer(), nullable=True),
        sa.Column("walk", sa.Integer(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cabinet")),
        sa.UniqueConstraint("code", name=op.f("uq_cabinet_code")),
        sa.UniqueConstraint("name", name=op.f("uq_cabinet_name")),
    )
    op.create_table(
        "calendar_day",
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("is_open", sa.Boolean(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("day", name=op.f("pk_calendar_day")),
    )
    op.create_table(
        "collector",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("search_key", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_collector")),
        sa.UniqueConstraint("name", name=op.f("uq_collector_name")),
    )
    with op.batch_alter_table("collector", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_collector_search_key"), ["search_key"], unique=False)

    op.create_table(
        "consignment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("papers", sa.Text(), nullable=True),
        sa.Column("arrived_on", sa.Date(), nullable=True),
        sa.Column("sheets_said", sa.Integer(), nullable=True),
        sa.Column("place_in_order", sa.Integer(), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_consignment")),
        sa.UniqueConstraint("code", name=op.f("uq_consignment_code")),
    )
    op.create_table(
        "heartbeat",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("beat_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("confirmed_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_heartbeat")),
    )
    op.create_table(
        "log_in",
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("failed_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name_key", name=op.f("pk_log_in")),
    )
    op.create_table(
        "number_pattern",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("prefix", sa.Text(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("has_check", sa.Boolean(), nullable=False),
        sa.Column("mints", sa.Boolean(), nullable=False),
        sa.Column("minted", sa.Integer(), nullable=False),
        sa.Column("is_practice", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_number_pattern")),
        sa.UniqueConstraint("prefix", "width", name=op.f("uq_number_pattern_prefix_width")),
    )
    op.create_table(
        "plant_name",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("authorship", sa.Text(), nullable=True),
        sa.Column("family", sa.Text(), nullable=True),
        sa.Column("search_key", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plant_name")),
    )
    with op.batch_alter_table("plant_name", schema=None) as batch_op:
        batch_op.create_index("ix_plant_name_name", ["name"], unique=False)
        batch_op.create_index(batch_op.f("ix_plant_name_search_key"), ["search_key"], unique=False)

    op.create_table(
        "setting",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_setting")),
    )
    op.create_table(
        "stack",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("code_on", sa.Text(), nullable=False),
        sa.Column("code_off", sa.Text(), nullable=False),
        sa.Column("capacity", sa.Integer(), nullable=False),
        sa.Column("mass_kg", sa.Float(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("weights_on", sa.Boolean(), nullable=False),
        sa.Column("turned_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("seen_on_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("next_layer", sa.Integer(), nullable=False),
        sa.Column("counted", sa.Integer(), nullable=True),
        sa.Column("counted_of", sa.Integer(), nullable=True),
        sa.Column("counted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stack")),
        sa.UniqueConstraint("code_off", name=op.f("uq_stack_code_off")),
        sa.UniqueConstraint("code_on", name=op.f("uq_stack_code_on")),
        sa.UniqueConstraint("name", name=op.f("uq_stack_name")),
    )
    op.create_table(
        "tally_stay",
        sa.Column("week", sa.Text(), nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("hours", sa.Integer(), nullable=False),
        sa.Column("stays", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("week", "stage", "hours", name=op.f("pk_tally_stay")),
    )
    op.create_table(
        "worker",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("rights", sa.Text(), nullable=False),
        sa.Column("badge_code", sa.Text(), nullable=True),
        sa.Column("badge_since_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("pin_hash", sa.Text(), nullable=True),
        sa.Column("password_hash", sa.Text(), nullable=True),
        sa.Column("password_changed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_worker")),
        sa.UniqueConstraint("badge_code", name=op.f("uq_worker_badge_code")),
        sa.UniqueConstraint("number", name=op.f("uq_worker_number")),
    )
    with op.batch_alter_table("worker", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_worker_name_key"), ["name_key"], unique=False)

    op.create_table(
        "change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("changed_by", sa.Integer(), nullable=True),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("old", sa.Text(), nullable=True),
        sa.Column("new", sa.Text(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["changed_by"], ["worker.id"], name=op.f("fk_change_changed_by_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change")),
    )
    op.create_table(
        "freezer_load",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("bundle_id", sa.Integer(), nullable=True),
        sa.Column("put_in_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("cold_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("out_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("lowest_c", sa.Float(), nullable=True),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["bundle_id"], ["bundle.id"], name=op.f("fk_freezer_load_bundle_id_bundle")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_freezer_load")),
        sa.UniqueConstraint("code", name=op.f("uq_freezer_load_code")),
    )
    op.create_table(
        "gathering",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("collector_id", sa.Integer(), nullable=True),
        sa.Column("record_number", sa.Text(), nullable=True),
        sa.Column("event_date", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["collector_id"], ["collector.id"], name=op.f("fk_gathering_collector_id_collector")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gathering")),
    )
    with op.batch_alter_table("gathering", schema=None) as batch_op:
        batch_op.create_index("ix_gathering_collector_number", ["collector_id", "record_number"], unique=False)

    op.create_table(
        "house_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Integer(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["set_by"], ["worker.id"], name=op.f("fk_house_rule_set_by_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_house_rule")),
        sa.UniqueConstraint("version", "name", name=op.f("uq_house_rule_version_name")),
    )
    with op.batch_alter_table("house_rule", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_house_rule_version"), ["version"], unique=False)

    op.create_table(
        "shelf",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cabinet_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("capacity", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["cabinet_id"], ["cabinet.id"], name=op.f("fk_shelf_cabinet_id_cabinet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shelf")),
        sa.UniqueConstraint("cabinet_id", "name", name=op.f("uq_shelf_cabinet_id_name")),
        sa.UniqueConstraint("code", name=op.f("uq_shelf_code")),
    )
    op.create_table(
        "sign_off",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("difficulty", sa.Text(), nullable=False),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signed_by", sa.Integer(), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["ended_by"], ["worker.id"], name=op.f("fk_sign_off_ended_by_worker")),
        sa.ForeignKeyConstraint(["signed_by"], ["worker.id"], name=op.f("fk_sign_off_signed_by_worker")),
        sa.ForeignKeyConstraint(["worker_id"], ["worker.id"], name=op.f("fk_sign_off_worker_id_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_off")),
    )
    with op.batch_alter_table("sign_off", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_off_worker_id"), ["worker_id"], unique=False)

    op.create_table(
        "tally_day",
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("sheets", sa.Integer(), nullable=False),
        sa.Column("credit_60", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["worker_id"], ["worker.id"], name=op.f("fk_tally_day_worker_id_worker")),
        sa.PrimaryKeyConstraint("day", "worker_id", "step", name=op.f("pk_tally_day")),
    )
    op.create_table(
        "weight_span",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stack_id", sa.Integer(), nullable=False),
        sa.Column("on_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("off_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["stack_id"], ["stack.id"], name=op.f("fk_weight_span_stack_id_stack")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_weight_span")),
    )
    with op.batch_alter_table("weight_span", schema=None) as batch_op:
        batch_op.create_index("ix_weight_span_stack", ["stack_id", "off_at"], unique=False)

    op.create_table(
        "specimen",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("gathering_id", sa.Integer(), nullable=True),
        sa.Column("sheets", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["gathering_id"], ["gathering.id"], name=op.f("fk_specimen_gathering_id_gathering")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_specimen")),
    )
    with op.batch_alter_table("specimen", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_specimen_gathering_id"), ["gathering_id"], unique=False)

    op.create_table(
        "station",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("slug", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("steps", sa.JSON(), nullable=False),
        sa.Column("is_practice", sa.Boolean(), nullable=False),
        sa.Column("secret_hash", sa.Text(), nullable=True),
        sa.Column("enrolled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("enrolled_by", sa.Integer(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("clear_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("adhesive_id", sa.Integer(), nullable=True),
        sa.Column("bulk", sa.Text(), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("cabinet_id", sa.Integer(), nullable=True),
        sa.Column("shelf_id", sa.Integer(), nullable=True),
        sa.Column("stack_id", sa.Integer(), nullable=True),
        sa.Column("bundle_id", sa.Integer(), nullable=True),
        sa.Column("consignment_id", sa.Integer(), nullable=True),
        sa.Column("last_sheet_id", sa.Integer(), nullable=True),
        sa.Column("last_code", sa.Text(), nullable=True),
        sa.Column("last_code_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("pending", sa.JSON(), nullable=True),
        sa.Column("in_round", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["adhesive_id"], ["adhesive.id"], name=op.f("fk_station_adhesive_id_adhesive")),
        sa.ForeignKeyConstraint(["bundle_id"], ["bundle.id"], name=op.f("fk_station_bundle_id_bundle")),
        sa.ForeignKeyConstraint(["cabinet_id"], ["cabinet.id"], name=op.f("fk_station_cabinet_id_cabinet")),
        sa.ForeignKeyConstraint(
            ["consignment_id"], ["consignment.id"], name=op.f("fk_station_consignment_id_consignment")
        ),
        sa.ForeignKeyConstraint(["enrolled_by"], ["worker.id"], name=op.f("fk_station_enrolled_by_worker")),
        sa.ForeignKeyConstraint(["shelf_id"], ["shelf.id"], name=op.f("fk_station_shelf_id_shelf")),
        sa.ForeignKeyConstraint(["stack_id"], ["stack.id"], name=op.f("fk_station_stack_id_stack")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_station")),
        sa.UniqueConstraint("code", name=op.f("uq_station_code")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_station_secret_hash")),
        sa.UniqueConstraint("slug", name=op.f("uq_station_slug")),
    )
    op.create_table(
        "attendance",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("signed_in_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signed_out_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("beside_id", sa.Integer(), nullable=True),
        sa.Column("how", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["beside_id"], ["worker.id"], name=op.f("fk_attendance_beside_id_worker")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_attendance_station_id_station")),
        sa.ForeignKeyConstraint(["worker_id"], ["worker.id"], name=op.f("fk_attendance_worker_id_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attendance")),
    )
    with op.batch_alter_table("attendance", schema=None) as batch_op:
        batch_op.create_index(
            "ix_attendance_station_open",
            ["station_id"],
            unique=False,
            sqlite_where=sa.text("signed_out_at IS NULL"),
            postgresql_where=sa.text("signed_out_at IS NULL"),
        )
        batch_op.create_index(batch_op.f("ix_attendance_worker_id"), ["worker_id"], unique=False)

    op.create_table(
        "scan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scan_id", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("answer", sa.JSON(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_scan_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scan")),
        sa.UniqueConstraint("scan_id", name=op.f("uq_scan_scan_id")),
    )
    with op.batch_alter_table("scan", schema=None) as batch_op:
        batch_op.create_index("ix_scan_station_received", ["station_id", "received_at"], unique=False)

    op.create_table(
        "sheet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("consignment_id", sa.Integer(), nullable=True),
        sa.Column("specimen_id", sa.Integer(), nullable=True),
        sa.Column("part", sa.Integer(), nullable=False),
        sa.Column("plant_name_id", sa.Integer(), nullable=True),
        sa.Column("collector_id", sa.Integer(), nullable=True),
        sa.Column("record_number", sa.Text(), nullable=True),
        sa.Column("event_date", sa.Text(), nullable=True),
        sa.Column("locality", sa.Text(), nullable=True),
        sa.Column("is_sensitive", sa.Boolean(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("kept", sa.JSON(), nullable=True),
        sa.Column("has_label", sa.Boolean(), nullable=False),
        sa.Column("wanted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("wanted_by", sa.Text(), nullable=True),
        sa.Column("wanted_why", sa.Text(), nullable=True),
        sa.Column("treated_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("stage", sa.Text(), nullable=True),
        sa.Column("came_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("cabinet_id", sa.Integer(), nullable=True),
        sa.Column("shelf_id", sa.Integer(), nullable=True),
        sa.Column("bundle_id", sa.Integer(), nullable=True),
        sa.Column("table_id", sa.Integer(), nullable=True),
        sa.Column("stack_id", sa.Integer(), nullable=True),
        sa.Column("layer", sa.Integer(), nullable=True),
        sa.Column("bulk", sa.Text(), nullable=False),
        sa.Column("fresh", sa.Boolean(), nullable=False),
        sa.Column("adhesive_id", sa.Integer(), nullable=True),
        sa.Column("minimum_s", sa.Integer(), nullable=True),
        sa.Column("rule_version", sa.Integer(), nullable=True),
        sa.Column("glued_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("pressed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("papers_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("unmounted", sa.Text(), nullable=True),
        sa.Column("without_weight", sa.Boolean(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=True),
        sa.Column("inspected_by", sa.JSON(), nullable=False),
        sa.Column("mounted_by", sa.JSON(), nullable=False),
        sa.Column("mended_by", sa.JSON(), nullable=False),
        sa.Column("holds", sa.Text(), nullable=False),
        sa.Column("closed_as", sa.Text(), nullable=True),
        sa.Column("in_queue", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["adhesive_id"], ["adhesive.id"], name=op.f("fk_sheet_adhesive_id_adhesive")),
        sa.ForeignKeyConstraint(["bundle_id"], ["bundle.id"], name=op.f("fk_sheet_bundle_id_bundle")),
        sa.ForeignKeyConstraint(["cabinet_id"], ["cabinet.id"], name=op.f("fk_sheet_cabinet_id_cabinet")),
        sa.ForeignKeyConstraint(["collector_id"], ["collector.id"], name=op.f("fk_sheet_collector_id_collector")),
        sa.ForeignKeyConstraint(
            ["consignment_id"], ["consignment.id"], name=op.f("fk_sheet_consignment_id_consignment")
        ),
        sa.ForeignKeyConstraint(["plant_name_id"], ["plant_name.id"], name=op.f("fk_sheet_plant_name_id_plant_name")),
        sa.ForeignKeyConstraint(["shelf_id"], ["shelf.id"], name=op.f("fk_sheet_shelf_id_shelf")),
        sa.ForeignKeyConstraint(["specimen_id"], ["specimen.id"], name=op.f("fk_sheet_specimen_id_specimen")),
        sa.ForeignKeyConstraint(["stack_id"], ["stack.id"], name=op.f("fk_sheet_stack_id_stack")),
        sa.ForeignKeyConstraint(["table_id"], ["station.id"], name=op.f("fk_sheet_table_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sheet")),
        sa.UniqueConstraint("number", name=op.f("uq_sheet_number")),
    )
    with op.batch_alter_table("sheet", schema=None) as batch_op:
        batch_op.create_index(
            "ix_sheet_bundle",
            ["bundle_id"],
            unique=False,
            sqlite_where=sa.text("bundle_id IS NOT NULL"),
            postgresql_where=sa.text("bundle_id IS NOT NULL"),
        )
        batch_op.create_index("ix_sheet_collector_number", ["collector_id", "record_number"], unique=False)
        batch_op.create_index(batch_op.f("ix_sheet_consignment_id"), ["consignment_id"], unique=False)
        batch_op.create_index(
            "ix_sheet_oldest",
            ["came_at"],
            unique=False,
            sqlite_where=sa.text("in_queue"),
            postgresql_where=sa.text("in_queue"),
        )
        batch_op.create_index(batch_op.f("ix_sheet_plant_name_id"), ["plant_name_id"], unique=False)
        batch_op.create_index(
            "ix_sheet_queue",
            ["stage", "cabinet_id", "came_at", "holds", "outcome"],
            unique=False,
            sqlite_where=sa.text("in_queue"),
            postgresql_where=sa.text("in_queue"),
        )
        batch_op.create_index("ix_sheet_record_number", ["record_number"], unique=False)
        batch_op.create_index("ix_sheet_shelf", ["shelf_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sheet_specimen_id"), ["specimen_id"], unique=False)
        batch_op.create_index(
            "ix_sheet_stack",
            ["stack_id"],
            unique=False,
            sqlite_where=sa.text("stack_id IS NOT NULL"),
            postgresql_where=sa.text("stack_id IS NOT NULL"),
        )
        batch_op.create_index(
            "ix_sheet_table",
            ["table_id"],
            unique=False,
            sqlite_where=sa.text("table_id IS NOT NULL"),
            postgresql_where=sa.text("table_id IS NOT NULL"),
        )

    op.create_table(
        "sighting",
        sa.Column("subject_kind", sa.Text(), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("worker_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_sighting_station_id_station")),
        sa.ForeignKeyConstraint(["worker_id"], ["worker.id"], name=op.f("fk_sighting_worker_id_worker")),
        sa.PrimaryKeyConstraint("subject_kind", "subject_id", name=op.f("pk_sighting")),
    )
    op.create_table(
        "token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("secret_hash", sa.Text(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("worker_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("scope IN ('read', 'scan', 'manage')", name=op.f("ck_token_scope")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_token_station_id_station")),
        sa.ForeignKeyConstraint(["worker_id"], ["worker.id"], name=op.f("fk_token_worker_id_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_token_secret_hash")),
    )
    op.create_table(
        "entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("subject_kind", sa.Text(), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("from_stage", sa.Text(), nullable=True),
        sa.Column("to_stage", sa.Text(), nullable=True),
        sa.Column("from_cabinet_id", sa.Integer(), nullable=True),
        sa.Column("from_shelf_id", sa.Integer(), nullable=True),
        sa.Column("from_stack_id", sa.Integer(), nullable=True),
        sa.Column("from_layer", sa.Integer(), nullable=True),
        sa.Column("to_cabinet_id", sa.Integer(), nullable=True),
        sa.Column("to_shelf_id", sa.Integer(), nullable=True),
        sa.Column("to_bundle_id", sa.Integer(), nullable=True),
        sa.Column("to_table_id", sa.Integer(), nullable=True),
        sa.Column("to_stack_id", sa.Integer(), nullable=True),
        sa.Column("to_layer", sa.Integer(), nullable=True),
        sa.Column("came_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("is_late", sa.Boolean(), nullable=False),
        sa.Column("after_the_fact", sa.Boolean(), nullable=False),
        sa.Column("time_from", sa.Text(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("token_id", sa.Integer(), nullable=True),
        sa.Column("scan_id", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.Column("early_by_s", sa.Integer(), nullable=True),
        sa.Column("minimum_s", sa.Integer(), nullable=True),
        sa.Column("rule_version", sa.Integer(), nullable=True),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.CheckConstraint("subject_kind IN ('sheet', 'stack', 'load', 'cabinet')", name=op.f("ck_entry_subject_kind")),
        sa.ForeignKeyConstraint(["corrects"], ["entry.id"], name=op.f("fk_entry_corrects_entry")),
        sa.ForeignKeyConstraint(
            ["scan_id"], ["scan.scan_id"], name=op.f("fk_entry_scan_id_scan"), initially="DEFERRED", deferrable=True
        ),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_entry_station_id_station")),
        sa.ForeignKeyConstraint(["token_id"], ["token.id"], name=op.f("fk_entry_token_id_token")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_entry")),
    )
    with op.batch_alter_table("entry", schema=None) as batch_op:
        batch_op.create_index(
            "ix_entry_corrects",
            ["corrects"],
            unique=True,
            sqlite_where=sa.text("corrects IS NOT NULL"),
            postgresql_where=sa.text("corrects IS NOT NULL"),
        )
        batch_op.create_index("ix_entry_happened", ["happened_at", "step"], unique=False)
        batch_op.create_index(
            "ix_entry_scan",
            ["scan_id"],
            unique=False,
            sqlite_where=sa.text("scan_id IS NOT NULL"),
            postgresql_where=sa.text("scan_id IS NOT NULL"),
        )
        batch_op.create_index("ix_entry_subject", ["subject_kind", "subject_id", "happened_at"], unique=False)

    op.create_table(
        "former_number",
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("until_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_former_number_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_former_number")),
    )
    with op.batch_alter_table("former_number", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_former_number_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "hazard",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("consignment_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("said_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("said_by", sa.Integer(), nullable=True),
        sa.Column("cleared_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("cleared_by", sa.Integer(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["cleared_by"], ["worker.id"], name=op.f("fk_hazard_cleared_by_worker")),
        sa.ForeignKeyConstraint(
            ["consignment_id"], ["consignment.id"], name=op.f("fk_hazard_consignment_id_consignment")
        ),
        sa.ForeignKeyConstraint(["said_by"], ["worker.id"], name=op.f("fk_hazard_said_by_worker")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_hazard_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hazard")),
        sa.UniqueConstraint(
            "sheet_id", "consignment_id", "kind", "said_at", name=op.f("uq_hazard_sheet_id_consignment_id_kind_said_at")
        ),
    )
    with op.batch_alter_table("hazard", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_hazard_consignment_id"), ["consignment_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_hazard_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "refusal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("refused_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("step", sa.Text(), nullable=True),
        sa.Column("codes", sa.Text(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("kept", sa.Text(), nullable=True),
        sa.Column("length", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_refusal_sheet_id_sheet")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_refusal_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_refusal")),
    )
    with op.batch_alter_table("refusal", schema=None) as batch_op:
        batch_op.create_index("ix_refusal_refused", ["refused_at"], unique=False)

    op.create_table(
        "doubt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("by_entry_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("short_s", sa.Integer(), nullable=False),
        sa.Column("raised_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("settled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("settled_by", sa.Integer(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["by_entry_id"], ["entry.id"], name=op.f("fk_doubt_by_entry_id_entry")),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"], name=op.f("fk_doubt_entry_id_entry")),
        sa.ForeignKeyConstraint(["settled_by"], ["worker.id"], name=op.f("fk_doubt_settled_by_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_doubt")),
    )
    with op.batch_alter_table("doubt", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_doubt_entry_id"), ["entry_id"], unique=False)

    op.create_table(
        "entry_worker",
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("share", sa.Integer(), nullable=False),
        sa.Column("shares", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"], name=op.f("fk_entry_worker_entry_id_entry")),
        sa.ForeignKeyConstraint(["worker_id"], ["worker.id"], name=op.f("fk_entry_worker_worker_id_worker")),
        sa.PrimaryKeyConstraint("entry_id", "worker_id", name=op.f("pk_entry_worker")),
    )
    with op.batch_alter_table("entry_worker", schema=None) as batch_op:
        batch_op.create_index("ix_entry_worker_worker", ["worker_id", "entry_id"], unique=False)

    op.create_table(
        "hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("put_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("put_entry_id", sa.Integer(), nullable=False),
        sa.Column("lifted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("lifted_entry_id", sa.Integer(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["lifted_entry_id"], ["entry.id"], name=op.f("fk_hold_lifted_entry_id_entry")),
        sa.ForeignKeyConstraint(["put_entry_id"], ["entry.id"], name=op.f("fk_hold_put_entry_id_entry")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_hold_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hold")),
    )
    with op.batch_alter_table("hold", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_hold_lifted_entry_id"), ["lifted_entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_hold_put_entry_id"), ["put_entry_id"], unique=False)
        batch_op.create_index("ix_hold_sheet_open", ["sheet_id", "lifted_at"], unique=False)

    op.create_table(
        "inspection",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("mount_entry_id", sa.Integer(), nullable=True),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("inspected_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["entry_id"], ["entry.id"], name=op.f("fk_inspection_entry_id_entry")),
        sa.ForeignKeyConstraint(["mount_entry_id"], ["entry.id"], name=op.f("fk_inspection_mount_entry_id_entry")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_inspection_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_inspection")),
        sa.UniqueConstraint("entry_id", name=op.f("uq_inspection_entry_id")),
    )
    with op.batch_alter_table("inspection", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_inspection_mount_entry_id"), ["mount_entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_inspection_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "layer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("stack_id", sa.Integer(), nullable=False),
        sa.Column("layer", sa.Integer(), nullable=False),
        sa.Column("laid_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("out_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("laid_entry_id", sa.Integer(), nullable=False),
        sa.Column("out_entry_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["laid_entry_id"], ["entry.id"], name=op.f("fk_layer_laid_entry_id_entry")),
        sa.ForeignKeyConstraint(["out_entry_id"], ["entry.id"], name=op.f("fk_layer_out_entry_id_entry")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_layer_sheet_id_sheet")),
        sa.ForeignKeyConstraint(["stack_id"], ["stack.id"], name=op.f("fk_layer_stack_id_stack")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_layer")),
        sa.UniqueConstraint("stack_id", "layer", name=op.f("uq_layer_stack_id_layer")),
    )
    with op.batch_alter_table("layer", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_layer_laid_entry_id"), ["laid_entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_layer_out_entry_id"), ["out_entry_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_layer_sheet_id"), ["sheet_id"], unique=False)
        batch_op.create_index(
            "ix_layer_stack_lying",
            ["stack_id"],
            unique=False,
            sqlite_where=sa.text("out_at IS NULL"),
            postgresql_where=sa.text("out_at IS NULL"),
        )
        batch_op.create_index("ix_layer_stack_out", ["stack_id", "out_at"], unique=False)

    op.create_table(
        "finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("inspection_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("at_x", sa.Integer(), nullable=True),
        sa.Column("at_y", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("marks", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(["inspection_id"], ["inspection.id"], name=op.f("fk_finding_inspection_id_inspection")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finding")),
    )
    with op.batch_alter_table("finding", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_finding_inspection_id"), ["inspection_id"], unique=False)

    guard_entries(op)


def downgrade() -> None:
    raise RuntimeError("Blotter does not go back to an older revision. Restore the copy made before the upgrade.")
