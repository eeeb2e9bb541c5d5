"""${message}

Three rules: plain types only, nothing from app; forward only; after a table of the log was rebuilt, guard_entries(op).
"""

from alembic import op
import sqlalchemy as sa

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    raise RuntimeError("Blotter does not go back to an older revision. Restore the copy made before the upgrade.")
