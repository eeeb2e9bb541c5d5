"""handing on: the language in which a worker reads"""

import sqlalchemy as sa
from alembic import op
from guards import guard_handed, guard_supplies

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("worker", sa.Column("language", sa.Text(), nullable=True))
    _make_hand_overs()
    guard_handed(op)
    _make_supplies()
    guard_supplies(op)


def _make_hand_overs() -> None:
    op.create_table(
        "hand_over",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=True),
        sa.Column("until_entry_id", sa.Integer(), nullable=False),
        sa.Column("sheets", sa.Integer(), nullable=False),
        sa.Column("corrections", sa.Integer(), nullable=False),
        sa.Column("exact_places", sa.Boolean(), nullable=False),
        sa.Column("with_names", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["made_by"], ["worker.id"], name=op.f("fk_hand_over_made_by_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hand_over")),
    )
    op.create_table(
        "handed_sheet",
        sa.Column("hand_over_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.Column("what", sa.Text(), nullable=True),
        sa.Column("told", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["corrects_id"], ["hand_over.id"], name=op.f("fk_handed_sheet_corrects_id_hand_over")),
        sa.ForeignKeyConstraint(
            ["hand_over_id"], ["hand_over.id"], name=op.f("fk_handed_sheet_hand_over_id_hand_over")
        ),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_handed_sheet_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("hand_over_id", "place", name=op.f("pk_handed_sheet")),
    )
    op.create_index(op.f("ix_handed_sheet_sheet_id"), "handed_sheet", ["sheet_id"])
    op.create_table(
        "hand_over_word",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("hand_over_id", sa.Integer(), nullable=False),
        sa.Column("deed", sa.Text(), nullable=False),
        sa.Column("said_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("said_by", sa.Integer(), nullable=True),
        sa.Column("words", sa.Text(), nullable=False),
        sa.CheckConstraint("deed IN ('made', 'received', 'called-back')", name=op.f("ck_hand_over_word_deed")),
        sa.ForeignKeyConstraint(
            ["hand_over_id"], ["hand_over.id"], name=op.f("fk_hand_over_word_hand_over_id_hand_over")
        ),
        sa.ForeignKeyConstraint(["said_by"], ["worker.id"], name=op.f("fk_hand_over_word_said_by_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hand_over_word")),
        sa.UniqueConstraint("hand_over_id", "deed", name=op.f("uq_hand_over_word_hand_over_id_deed")),
    )


def _make_supplies() -> None:
    op.create_table(
        "supply",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("holds", sa.Integer(), nullable=False),
        sa.Column("adhesive_id", sa.Integer(), nullable=True),
        sa.Column("pack", sa.Integer(), nullable=False),
        sa.Column("order_below", sa.Integer(), nullable=False),
        sa.Column("lead_weeks", sa.Integer(), nullable=False),
        sa.Column("supplier", sa.Text(), nullable=True),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "holds >= 1 AND pack >= 1 AND order_below >= 0 AND lead_weeks >= 0", name=op.f("ck_supply_sizes")
        ),
        sa.CheckConstraint("(kind = 'adhesive') = (adhesive_id IS NOT NULL)", name=op.f("ck_supply_adhesive")),
        sa.ForeignKeyConstraint(["adhesive_id"], ["adhesive.id"], name=op.f("fk_supply_adhesive_id_adhesive")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supply")),
    )
    op.create_table(
        "lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("supply_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("number_key", sa.Text(), nullable=False),
        sa.Column("label_on", sa.Date(), nullable=True),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["supply_id"], ["supply.id"], name=op.f("fk_lot_supply_id_supply")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot")),
        sa.UniqueConstraint("code", name=op.f("uq_lot_code")),
        sa.UniqueConstraint("supply_id", "number_key", name=op.f("uq_lot_supply_id_number_key")),
    )
    _make_supply_entries()
    _make_lot_openings()


def _make_supply_entries() -> None:
    op.create_table(
        "supply_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("supply_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("thousandths", sa.Integer(), nullable=False),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_by", sa.Integer(), nullable=True),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("supplier", sa.Text(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.CheckConstraint("kind IN ('count', 'came', 'taken', 'void')", name=op.f("ck_supply_entry_kind")),
        sa.CheckConstraint("thousandths >= 0", name=op.f("ck_supply_entry_thousandths")),
        sa.ForeignKeyConstraint(["corrects"], ["supply_entry.id"], name=op.f("fk_supply_entry_corrects_supply_entry")),
        sa.ForeignKeyConstraint(["entered_by"], ["worker.id"], name=op.f("fk_supply_entry_entered_by_worker")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_supply_entry_lot_id_lot")),
        sa.ForeignKeyConstraint(["supply_id"], ["supply.id"], name=op.f("fk_supply_entry_supply_id_supply")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supply_entry")),
    )
    op.create_index("ix_supply_entry_supply", "supply_entry", ["supply_id", "happened_at"])
    _index_corrects("supply_entry")


def _make_lot_openings() -> None:
    op.create_table(
        "lot_opening",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("adhesive_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("opened_by", sa.Integer(), nullable=True),
        sa.Column("scan_id", sa.Text(), nullable=True),
        sa.Column("adhesive_before_id", sa.Integer(), nullable=True),
        sa.Column("is_void", sa.Boolean(), nullable=False),
        sa.Column("why", sa.Text(), nullable=True),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["adhesive_before_id"], ["adhesive.id"], name=op.f("fk_lot_opening_adhesive_before_id_adhesive")
        ),
        sa.ForeignKeyConstraint(["adhesive_id"], ["adhesive.id"], name=op.f("fk_lot_opening_adhesive_id_adhesive")),
        sa.ForeignKeyConstraint(["corrects"], ["lot_opening.id"], name=op.f("fk_lot_opening_corrects_lot_opening")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_lot_opening_lot_id_lot")),
        sa.ForeignKeyConstraint(["opened_by"], ["worker.id"], name=op.f("fk_lot_opening_opened_by_worker")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_lot_opening_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_opening")),
    )
    op.create_index("ix_lot_opening_station", "lot_opening", ["station_id", "opened_at"])
    _index_corrects("lot_opening")


def _index_corrects(table: str) -> None:
    stands = sa.text("corrects IS NOT NULL")
    op.create_index(
        f"ix_{table}_corrects", table, ["corrects"], unique=True, sqlite_where=stands, postgresql_where=stands
    )


def downgrade() -> None:
    raise RuntimeError("Blotter does not go back to an older revision. Restore the copy made before the upgrade.")
