"""Planned campaigns and their runs."""

import sqlalchemy as sa
from alembic import op

revision = "0029"
down_revision = "0028"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "plans",
        sa.Column("id", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("name", "goal", "answer")),
        sa.Column("room_id", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("channel", "aerosol", "starts_on")),
        sa.Column("runs_a_day", sa.Integer, nullable=False),
        sa.Column("seed", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("made_by", "made_at")),
        sa.PrimaryKeyConstraint("id", name="pk_plans"),
        sa.UniqueConstraint("name", name="uq_plans_name"),
        sa.ForeignKeyConstraint(["room_id"], ["rooms.id"], name="fk_plans_room_id_rooms"),
        sa.CheckConstraint("runs_a_day > 0", name=op.f("ck_plans_runs_a_day")),
        sqlite_strict=True,
    )
    op.create_table(
        "plan_lines",
        *(sa.Column(name, sa.Integer, nullable=False, autoincrement=False) for name in ("plan_id", "position")),
        *(sa.Column(name, sa.Integer, nullable=False) for name in ("day", "place")),
        sa.Column("setting_id", sa.Integer),
        sa.Column("minutes", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("plan_id", "position", name="pk_plan_lines"),
        sa.ForeignKeyConstraint(["plan_id"], ["plans.id"], name="fk_plan_lines_plan_id_plans", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["setting_id"], ["speed_settings.id"], name="fk_plan_lines_setting_id_speed_settings", ondelete="CASCADE"
        ),
        sa.CheckConstraint("day > 0 AND place > 0 AND minutes > 0", name=op.f("ck_plan_lines_above_zero")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    op.drop_table("plan_lines")
    op.drop_table("plans")
