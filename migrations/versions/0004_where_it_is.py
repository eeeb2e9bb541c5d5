"""where it is and whether it is safe, and what comes in: cabinet checks, pests, freezer loads, near names, files, dryers"""

import sqlalchemy as sa
from alembic import op
from guards import guard_checks

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    _change_tables()
    _make_tables()
    _make_tables_of_files()
    guard_checks(op)


def _change_tables() -> None:
    op.add_column("cabinet", sa.Column("unclean_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("cabinet", sa.Column("freezes_to_c", sa.Float(), nullable=True))
    op.add_column("cabinet", sa.Column("last_at", sa.DateTime(timezone=True), nullable=True))

    with op.batch_alter_table("freezer_load") as batch_op:
        batch_op.add_column(sa.Column("freezer_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("made_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.add_column(sa.Column("cold_from", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("rule_c", sa.Float(), nullable=True))
        batch_op.add_column(sa.Column("rule_days", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("treated", sa.Boolean(), nullable=True))
        batch_op.create_index(
            "ix_freezer_load_open",
            ["put_in_at"],
            sqlite_where=sa.text("opened_at IS NULL"),
            postgresql_where=sa.text("opened_at IS NULL"),
        )
        batch_op.create_foreign_key(batch_op.f("fk_freezer_load_freezer_id_cabinet"), "cabinet", ["freezer_id"], ["id"])

    op.add_column("cabinet", sa.Column("is_dryer", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.add_column("bundle", sa.Column("dryer_id", sa.Integer(), nullable=True))
    op.add_column("consignment", sa.Column("note", sa.Text(), nullable=True))
    op.add_column("specimen", sa.Column("exchange_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("specimen", sa.Column("exchange_why", sa.Text(), nullable=True))
    op.add_column("station", sa.Column("uses", sa.JSON(), nullable=True))
    op.add_column("station", sa.Column("check_id", sa.Integer(), nullable=True))
    op.add_column("sheet", sa.Column("treated_left_s", sa.Integer(), nullable=True))


def _make_tables() -> None:
    op.create_table(
        "near_name",
        sa.Column("piece", sa.Text(), nullable=False),
        sa.Column("plant_name_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_name_id"], ["plant_name.id"], name=op.f("fk_near_name_plant_name_id_plant_name")
        ),
        sa.PrimaryKeyConstraint("piece", "plant_name_id", name=op.f("pk_near_name")),
        sqlite_with_rowid=False,
    )

    op.create_table(
        "load_bundle",
        sa.Column("load_id", sa.Integer(), nullable=False),
        sa.Column("bundle_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["bundle_id"], ["bundle.id"], name=op.f("fk_load_bundle_bundle_id_bundle")),
        sa.ForeignKeyConstraint(["load_id"], ["freezer_load.id"], name=op.f("fk_load_bundle_load_id_freezer_load")),
        sa.PrimaryKeyConstraint("load_id", "bundle_id", name=op.f("pk_load_bundle")),
    )

    op.create_index(op.f("ix_load_bundle_bundle_id"), "load_bundle", ["bundle_id"])

    op.create_table(
        "cabinet_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cabinet_id", sa.Integer(), nullable=False),
        sa.Column("shelf_id", sa.Integer(), nullable=True),
        sa.Column("sample", sa.Integer(), nullable=True),
        sa.Column("seed", sa.Integer(), nullable=True),
        sa.Column("begun_entry_id", sa.Integer(), nullable=False),
        sa.Column("begun_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("begun_by", sa.Integer(), nullable=True),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_by", sa.Integer(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["begun_by"], ["worker.id"], name=op.f("fk_cabinet_check_begun_by_worker")),
        sa.ForeignKeyConstraint(["cabinet_id"], ["cabinet.id"], name=op.f("fk_cabinet_check_cabinet_id_cabinet")),
        sa.ForeignKeyConstraint(["closed_by"], ["worker.id"], name=op.f("fk_cabinet_check_closed_by_worker")),
        sa.ForeignKeyConstraint(["shelf_id"], ["shelf.id"], name=op.f("fk_cabinet_check_shelf_id_shelf")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_cabinet_check_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cabinet_check")),
    )

    op.create_index(op.f("ix_cabinet_check_cabinet_id"), "cabinet_check", ["cabinet_id"])
    op.create_index(
        "ix_cabinet_check_open",
        "cabinet_check",
        ["begun_at"],
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )

    op.create_table(
        "named_for",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("hazard", sa.Text(), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=True),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("named_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("named_by", sa.Integer(), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["ended_by"], ["worker.id"], name=op.f("fk_named_for_ended_by_worker")),
        sa.ForeignKeyConstraint(["named_by"], ["worker.id"], name=op.f("fk_named_for_named_by_worker")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_named_for_station_id_station")),
        sa.ForeignKeyConstraint(["worker_id"], ["worker.id"], name=op.f("fk_named_for_worker_id_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_named_for")),
    )

    op.create_index(op.f("ix_named_for_worker_id"), "named_for", ["worker_id"])

    op.create_table(
        "check_expected",
        sa.Column("check_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("shelf_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["check_id"], ["cabinet_check.id"], name=op.f("fk_check_expected_check_id_cabinet_check")
        ),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_check_expected_sheet_id_sheet")),
        sa.ForeignKeyConstraint(["shelf_id"], ["shelf.id"], name=op.f("fk_check_expected_shelf_id_shelf")),
        sa.PrimaryKeyConstraint("check_id", "sheet_id", name=op.f("pk_check_expected")),
        sqlite_with_rowid=False,
    )

    op.create_index(op.f("ix_check_expected_sheet_id"), "check_expected", ["sheet_id"])

    op.create_table(
        "check_seen",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("check_id", sa.Integer(), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("text", sa.Text(), nullable=True),
        sa.Column("shelf_id", sa.Integer(), nullable=True),
        sa.Column("worker_id", sa.Integer(), nullable=True),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("scan_id", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["check_id"], ["cabinet_check.id"], name=op.f("fk_check_seen_check_id_cabinet_check")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_check_seen_sheet_id_sheet")),
        sa.ForeignKeyConstraint(["shelf_id"], ["shelf.id"], name=op.f("fk_check_seen_shelf_id_shelf")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_check_seen_station_id_station")),
        sa.ForeignKeyConstraint(["worker_id"], ["worker.id"], name=op.f("fk_check_seen_worker_id_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_seen")),
    )

    op.create_index("ix_check_seen_check", "check_seen", ["check_id", "sheet_id"])
    op.create_index(op.f("ix_check_seen_sheet_id"), "check_seen", ["sheet_id"])

    op.create_table(
        "pest_seen",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("cabinet_id", sa.Integer(), nullable=True),
        sa.Column("consignment_id", sa.Integer(), nullable=True),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_by", sa.Integer(), nullable=True),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("what", sa.Text(), nullable=True),
        sa.Column("since_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("quarantined", sa.Integer(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_by", sa.Integer(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["cabinet_id"], ["cabinet.id"], name=op.f("fk_pest_seen_cabinet_id_cabinet")),
        sa.ForeignKeyConstraint(["closed_by"], ["worker.id"], name=op.f("fk_pest_seen_closed_by_worker")),
        sa.ForeignKeyConstraint(
            ["consignment_id"], ["consignment.id"], name=op.f("fk_pest_seen_consignment_id_consignment")
        ),
        sa.ForeignKeyConstraint(["seen_by"], ["worker.id"], name=op.f("fk_pest_seen_seen_by_worker")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_pest_seen_sheet_id_sheet")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_pest_seen_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pest_seen")),
    )

    op.create_index(
        "ix_pest_seen_open",
        "pest_seen",
        ["seen_at"],
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
    op.create_index(op.f("ix_pest_seen_sheet_id"), "pest_seen", ["sheet_id"])


def _make_tables_of_files() -> None:
    op.create_table(
        "family_order",
        sa.Column("family_key", sa.Text(), nullable=False),
        sa.Column("family", sa.Text(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("family_key", name=op.f("pk_family_order")),
    )
    op.create_table(
        "column_map",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source_key", sa.Text(), nullable=False),
        sa.Column("headings", sa.Text(), nullable=False),
        sa.Column("mapping", sa.JSON(), nullable=False),
        sa.Column("kept_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("kept_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["kept_by"], ["worker.id"], name=op.f("fk_column_map_kept_by_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_column_map")),
        sa.UniqueConstraint("source_key", "headings", name=op.f("uq_column_map_source_key_headings")),
    )
    op.create_table(
        "temperature",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cabinet_id", sa.Integer(), nullable=False),
        sa.Column("read_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("read_by", sa.Integer(), nullable=True),
        sa.Column("celsius", sa.Float(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["cabinet_id"], ["cabinet.id"], name=op.f("fk_temperature_cabinet_id_cabinet")),
        sa.ForeignKeyConstraint(["read_by"], ["worker.id"], name=op.f("fk_temperature_read_by_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_temperature")),
    )
    op.create_index("ix_temperature_cabinet", "temperature", ["cabinet_id", "read_at"])
    op.create_table(
        "taken_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("consignment_id", sa.Integer(), nullable=False),
        sa.Column("mapping", sa.JSON(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_by", sa.Integer(), nullable=True),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["consignment_id"], ["consignment.id"], name=op.f("fk_taken_file_consignment_id_consignment")
        ),
        sa.ForeignKeyConstraint(["sent_by"], ["worker.id"], name=op.f("fk_taken_file_sent_by_worker")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_taken_file_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_taken_file")),
    )
    op.create_index(op.f("ix_taken_file_consignment_id"), "taken_file", ["consignment_id"])
    op.create_index(op.f("ix_taken_file_digest"), "taken_file", ["digest"])
    op.create_table(
        "taken_row",
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("said", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["file_id"], ["taken_file.id"], name=op.f("fk_taken_row_file_id_taken_file")),
        sa.PrimaryKeyConstraint("file_id", "place", name=op.f("pk_taken_row")),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_taken_row_number", "taken_row", ["number"])


def downgrade() -> None:
    raise RuntimeError("Blotter does not go back to an older revision. Restore the copy made before the upgrade.")
