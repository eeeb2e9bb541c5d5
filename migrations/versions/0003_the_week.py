"""the week: how a time at a station ended, hours kept as sums only, names that were given up; the queue's index covers more"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("attendance", sa.Column("ended_how", sa.Text(), nullable=True))
    op.create_index("ix_attendance_signed_in", "attendance", ["signed_in_at"])
    op.add_column("worker", sa.Column("name_gone_at", sa.DateTime(timezone=True), nullable=True))
    op.create_table(
        "hours_sum",
        sa.Column("month", sa.Text(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("seconds", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_hours_sum_station_id_station")),
        sa.PrimaryKeyConstraint("month", "station_id", name=op.f("pk_hours_sum")),
    )
    op.drop_index("ix_sheet_queue", table_name="sheet")
    where = sa.text("in_queue")
    op.create_index(
        "ix_sheet_queue",
        "sheet",
        ["stage", "cabinet_id", "came_at", "holds", "outcome", "fresh", "method", "papers_at", "shelf_id", "bundle_id"],
        sqlite_where=where,
        postgresql_where=where,
    )


def downgrade() -> None:
    raise RuntimeError("Blotter does not go back to an older revision. Restore the copy made before the upgrade.")
