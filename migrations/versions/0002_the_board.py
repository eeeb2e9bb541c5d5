"""the board: lines put aside, sheets wanted and sheets out, and stays counted by cabinet

The sums of stays are folded from the log, so they are left empty here and made anew when the room is next opened: only
then is its time zone known.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

# Where a sheet last lay in its stage, for those that are not in a cabinet now: read off the entries that stand.
KEPT_IN = """UPDATE sheet SET kept_in_id = coalesce(cabinet_id, (
    SELECT lay.to_cabinet_id FROM entry AS lay
    WHERE lay.subject_kind = 'sheet' AND lay.subject_id = sheet.id AND lay.to_cabinet_id IS NOT NULL
    AND lay.to_stage = sheet.stage AND lay.happened_at >= sheet.came_at
    AND NOT EXISTS (SELECT 1 FROM entry AS later WHERE later.corrects = lay.id)
    ORDER BY lay.happened_at DESC, lay.id DESC LIMIT 1))"""
# What was asked for a sheet so far keeps its reason; by whom stood there as a name and not as a worker.
WANTED = """INSERT INTO wanted (sheet_id, asked_at, why)
    SELECT id, wanted_at, coalesce(wanted_why, 'wanted') || coalesce(', by ' || wanted_by, '')
    FROM sheet WHERE wanted_at IS NOT NULL"""
ANEW = """INSERT INTO setting (name, value) SELECT 'sums', 'to be made anew' WHERE EXISTS (SELECT 1 FROM entry)"""


def upgrade() -> None:
    op.create_table(
        "put_aside",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("many", sa.Integer(), nullable=False),
        sa.Column("aside_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("aside_by", sa.Integer(), nullable=True),
        sa.Column("until_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["aside_by"], ["worker.id"], name=op.f("fk_put_aside_aside_by_worker")),
        sa.ForeignKeyConstraint(["ended_by"], ["worker.id"], name=op.f("fk_put_aside_ended_by_worker")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_put_aside")),
    )
    op.create_index("ix_put_aside_open", "put_aside", ["until_at"], **_where("ended_at IS NULL"))
    op.create_table(
        "wanted",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("asked_by", sa.Integer(), nullable=True),
        sa.Column("needed_on", sa.Date(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_by", sa.Integer(), nullable=True),
        sa.Column("how", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["asked_by"], ["worker.id"], name=op.f("fk_wanted_asked_by_worker")),
        sa.ForeignKeyConstraint(["ended_by"], ["worker.id"], name=op.f("fk_wanted_ended_by_worker")),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_wanted_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wanted")),
    )
    op.create_index(op.f("ix_wanted_sheet_id"), "wanted", ["sheet_id"])
    op.add_column("hold", sa.Column("with_whom", sa.Text(), nullable=True))
    op.add_column("hold", sa.Column("due_on", sa.Date(), nullable=True))
    op.create_index("ix_hold_kind_open", "hold", ["kind", "put_at"], **_where("lifted_at IS NULL"))
    op.add_column("sheet", sa.Column("kept_in_id", sa.Integer(), nullable=True))
    op.execute(KEPT_IN)
    op.execute(WANTED)
    op.drop_column("sheet", "wanted_by")
    op.drop_column("sheet", "wanted_why")
    op.create_index("ix_sheet_loose", "sheet", ["cabinet_id"], **_where("shelf_id IS NULL"))
    op.create_index("ix_sheet_wanted", "sheet", ["wanted_at"], **_where("wanted_at IS NOT NULL"))
    op.drop_table("tally_stay")
    op.create_table(
        "tally_stay",
        sa.Column("week", sa.Text(), nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("cabinet_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("hours", sa.Integer(), nullable=False),
        sa.Column("stays", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("week", "stage", "cabinet_id", "hours", name=op.f("pk_tally_stay")),
    )
    op.execute(ANEW)


def downgrade() -> None:
    raise RuntimeError("Blotter does not go back to an older revision. Restore the copy made before the upgrade.")


def _where(condition: str) -> dict[str, sa.TextClause]:
    return {"sqlite_where": sa.text(condition), "postgresql_where": sa.text(condition)}
