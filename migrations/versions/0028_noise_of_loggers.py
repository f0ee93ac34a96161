"""Results carry what was known of the logger's noise, and what they show of it."""

import sqlalchemy as sa
from alembic import op

revision = "0028"
down_revision = "0027"
branch_labels = None
depends_on = None

COLUMNS = (
    ("noise_prior", sa.Text()),
    ("noise_prior_trials", sa.Integer()),
    ("noise_evidence", sa.Text()),
    ("noise_learned", sa.Integer()),
)


def upgrade() -> None:
    for name, kind in COLUMNS:
        op.add_column("channel_results", sa.Column(name, kind, nullable=True))


def downgrade() -> None:
    for name, _ in reversed(COLUMNS):
        op.drop_column("channel_results", name)
