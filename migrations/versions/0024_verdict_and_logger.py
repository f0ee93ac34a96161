"""Results of unusable trials obey their verdict, and summaries name the logger of their trials.

Methods before 2.0 stored the rate and times of trials that they called unusable. They are removed here, as later
methods never store them, and each removal is recorded. The raw logs stay, so `hazefall recompute` judges such a
trial again. Times to clear of summaries written before 2.0 may include such a trial; they are empty until the next
update.
"""

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"
branch_labels = None
depends_on = None

# Numbers whose removal is recorded, and what goes with them.
RECORDED = (
    "total_decay_per_h", "clean_air_delivery_rate_m3_per_h", "standard_clearing_time_min", "time_to_clear_min",
    "not_cleared_before_min", "predicted_clear_min",
)  # fmt: skip
WITH_THEM = (
    "total_decay_uncertainty_per_h", "total_decay_degrees_of_freedom", "statistical_uncertainty_per_h",
    "window_sensitivity_per_h", "humidity_uncertainty_per_h", "background_drift_uncertainty_per_h",
    "warm_up_uncertainty_per_h", "background_level", "background_uncertainty", "amplitude", "amplitude_uncertainty",
    "covariance_background_amplitude", "covariance_background_rate", "covariance_amplitude_rate", "r_squared",
    "residual_spread", "lag_one_autocorrelation", "pool_id", "clean_air_delivery_rate_uncertainty",
    "clean_air_delivery_rate_degrees_of_freedom", "clean_air_delivery_rate_low_95", "clean_air_delivery_rate_high_95",
    "standard_clearing_time_uncertainty_min", "standard_clearing_time_low_95_min", "standard_clearing_time_high_95_min",
    "time_to_clear_uncertainty_min", "predicted_clear_uncertainty_min",
)  # fmt: skip
OF_SUMMARIES = (
    "time_to_clear_min", "time_to_clear_low_min", "time_to_clear_high_min", "not_cleared_before_min",
    "start_level_low", "start_level_high",
)  # fmt: skip
CHANGES = sa.table(
    "changes", *map(sa.column, ("at", "who", "action", "subject", "subject_id", "field", "before", "after", "why"))
)


def upgrade() -> None:
    op.add_column("setting_summaries", sa.Column("logger_id", sa.Integer, nullable=True))
    connection = op.get_bind()
    some = " OR ".join(f"{name} IS NOT NULL" for name in RECORDED)
    rows = connection.execute(
        sa.text(f"SELECT trial_id, channel, {', '.join(RECORDED)} FROM channel_results WHERE usable = 0 AND ({some})")
    ).all()
    if not rows:
        return
    common = {
        "at": f"{datetime.now(UTC).replace(tzinfo=None).isoformat(timespec='microseconds')}Z",
        "who": "desk",
        "action": "recomputed",
        "subject": "trial",
        "after": None,
        "why": "the trial is unusable, so it has no result",
    }
    connection.execute(
        sa.insert(CHANGES),
        [
            {**common, "subject_id": trial_id, "field": f"{channel} {name}", "before": f"{value:.6g}"}
            for trial_id, channel, *values in rows
            for name, value in zip(RECORDED, values, strict=True)
            if value is not None
        ],
    )
    # their notes say the rate
    op.execute(
        "DELETE FROM result_notes WHERE code IN ('no_measurable_cleaning', 'no_standard_clearing_time') "
        f"AND result_id IN (SELECT id FROM channel_results WHERE usable = 0 AND ({some}))"
    )
    empty = ", ".join(f"{name} = NULL" for name in (*RECORDED, *WITH_THEM))
    op.execute(
        f"UPDATE channel_results SET {empty}, fit_converged = 0, cleared = 0, "
        "why_not = CASE WHEN why_not = '' THEN 'The trial is unusable.' ELSE why_not END "
        f"WHERE usable = 0 AND ({some})"
    )
    emptied = ", ".join(f"{name} = NULL" for name in OF_SUMMARIES)
    op.execute(
        f"UPDATE setting_summaries SET {emptied} WHERE method_version < '2' AND EXISTS ("
        "SELECT 1 FROM trials JOIN channel_results ON channel_results.trial_id = trials.id "
        "WHERE trials.setting_id = setting_summaries.setting_id AND trials.room_id = setting_summaries.room_id "
        "AND channel_results.channel = setting_summaries.channel AND channel_results.usable = 0)"
    )


def downgrade() -> None:
    op.drop_column("setting_summaries", "logger_id")
