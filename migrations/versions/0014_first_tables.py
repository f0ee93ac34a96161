"""The tables of a bench: the first revision.

It is numbered 0014 because the revisions 0001 to 0013, before version 0.2.0, led here step by step. A store at 0013 has
these very tables and is only marked anew; `services/store/open.py` does that and refuses older ones.

A later migration that rebuilds a table whose changes are counted (batch mode) drops its triggers and has to make them
again.
"""

from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = None
branch_labels = None
depends_on = None

TABLES = sa.MetaData(
    naming_convention={
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)
REAL = sa.Double().with_variant(sa.REAL(), "sqlite")
ROW_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _table(name: str, *parts: sa.schema.SchemaItem | Iterable[sa.Column[Any]]) -> None:
    """Adds a table; the columns of one type that follow each other come as a list."""
    items = [item for part in parts for item in ([part] if isinstance(part, sa.schema.SchemaItem) else part)]
    sa.Table(name, TABLES, *items, sqlite_strict=True)


def _columns(type_: Any, names: str, nullable: bool) -> list[sa.Column[Any]]:
    return [sa.Column(name, type_, nullable=nullable) for name in names.split()]


def _text(names: str, *, nullable: bool = False) -> list[sa.Column[Any]]:
    return _columns(sa.Text, names, nullable)


def _real(names: str, *, nullable: bool = False) -> list[sa.Column[Any]]:
    return _columns(REAL, names, nullable)


def _whole(names: str, *, nullable: bool = False) -> list[sa.Column[Any]]:
    return _columns(sa.Integer, names, nullable)


def _key(name: str, type_: Any = sa.Integer) -> sa.Column[Any]:
    return sa.Column(name, type_, primary_key=True)


def _refers(
    name: str, to: str, type_: Any = sa.Integer, *, ondelete: str | None = None, **more: bool
) -> sa.Column[Any]:
    return sa.Column(name, type_, sa.ForeignKey(to, ondelete=ondelete), **{"nullable": False, **more})


def _of_unit() -> sa.Column[Any]:
    return _refers("unit_under_test_id", "units_under_test.id", ondelete="CASCADE")


def _check(name: str, condition: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(condition, name=name)


# fmt: off
_table(
    "raw_files", _key("sha256", sa.Text), _whole("size_bytes"),
    sa.Column("content", sa.LargeBinary, nullable=False), _text("stored_at"),
    _check("sha256", "length(sha256) = 64"),
)
_table(
    "logger_profiles", _key("id"), _text("name timezone box"), _whole("day_first", nullable=True),
    _text("created_at"),
    sa.UniqueConstraint("name"),
)
_table(
    "logger_profile_columns", _refers("profile_id", "logger_profiles.id", ondelete="CASCADE", primary_key=True),
    _key("header", sa.Text), _text("channel file_unit"),
)
_table(
    "loggers", _key("id"), _text("name"),
    _refers("profile_id", "logger_profiles.id", ondelete="SET NULL", nullable=True), _text("principle"),
    _real("response_time_s saturation_level_ug_m3", nullable=True), _text("calibration notes"),
    sa.UniqueConstraint("name"),
)
_table(
    "logs", _key("id"), _refers("sha256", "raw_files.sha256", sa.Text),
    _text("file_name encoding delimiter decimal_mark"), _whole("header_line"), _text("timezone box"),
    _whole("day_first", nullable=True),
    _refers("profile_id", "logger_profiles.id", ondelete="SET NULL", nullable=True), _text("started_at"),
    _whole("clock_is_known"), _real("interval_s"), _whole("readings rows_skipped"), _text("notes stored_at"),
    sa.Column("first_reading", ROW_NUMBER),
    sa.Index("ix_logs_sha256", "sha256"),
)
_table(
    "log_channels", _refers("log_id", "logs.id", ondelete="CASCADE", primary_key=True), _key("position"),
    _text("channel unit file_header file_unit"), _whole("held_values"),
    sa.UniqueConstraint("log_id", "channel"),
)
_table(
    "readings", sa.Column("id", ROW_NUMBER, primary_key=True, autoincrement=False), _real("elapsed_s"),
    _real(" ".join(f"value_{number:02d}" for number in range(1, 17)), nullable=True),
)
_table(
    "rooms", _key("id"), _text("name"), _real("length_m width_m height_m", nullable=True),
    _real("room_volume_m3 room_volume_uncertainty_m3"), _text("furniture notes"),
    _check("room_volume_m3", "room_volume_m3 > 0"),
    _check("room_volume_uncertainty_m3", "room_volume_uncertainty_m3 >= 0"), sa.UniqueConstraint("name"),
)
_table(
    "smoke_sources", _key("id"), _text("name aerosol notes"),
    _check("aerosol", "aerosol IN ('smoke', 'dust', 'pollen')"), sa.UniqueConstraint("name"),
)
_table(
    "tariffs", _key("id"), _text("region currency"), _real("price_per_kwh"),
    _text("valid_from source standing"),
    _check("currency", "length(currency) = 3"), _check("price_per_kwh", "price_per_kwh >= 0"),
    sa.UniqueConstraint("region", "valid_from"),
)
_table(
    "bench", _key("id"), _text("name"), _whole("invented"),
    _text("scenario timezone currency clear_level_kind"), _real("clear_level_value standard_distance_m"),
    _text("sound_correction_rule"), _whole("natural_decay_stale_after_days"),
    _real("hours_per_day days_per_year"), _refers("tariff_id", "tariffs.id", nullable=True),
    _text("main_channel publication publication_font publication_ink publication_accent"),
    _check("one_row", "id = 1"),
)
_table(
    "bench_repeatability", _key("channel", sa.Text), _real("relative_sd degrees_of_freedom"),
    _whole("groups trials"), _text("source computed_at"),
    sa.Column("relative_fit_sd", REAL, nullable=False, server_default="0"),
    _check("relative_sd", "relative_sd >= 0"),
)
_table(
    "units_under_test", _key("id"), _text("maker model kind"), _whole("makes_ozone"),
    _text("consumables_state"), _real("width_mm depth_mm height_mm mass_kg", nullable=True),
    _text("bought_on", nullable=True), _text("bought_from serial_number notes created_at"),
    _text("trashed_at", nullable=True),
    _check("consumables_state", "consumables_state IN ('unknown', 'none needed', 'listed')"),
    _check("named", "length(maker) > 0 AND length(model) > 0"), sa.UniqueConstraint("maker", "model"),
)
_table(
    "speed_settings", _key("id"), _of_unit(), _text("name"), _whole("position is_highest"),
    sa.UniqueConstraint("unit_under_test_id", "name"),
)
_table(
    "prices", _key("id"), _of_unit(), _real("amount"), _text("currency seen_on source"),
    _check("amount", "amount >= 0"), _check("currency", "length(currency) = 3"),
    sa.Index("ix_prices_unit_seen", "unit_under_test_id", "seen_on"),
)
_table(
    "consumables", _key("id"), _of_unit(), _text("name kind"), _whole("washable pieces_in_use pack_size"),
    _real("life_months life_running_hours", nullable=True), _text("life_source notes"),
    _check("life_months", "life_months IS NULL OR life_months > 0"),
    _check("life_running_hours", "life_running_hours IS NULL OR life_running_hours > 0"),
    _check("pieces", "pack_size > 0 AND pieces_in_use > 0"), sa.UniqueConstraint("unit_under_test_id", "name"),
)
_table(
    "consumable_prices", _key("id"), _refers("consumable_id", "consumables.id", ondelete="CASCADE"),
    _real("amount"), _text("currency seen_on source"),
    _check("amount", "amount >= 0"), _check("currency", "length(currency) = 3"),
    sa.Index("ix_consumable_prices_consumable_id", "consumable_id"),
)
_table(
    "ozone_tests", _key("id"), _of_unit(), _real("ozone_ppb"), _whole("below_detection"),
    _text("method tested_on source"),
    _check("ozone_ppb", "ozone_ppb >= 0"), sa.Index("ix_ozone_tests_unit_under_test_id", "unit_under_test_id"),
)
_table(
    "ratings", _key("id"), _of_unit(), _text("aerosol"), _whole("listed"),
    _real("clean_air_delivery_rate_m3_per_h stated_value", nullable=True),
    _text("stated_unit sister_model test_standard edition source seen_on"),
    _check("aerosol", "aerosol IN ('smoke', 'dust', 'pollen')"),
    _check("listed_has_rate", "listed = 0 OR clean_air_delivery_rate_m3_per_h IS NOT NULL"),
    sa.Index("ix_ratings_unit_under_test_id", "unit_under_test_id"),
)
_table(
    "claims", _key("id"), _of_unit(), _text("quantity"), _real("value", nullable=True),
    _text("unit_symbol bound"), _refers("setting_id", "speed_settings.id", ondelete="SET NULL", nullable=True),
    _text("aerosol"), _real("distance_m room_area_m2", nullable=True), _text("wording where_seen seen_on"),
    sa.Index("ix_claims_unit_under_test_id", "unit_under_test_id"),
)
_table(
    "power_measurements", _key("id"), _of_unit(),
    _refers("setting_id", "speed_settings.id", ondelete="CASCADE", nullable=True),
    _real("power_w uncertainty_w"), _text("instrument measured_on measured_by"),
    _refers("log_id", "logs.id", nullable=True), _text("notes"),
    _check("power_w", "power_w >= 0"), _check("uncertainty_w", "uncertainty_w >= 0"),
    sa.Index("ix_power_measurements_unit", "unit_under_test_id", "setting_id"),
)
_table(
    "sound_measurements", _key("id"), _of_unit(),
    _refers("setting_id", "speed_settings.id", ondelete="CASCADE"), _real("level_dba"),
    _real("background_dba", nullable=True), _real("distance_m"),
    _text("position environment instrument instrument_class measured_on measured_by notes"),
    _check("distance_m", "distance_m > 0"), _check("environment", "environment IN ('free field', 'indoor')"),
    sa.Index("ix_sound_measurements_unit", "unit_under_test_id", "setting_id"),
)
_table(
    "sound_clips", _key("id"), _of_unit(), _refers("setting_id", "speed_settings.id", ondelete="CASCADE"),
    _refers("sha256", "raw_files.sha256", sa.Text), _text("file_name"), _whole("channel"),
    _text("recorded_on recorded_by instrument"), _real("distance_m"), _text("calibration_kind"),
    _real("calibration_level_db", nullable=True),
    _refers("calibration_sha256", "raw_files.sha256", sa.Text, nullable=True),
    _real("calibration_tone_hz pascal_per_unit", nullable=True),
    _real("duration_s sample_rate_hz equivalent_level_dba fast_maximum_dba l10_dba l90_dba peak"),
    _whole("overloaded"), _text("tone_method character_words cautions notes stored_at"),
    _check("calibrated", "(calibration_kind = 'none') = (pascal_per_unit IS NULL)"),
    _check("calibration_kind", "calibration_kind IN ('none', 'tone', 'known level')"),
    _check("distance_m", "distance_m > 0"), sa.UniqueConstraint("setting_id", "sha256"),
    sa.Index("ix_sound_clips_unit", "unit_under_test_id", "setting_id"),
)
_table(
    "sound_clip_bands", _refers("clip_id", "sound_clips.id", ondelete="CASCADE", primary_key=True),
    _key("nominal_hz", REAL), _real("level_db level_dba"),
)
_table(
    "sound_clip_tones", _refers("clip_id", "sound_clips.id", ondelete="CASCADE", primary_key=True),
    _key("rank"), _real("frequency_hz prominence_ratio_db criterion_db"), _whole("prominent"),
)
_table(
    "trials", _key("id"), _text("kind"), _refers("unit_under_test_id", "units_under_test.id", nullable=True),
    _refers("setting_id", "speed_settings.id", nullable=True), _refers("room_id", "rooms.id"),
    _refers("smoke_source_id", "smoke_sources.id", nullable=True),
    _refers("logger_id", "loggers.id", nullable=True), _refers("log_id", "logs.id"),
    _text("started_at tested_by filter_state"),
    _real("smoke_start_s unit_on_s fit_start_s fit_end_s end_s background_ug_m3", nullable=True),
    _text("clear_level_kind", nullable=True), _real("clear_level_value", nullable=True), _text("notes"),
    _text("excluded_at", nullable=True), _text("excluded_by excluded_why created_at"),
    _text("trashed_at", nullable=True),
    _check("excluded_why", "excluded_at IS NULL OR length(excluded_why) > 0"),
    _check("kind", "kind IN ('unit running', 'empty room')"),
    _check("kind_has_unit", "(kind = 'unit running') = (unit_under_test_id IS NOT NULL AND setting_id IS NOT NULL)"),
    sa.Index("ix_trials_room", "room_id", "kind"), sa.Index("ix_trials_unit", "unit_under_test_id", "setting_id"),
)
_table(
    "natural_decay_pools", _key("id"), _refers("room_id", "rooms.id"), _text("channel"),
    _real("natural_decay_per_h uncertainty_per_h"), _real("degrees_of_freedom", nullable=True),
    _real("between_run_sd_per_h"), _whole("number_of_runs"), _text("first_run_on last_run_on method_version"),
    sa.Column("between_run_source", sa.Text, nullable=False, server_default=""),
    _real("on_one_day_uncertainty_per_h on_one_day_degrees_of_freedom heterogeneity_p", nullable=True),
    sa.Index("ix_natural_decay_pools_room", "room_id", "channel"),
)
_table(
    "natural_decay_pool_runs", _refers("pool_id", "natural_decay_pools.id", ondelete="CASCADE", primary_key=True),
    _refers("trial_id", "trials.id", ondelete="CASCADE", primary_key=True), _real("weight"),
)
_table(
    "channel_results", _key("id"), _refers("trial_id", "trials.id", ondelete="CASCADE"),
    _text("channel unit method_version computed_at"), _whole("usable"),
    _real("smoke_start_s peak_s", nullable=True), _real("unit_on_s"), _whole("unit_on_found"),
    _real("end_s interval_s"), _whole("readings"), _real("start_level peak_level end_level"),
    _whole("fit_converged"), _text("why_not"), _real("background_level background_uncertainty", nullable=True),
    _text("background_choice"),
    _real("amplitude amplitude_uncertainty covariance_background_amplitude", nullable=True),
    _real("covariance_background_rate covariance_amplitude_rate fit_window_start_min", nullable=True),
    _real("fit_window_end_min", nullable=True), _whole("readings_fitted"),
    _real("total_decay_per_h total_decay_uncertainty_per_h total_decay_degrees_of_freedom", nullable=True),
    _real("statistical_uncertainty_per_h window_sensitivity_per_h r_squared residual_spread", nullable=True),
    _real("lag_one_autocorrelation", nullable=True),
    _refers("pool_id", "natural_decay_pools.id", nullable=True),
    _real("clean_air_delivery_rate_m3_per_h clean_air_delivery_rate_uncertainty", nullable=True),
    _real("clean_air_delivery_rate_degrees_of_freedom clean_air_delivery_rate_low_95", nullable=True),
    _real("clean_air_delivery_rate_high_95", nullable=True), _real("clear_level"), _whole("cleared"),
    _real("time_to_clear_min not_cleared_before_min predicted_clear_min", nullable=True),
    _real("predicted_clear_uncertainty_min standard_clearing_time_min", nullable=True),
    _real("standard_clearing_time_uncertainty_min standard_clearing_time_low_95_min", nullable=True),
    _real("standard_clearing_time_high_95_min relative_humidity_pct start_level_uncertainty", nullable=True),
    _real("time_to_clear_uncertainty_min humidity_uncertainty_per_h", nullable=True),
    sa.UniqueConstraint("trial_id", "channel"), sa.Index("ix_channel_results_pool", "pool_id"),
)
_table(
    "result_notes", _refers("result_id", "channel_results.id", ondelete="CASCADE", primary_key=True),
    _key("position"), _text("code severity message"), _real("value limit", nullable=True), _text("unit"),
    _real("at_min", nullable=True),
    _check("severity", "severity IN ('fine', 'care', 'unusable')"),
)
_table(
    "setting_summaries", _key("id"), _of_unit(), _refers("setting_id", "speed_settings.id", ondelete="CASCADE"),
    _refers("room_id", "rooms.id", ondelete="CASCADE"), _text("channel aerosol method_version computed_at"),
    _whole("trials usable_trials excluded_trials censored_trials latest_trial_id"),
    _text("latest_trial_on worst_severity"),
    _real("total_decay_per_h total_decay_uncertainty_per_h total_decay_degrees_of_freedom", nullable=True),
    _real("between_trial_sd_per_h", nullable=True), _text("between_trial_source"), _whole("heterogeneous"),
    _refers("pool_id", "natural_decay_pools.id", nullable=True),
    _real("clean_air_delivery_rate_m3_per_h clean_air_delivery_rate_uncertainty", nullable=True),
    _real("clean_air_delivery_rate_degrees_of_freedom clean_air_delivery_rate_low_95", nullable=True),
    _real("clean_air_delivery_rate_high_95", nullable=True), _whole("measurable", nullable=True),
    _real("at_most_m3_per_h standard_clearing_time_min standard_clearing_time_low_95_min", nullable=True),
    _real("standard_clearing_time_high_95_min time_to_clear_min time_to_clear_low_min", nullable=True),
    _real("time_to_clear_high_min not_cleared_before_min start_level_low start_level_high", nullable=True),
    sa.UniqueConstraint("setting_id", "channel", "aerosol", "room_id"),
    sa.Index("ix_setting_summaries_offered", "channel", "aerosol", "room_id", "trials"),
    sa.Index("ix_setting_summaries_unit", "unit_under_test_id", "channel"),
)
_table(
    "review_points", _key("id"), _of_unit(), _text("key"), _whole("version"),
    _text("kind state words evidence written_by written_at why"),
    _check("kind", "kind IN ('strength', 'weakness')"), _check("state", "state IN ('kept', 'left out')"),
    _check("version", "version > 0"), sa.UniqueConstraint("unit_under_test_id", "key", "version"),
)
_table(
    "verdicts", _key("id"), _of_unit(), _whole("version"),
    _text("state words written_by written_at method_version"),
    _check("state", "state IN ('draft', 'published')"), _check("version", "version > 0"),
    sa.UniqueConstraint("unit_under_test_id", "version"), sa.Index("ix_verdicts_state", "state"),
)
_table(
    "verdict_figures", _refers("verdict_id", "verdicts.id", ondelete="CASCADE", primary_key=True),
    _key("position"), _text("key label"), _real("value", nullable=True), _text("shown"),
)
_table(
    "verdict_withdrawals", _refers("verdict_id", "verdicts.id", ondelete="CASCADE", primary_key=True),
    _text("withdrawn_by withdrawn_at why"),
)
_table(
    "accounts", _key("id"), _text("name name_key role password_hash created_at"),
    _text("disabled_at", nullable=True),
    _check("role", "role IN ('view', 'add', 'edit', 'administer')"), sa.UniqueConstraint("name_key"),
)
_table(
    "sign_ins", _key("id"), _refers("account_id", "accounts.id", ondelete="CASCADE"),
    _text("token_sha256 started_at last_used_at expires_at"),
    sa.UniqueConstraint("token_sha256"), sa.Index("ix_sign_ins_account", "account_id"),
)
_table(
    "sign_in_attempts", _key("id"), _text("counted_by at"),
    sa.Index("ix_sign_in_attempts_key", "counted_by", "at"),
)
_table(
    "api_tokens", _key("id"), _refers("account_id", "accounts.id", ondelete="CASCADE"),
    _text("name role token_sha256 token_start created_at"), _text("last_used_at revoked_at", nullable=True),
    _check("role", "role IN ('view', 'add', 'edit', 'administer')"), sa.UniqueConstraint("token_sha256"),
    sa.Index("ix_api_tokens_account", "account_id"),
)
_table(
    "changes", _key("id"), _text("at who action subject"), _whole("subject_id"), _text("field"),
    _text("before after", nullable=True), _text("why"),
    sa.Index("ix_changes_subject", "subject", "subject_id"),
)
_table(
    "unit_changes", sa.Column("unit_under_test_id", sa.Integer, primary_key=True, autoincrement=False),
    _whole("changes"),
)
# fmt: on

# The record of changes can only be added to: the store itself refuses to alter, remove or replace a row of it.
# On SQLite a statement that replaces a row removes the old one without asking the trigger on DELETE, so a row whose
# number is there already is refused as well. On PostgreSQL emptying the table is a statement of its own.
REFUSAL = "the record of changes can only be added to"
REFUSED_ON_SQLITE = (
    f"""CREATE TRIGGER changes_refuse_update BEFORE UPDATE ON changes
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    f"""CREATE TRIGGER changes_refuse_delete BEFORE DELETE ON changes
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    f"""CREATE TRIGGER changes_refuse_replace BEFORE INSERT ON changes
        WHEN EXISTS (SELECT 1 FROM changes WHERE id = NEW.id)
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
)
REFUSED_ON_POSTGRESQL = (
    f"""CREATE FUNCTION changes_refuse() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$""",
    """CREATE TRIGGER changes_refuse_update BEFORE UPDATE OR DELETE ON changes
        FOR EACH ROW EXECUTE FUNCTION changes_refuse()""",
    """CREATE TRIGGER changes_refuse_truncate BEFORE TRUNCATE ON changes
        FOR EACH STATEMENT EXECUTE FUNCTION changes_refuse()""",
)

# SQLite counts the changes of each unit, so that a change of one unit renews one line of what is kept in memory.
COUNT = "ON CONFLICT (unit_under_test_id) DO UPDATE SET changes = changes + 1"
OWN = "SELECT {row}.unit_under_test_id, 1 WHERE true"
# The unit that a row of each table belongs to; None: what all units share.
UNIT_OF_ROW = {
    "units_under_test": "SELECT {row}.id, 1 WHERE true",
    "speed_settings": OWN,
    "prices": OWN,
    "consumables": OWN,
    "consumable_prices": "SELECT unit_under_test_id, 1 FROM consumables WHERE id = {row}.consumable_id",
    "sound_measurements": OWN,
    "power_measurements": OWN,
    "setting_summaries": OWN,
    "bench": None,
    "tariffs": None,
    "rooms": None,
    "natural_decay_pools": None,
    "natural_decay_pool_runs": None,
}
ROWS = {"insert": ("NEW",), "update": ("OLD", "NEW"), "delete": ("OLD",)}


def upgrade() -> None:
    TABLES.create_all(op.get_bind())
    on_sqlite = op.get_bind().dialect.name == "sqlite"
    for statement in (*REFUSED_ON_SQLITE, *_counting()) if on_sqlite else REFUSED_ON_POSTGRESQL:
        op.execute(statement)


def _counting() -> Iterable[str]:
    for table, unit in UNIT_OF_ROW.items():
        for event, rows in ROWS.items():
            counts = [f"INSERT INTO unit_changes (unit_under_test_id, changes) VALUES (0, 1) {COUNT};"]
            if unit is not None:
                counts += [
                    f"INSERT INTO unit_changes (unit_under_test_id, changes) {unit.format(row=row)} {COUNT};"
                    for row in rows
                ]
            yield f"CREATE TRIGGER {table}_count_{event} AFTER {event.upper()} ON {table} BEGIN {' '.join(counts)} END"
