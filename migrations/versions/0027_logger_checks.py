"""Checks of loggers beside a reference, in clean air or after switching on, and how often a logger is to be checked."""

import sqlalchemy as sa
from alembic import op

revision = "0027"
down_revision = "0026"
branch_labels = None
depends_on = None

_REAL = sa.Double().with_variant(sa.REAL(), "sqlite")


def upgrade() -> None:
    op.add_column("loggers", sa.Column("check_interval_days", sa.Integer, nullable=True))
    op.create_table(
        "logger_checks",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("logger_id", sa.Integer, nullable=False),
        sa.Column("reference_logger_id", sa.Integer, nullable=True),
        sa.Column("log_id", sa.Integer, nullable=False),
        sa.Column("reference_log_id", sa.Integer, nullable=True),
        sa.Column("channel", sa.Text, nullable=False),
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("checked_on", sa.Text, nullable=False),
        sa.Column("clean_from_min", _REAL, nullable=True),
        sa.Column("clean_to_min", _REAL, nullable=True),
        sa.Column("expected_offset_s", _REAL, nullable=False),
        sa.Column("checked_by", sa.Text, nullable=False),
        sa.Column("notes", sa.Text, nullable=False),
        sa.Column("created_at", sa.Text, nullable=False),
        sa.Column("clock_offset_s", _REAL, nullable=True),
        sa.Column("clock_offset_uncertainty_s", _REAL, nullable=True),
        sa.Column("averaging_s", _REAL, nullable=True),
        sa.Column("means", sa.Integer, nullable=True),
        sa.Column("highest_level", _REAL, nullable=True),
        sa.Column("slope", _REAL, nullable=True),
        sa.Column("slope_uncertainty", _REAL, nullable=True),
        sa.Column("slope_low_95", _REAL, nullable=True),
        sa.Column("slope_high_95", _REAL, nullable=True),
        sa.Column("intercept", _REAL, nullable=True),
        sa.Column("intercept_uncertainty", _REAL, nullable=True),
        sa.Column("intercept_low_95", _REAL, nullable=True),
        sa.Column("intercept_high_95", _REAL, nullable=True),
        sa.Column("curvature", _REAL, nullable=True),
        sa.Column("curvature_uncertainty", _REAL, nullable=True),
        sa.Column("curvature_low_95", _REAL, nullable=True),
        sa.Column("curvature_high_95", _REAL, nullable=True),
        sa.Column("departure_pct", _REAL, nullable=True),
        sa.Column("r_squared", _REAL, nullable=True),
        sa.Column("rmse", _REAL, nullable=True),
        sa.Column("nrmse_pct", _REAL, nullable=True),
        sa.Column("loggers_together", sa.Integer, nullable=True),
        sa.Column("precision_sd", _REAL, nullable=True),
        sa.Column("precision_cv_pct", _REAL, nullable=True),
        sa.Column("zero_level", _REAL, nullable=True),
        sa.Column("zero_level_uncertainty", _REAL, nullable=True),
        sa.Column("zero_level_low_95", _REAL, nullable=True),
        sa.Column("zero_level_high_95", _REAL, nullable=True),
        sa.Column("detection_limit", _REAL, nullable=True),
        sa.Column("detection_limit_low_95", _REAL, nullable=True),
        sa.Column("detection_limit_high_95", _REAL, nullable=True),
        sa.Column("settled_after_min", _REAL, nullable=True),
        sa.Column("first_excess", _REAL, nullable=True),
        sa.Column("saturated_readings", sa.Integer, nullable=False),
        sa.Column("result_notes", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_logger_checks"),
        sa.ForeignKeyConstraint(["logger_id"], ["loggers.id"], name="fk_logger_checks_logger_id_loggers"),
        sa.ForeignKeyConstraint(
            ["reference_logger_id"], ["loggers.id"], name="fk_logger_checks_reference_logger_id_loggers"
        ),
        sa.ForeignKeyConstraint(["log_id"], ["logs.id"], name="fk_logger_checks_log_id_logs"),
        sa.ForeignKeyConstraint(["reference_log_id"], ["logs.id"], name="fk_logger_checks_reference_log_id_logs"),
        sa.CheckConstraint("kind IN ('collocation', 'zero', 'warm-up')", name="kind"),
        sa.CheckConstraint("(reference_logger_id IS NULL) = (reference_log_id IS NULL)", name="reference"),
        sqlite_strict=True,
    )
    op.create_index("ix_logger_checks_logger", "logger_checks", ["logger_id", "checked_on"])


def downgrade() -> None:
    op.drop_table("logger_checks")
    op.drop_column("loggers", "check_interval_days")
