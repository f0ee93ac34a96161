"""A store of any revision with rows in every table that the revision has, put there by plain SQL.

What stands here is what programs of those days wrote; the models of today are not asked. A new table or column needs
rows here from its revision on, and a test says where they are missing.
"""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, inspect, text
from sqlalchemy.pool import NullPool

AT = "2026-01-01T08:30:00.250000Z"
DAY = "2026-01-01"
SHA = "a" * 64
ODD = "Ünit “1” – µg/m³; 'quoted', =1+1\nsecond line"

_CLIP_LEVELS = {"equivalent_level_dba": 48.5, "fast_maximum_dba": 52.0, "l10_dba": 50.0, "l90_dba": 47.0}

# table and row as programs of the first revision wrote them, in an order in which each finds what it refers to
ROWS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("tariffs", {"id": 1, "region": "here", "currency": "USD", "price_per_kwh": 0.16, "valid_from": DAY,
                 "source": "a bill", "standing": "own bill"}),
    ("bench", {"id": 1, "name": ODD, "invented": 0, "scenario": "", "timezone": "UTC", "currency": "USD",
               "clear_level_kind": "absolute", "clear_level_value": 10.0, "standard_distance_m": 1.0,
               "sound_correction_rule": "ISO 3746", "natural_decay_stale_after_days": 180,
               "hours_per_day": 24.0, "days_per_year": 365.0, "tariff_id": 1, "main_channel": "pm2_5",
               "publication": "", "publication_font": "", "publication_ink": "", "publication_accent": ""}),
    ("logger_profiles", {"id": 1, "name": "Profile A", "timezone": "UTC", "box": "", "day_first": 1,
                         "created_at": AT}),
    ("logger_profile_columns", {"profile_id": 1, "header": "PM", "channel": "pm2_5", "file_unit": "mg/m³"}),
    ("loggers", {"id": 1, "name": "Logger A", "profile_id": 1, "principle": "optical",
                 "response_time_s": 12.5, "saturation_level_ug_m3": 1000.0, "calibration": "", "notes": ODD}),
    ("rooms", {"id": 1, "name": "Room A", "length_m": 4.0, "width_m": 3.0, "height_m": None,
               "room_volume_m3": 30.123456789012345, "room_volume_uncertainty_m3": 0.5, "furniture": ODD,
               "notes": ""}),
    ("smoke_sources", {"id": 1, "name": "incense", "aerosol": "smoke", "notes": ""}),
    ("units_under_test", {"id": 1, "maker": "Maker A", "model": ODD, "kind": "other", "makes_ozone": 1,
                          "consumables_state": "listed", "width_mm": 200.5, "bought_on": DAY,
                          "bought_from": "a shop", "serial_number": "7", "notes": ODD, "created_at": AT,
                          "trashed_at": None}),
    ("units_under_test", {"id": 2, "maker": "Maker B", "model": "in the trash", "kind": "other",
                          "makes_ozone": 0, "consumables_state": "unknown", "bought_from": "",
                          "serial_number": "", "notes": "", "created_at": AT, "trashed_at": AT}),
    ("speed_settings", {"id": 1, "unit_under_test_id": 1, "name": "high", "position": 1, "is_highest": 1}),
    ("prices", {"id": 1, "unit_under_test_id": 1, "amount": 99.5, "currency": "USD", "seen_on": DAY,
                "source": "a shop"}),
    ("consumables", {"id": 1, "unit_under_test_id": 1, "name": "filter", "kind": "filter", "washable": 0,
                     "pieces_in_use": 1, "pack_size": 2, "life_months": 6.0, "life_running_hours": None,
                     "life_source": "maker", "notes": ""}),
    ("consumable_prices", {"id": 1, "consumable_id": 1, "amount": 20.0, "currency": "USD", "seen_on": DAY,
                           "source": "a shop"}),
    ("ozone_tests", {"id": 1, "unit_under_test_id": 1, "ozone_ppb": 3.0, "below_detection": 0,
                     "method": "box", "tested_on": DAY, "source": "own"}),
    ("ratings", {"id": 1, "unit_under_test_id": 1, "aerosol": "smoke", "listed": 1,
                 "clean_air_delivery_rate_m3_per_h": 200.0, "stated_value": 118.0, "stated_unit": "cfm",
                 "sister_model": "", "test_standard": "", "edition": "", "source": "list", "seen_on": DAY}),
    ("claims", {"id": 1, "unit_under_test_id": 1, "quantity": "clean air delivery rate", "value": 250.0,
                "unit_symbol": "m³/h", "bound": "", "setting_id": 1, "aerosol": "smoke", "distance_m": None,
                "room_area_m2": None, "wording": ODD, "where_seen": "box", "seen_on": DAY}),
    ("raw_files", {"sha256": SHA, "size_bytes": 3, "content": b"\x00\xff\x01", "stored_at": AT}),
    ("logs", {"id": 1, "sha256": SHA, "file_name": "log.csv", "encoding": "utf-8", "delimiter": "comma",
              "decimal_mark": ".", "header_line": 1, "timezone": "UTC", "box": "", "day_first": None,
              "profile_id": 1, "started_at": AT, "clock_is_known": 1, "interval_s": 10.0, "readings": 2,
              "rows_skipped": 0, "notes": "one\ntwo", "stored_at": AT,
              "first_reading": 1}),
    ("log_channels", {"log_id": 1, "position": 0, "channel": "pm2_5", "unit": "µg/m³", "file_header": "PM",
                      "file_unit": "mg/m³", "held_values": 0}),
    ("readings", {"id": 1, "elapsed_s": 0.0, "value_01": 5.000000000000001}),
    ("readings", {"id": 2, "elapsed_s": 10.0, "value_01": None}),
    ("power_measurements", {"id": 1, "unit_under_test_id": 1, "setting_id": 1, "power_w": 40.0,
                            "uncertainty_w": 0.4, "instrument": "", "measured_on": DAY, "measured_by": "Ann",
                            "log_id": 1, "notes": ""}),
    ("sound_measurements", {"id": 1, "unit_under_test_id": 1, "setting_id": 1, "level_dba": 48.5,
                            "background_dba": 30.0, "distance_m": 1.0, "position": "", "environment": "indoor",
                            "instrument": "", "instrument_class": "", "measured_on": DAY,
                            "measured_by": "Ann", "notes": ""}),
    ("trials", {"id": 1, "kind": "empty room", "room_id": 1, "log_id": 1, "started_at": AT, "tested_by": "",
                "filter_state": "", "notes": "", "excluded_by": "", "excluded_why": "", "created_at": AT}),
    ("trials", {"id": 2, "kind": "unit running", "unit_under_test_id": 1, "setting_id": 1, "room_id": 1,
                "smoke_source_id": 1, "logger_id": 1, "log_id": 1, "started_at": AT, "tested_by": "Ann",
                "filter_state": "new filter", "unit_on_s": 5.25, "notes": ODD, "excluded_at": AT,
                "excluded_by": "Ben", "excluded_why": ODD, "created_at": AT, "trashed_at": AT}),
    ("natural_decay_pools", {"id": 1, "room_id": 1, "channel": "pm2_5", "natural_decay_per_h": 0.5,
                             "uncertainty_per_h": 0.02, "degrees_of_freedom": None,
                             "between_run_sd_per_h": 0.01, "number_of_runs": 1, "first_run_on": DAY,
                             "last_run_on": DAY, "method_version": "1.0", "between_run_source": "these runs",
                             "on_one_day_uncertainty_per_h": 0.03, "on_one_day_degrees_of_freedom": 3.0,
                             "heterogeneity_p": 0.4}),
    ("natural_decay_pool_runs", {"pool_id": 1, "trial_id": 1, "weight": 1.0}),
    ("channel_results", {"id": 1, "trial_id": 2, "channel": "pm2_5", "unit": "µg/m³",
                         "method_version": "1.0", "computed_at": AT, "usable": 1, "unit_on_s": 0.0,
                         "unit_on_found": 1, "end_s": 10.0, "interval_s": 10.0, "readings": 2,
                         "start_level": 5.0, "peak_level": 5.0, "end_level": 6.0, "fit_converged": 1,
                         "why_not": "", "background_choice": "fitted", "readings_fitted": 2,
                         "total_decay_per_h": 5.0000000000000001, "total_decay_uncertainty_per_h": 0.1,
                         "pool_id": 1, "clear_level": 10.0, "cleared": 0, "not_cleared_before_min": 0.1,
                         "relative_humidity_pct": 41.5, "start_level_uncertainty": 0.2,
                         "time_to_clear_uncertainty_min": None, "humidity_uncertainty_per_h": 0.001}),
    ("result_notes", {"result_id": 1, "position": 0, "code": "no_decay", "severity": "care",
                      "message": ODD, "value": 1.5, "limit": None, "unit": "", "at_min": None}),
    ("setting_summaries", {"id": 1, "unit_under_test_id": 1, "setting_id": 1, "room_id": 1,
                           "channel": "pm2_5", "aerosol": "smoke", "method_version": "1.0",
                           "computed_at": AT, "trials": 1, "usable_trials": 1, "excluded_trials": 0,
                           "censored_trials": 0, "latest_trial_id": 2, "latest_trial_on": DAY,
                           "worst_severity": "care", "total_decay_per_h": 5.0, "between_trial_source": "",
                           "heterogeneous": 0, "pool_id": 1, "measurable": 1}),
    ("changes", {"id": 1, "at": AT, "who": "Ann", "action": "changed", "subject": "trial", "subject_id": 2,
                 "field": "notes", "before": None, "after": ODD, "why": ODD}),
    ("bench_repeatability", {"channel": "pm2_5", "relative_sd": 0.05, "degrees_of_freedom": 4.0, "groups": 2,
                             "trials": 6, "source": "own", "computed_at": AT,
                             "relative_fit_sd": 0.01}),
    ("sound_clips", {"id": 1, "unit_under_test_id": 1, "setting_id": 1, "sha256": SHA, "file_name": "fan.wav",
                     "channel": 1, "recorded_on": DAY, "recorded_by": "Ann", "instrument": "",
                     "distance_m": 1.0, "calibration_kind": "none", "duration_s": 10.0,
                     "sample_rate_hz": 48000.0, **_CLIP_LEVELS, "peak": 0.5, "overloaded": 0,
                     "tone_method": "", "character_words": "", "cautions": "", "notes": "", "stored_at": AT}),
    ("sound_clip_bands", {"clip_id": 1, "nominal_hz": 1000.0, "level_db": 40.0, "level_dba": 40.0}),
    ("sound_clip_tones", {"clip_id": 1, "rank": 1, "frequency_hz": 120.0, "prominence_ratio_db": 9.5,
                          "criterion_db": 9.0, "prominent": 1}),
    ("review_points", {"id": 1, "unit_under_test_id": 1, "key": "quiet", "version": 1, "kind": "strength",
                       "state": "kept", "words": ODD, "evidence": "{}", "written_by": "Ann",
                       "written_at": AT, "why": ""}),
    ("verdicts", {"id": 1, "unit_under_test_id": 1, "version": 1, "state": "published", "words": ODD,
                  "written_by": "Ann", "written_at": AT, "method_version": "1.0"}),
    ("verdict_figures", {"verdict_id": 1, "position": 0, "key": "rate", "label": "rate", "value": 1.5,
                         "shown": "1.5"}),
    ("accounts", {"id": 1, "name": "Ann", "name_key": "ann", "role": "administer", "password_hash": "x",
                  "created_at": AT}),
    ("sign_ins", {"id": 1, "account_id": 1, "token_sha256": SHA, "started_at": AT, "last_used_at": AT,
                  "expires_at": AT}),
    ("sign_in_attempts", {"id": 1, "counted_by": "name ann", "at": AT}),
    ("api_tokens", {"id": 1, "account_id": 1, "name": "job", "role": "add", "token_sha256": SHA,
                    "token_start": "hf_1", "created_at": AT}),
    ("verdict_withdrawals", {"verdict_id": 1, "withdrawn_by": "Ann", "withdrawn_at": AT, "why": ODD}),
)  # fmt: skip
# the same of later revisions: revision from which on a program wrote it, table, and a whole row or columns of the rows
LATER_ROWS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("0017", "live_runs", {"id": 1, "kind": "unit running", "source": "file", "room_id": 1, "unit_under_test_id": 1,
                           "setting_id": 1, "smoke_source_id": 1, "logger_id": 1, "profile_id": 1, "tested_by": "Ann",
                           "filter_state": "", "notes": ODD, "start_key": "key 1", "started_at": AT,
                           "last_heard_at": AT, "changes": 3, "logger_ahead_s": -1.25, "conflicts": 1,
                           "replays_trial_id": None, "file_requested_at": AT, "finished_at": None, "trial_id": None}),
    ("0017", "live_channels", {"run_id": 1, "position": 0, "channel": "pm2_5", "unit": "µg/m³"}),
    ("0017", "live_readings", {"run_id": 1, "at_us": 1767256200250000, "change": 2, "value_01": 5.000000000000001,
                               "value_02": None}),
    ("0017", "live_lots", {"run_id": 1, "idempotency_key": ODD, "sha256": SHA, "received_at": AT, "added": 1,
                           "repeated": 0, "conflicts": 0}),
    ("0017", "live_events", {"id": 1, "run_id": 1, "kind": "unit on", "at": AT, "received_at": AT,
                             "sender_ahead_s": 0.5, "idempotency_key": None, "undone_at": AT}),
    ("0018", "attachments", {"id": 1, "unit_under_test_id": 1, "trial_id": None, "sound_measurement_id": 1,
                             "power_measurement_id": None, "sha256": SHA, "file_name": "meter.jpg",
                             "media_type": "image/jpeg", "kind": "photo", "width_px": 40, "height_px": 30,
                             "shows": "meter display", "caption": ODD, "taken_on": DAY, "added_by": "Ann",
                             "for_readers": 1, "stored_at": AT}),
    ("0021", "editions", {"id": 1, "published_at": AT, "digest": SHA, "manifest": b"{}", "numbers_sha256": SHA,
                          "numbers": 3, "moved": 0, "method_version": "2.0", "last_change_id": 1, "made_from": "{}"}),
    ("0021", "edition_contents", {"sha256": SHA, "size_bytes": 3, "content": b"\x00\xff\x01"}),
    ("0021", "unit_addresses", {"address": "maker-a-unit", "unit_under_test_id": 1, "current": 1}),
    ("0023", "upload_keys", {"idempotency_key": ODD, "sha256": SHA, "trial_id": 2, "stored_at": AT}),
    ("0026", "room_changes", {"id": 1, "room_id": 1, "changed_on": DAY, "kind": "furniture", "words": ODD,
                              "new_limits": 1, "reference_until": DAY, "noted_by": "Ann", "created_at": AT}),
    ("0026", "check_units", {"id": 1, "room_id": 1, "setting_id": 1, "valid_from": DAY, "notes": ODD,
                             "noted_by": "Ann", "created_at": AT}),
    ("0027", "logger_checks", {"id": 1, "kind": "collocation", "logger_id": 1, "reference_logger_id": 1, "log_id": 1,
                               "reference_log_id": 1, "channel": "pm2_5", "unit": "µg/m³", "checked_on": DAY,
                               "clean_from_min": 0.5, "clean_to_min": None, "expected_offset_s": 0.0,
                               "checked_by": "Ann", "notes": ODD, "created_at": AT, "clock_offset_s": -2.5,
                               "means": 119, "slope": 1.1000000000000001, "loggers_together": 3,
                               "saturated_readings": 0, "result_notes": "one\ntwo"}),
    ("0029", "plans", {"id": 1, "name": ODD, "goal": "rate", "answer": ODD, "room_id": 1, "channel": "pm2_5",
                       "aerosol": "smoke", "starts_on": DAY, "runs_a_day": 3, "seed": 7, "made_by": "Ann",
                       "made_at": AT}),
    ("0029", "plan_lines", {"plan_id": 1, "position": 0, "day": 1, "place": 1, "setting_id": None, "minutes": 90}),
    ("0036", "staged_files", {"token": "t" * 32, "file_name": ODD, "size_bytes": 3_000_000_000, "sha256": SHA,
                              "staged_at": AT}),
    ("0036", "staged_pieces", {"token": "t" * 32, "place": 0, "content": b"\x00a,b\xff"}),
    ("0029", "plan_lines", {"plan_id": 1, "position": 1, "day": 1, "place": 2, "setting_id": 1, "minutes": 40}),
)  # fmt: skip
LATER_COLUMNS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("0016", "channel_results", {"unit_on_uncertainty_s": 12.5}),
    ("0019", "result_notes", {"advice": "set_run_end", "advice_value": 31.2, "advice_other_value": None}),
    ("0020", "natural_decay_pools", {"week_of": DAY, "drift_sd_per_month": 0.01}),
    ("0021", "bench", {"licence": "CC-BY-4.0"}),
    ("0022", "channel_results", {"background_drift_uncertainty_per_h": 0.011, "warm_up_uncertainty_per_h": 0.004}),
    ("0024", "setting_summaries", {"logger_id": 1}),
    ("0026", "channel_results", {"clean_air_delivery_rate_check_unit_share": 0.031}),
    ("0026", "setting_summaries", {"first_trial_on": DAY}),
    ("0027", "loggers", {"check_interval_days": 90}),
    (
        "0028",
        "channel_results",
        {"noise_prior": "0.5 0.5", "noise_prior_trials": 3, "noise_evidence": "0 -2.5", "noise_learned": 1},
    ),
    ("0030", "trials", {"smoke_end_s": 315.5}),
    ("0030", "logger_profiles", {"header_line": 7}),
    ("0034", "loggers", {"averaging_s": 60.0, "time_stamp": "end", "on_before_min": 30.0}),
    ("0034", "channel_results", {"stamped_late_s": 30.0}),
    ("0035", "channel_results", {"curvature_uncertainty_per_h": 0.02}),
)
# rows that the store itself adds, by triggers
WRITTEN_BY_THE_STORE = {"unit_changes"}


def filled_rows(revision: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each table and row of a revision."""
    for table, row in [*ROWS, *((table, row) for since, table, row in LATER_ROWS if since <= revision)]:
        later = (columns for since, name, columns in LATER_COLUMNS if name == table and since <= revision)
        yield table, {name: value for columns in (row, *later) for name, value in columns.items()}


def fill(connection: Connection, revision: str) -> None:
    """Puts the rows of a revision into its empty tables."""
    quote = connection.dialect.identifier_preparer.quote
    for table, values in filled_rows(revision):
        names = ", ".join(quote(name) for name in values)
        places = ", ".join(f":{name}" for name in values)
        connection.execute(text(f"INSERT INTO {quote(table)} ({names}) VALUES ({places})"), values)


def contents(engine: Engine, only: dict[str, list[str]] | None = None) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table as a dictionary; of the tables and columns in `only` where that is given."""
    found = {}
    with engine.connect() as connection:
        quote = connection.dialect.identifier_preparer.quote
        for table in sorted(set(inspect(connection).get_table_names()) - {"alembic_version"}):
            if only is not None and table not in only:
                continue
            columns = only[table] if only else [c["name"] for c in inspect(connection).get_columns(table)]
            listed = ", ".join(quote(name) for name in columns)
            rows = connection.execute(text(f"SELECT {listed} FROM {quote(table)}")).mappings().all()
            plain = [{k: bytes(v) if isinstance(v, memoryview) else v for k, v in row.items()} for row in rows]
            found[table] = sorted(plain, key=repr)
    return found


def columns_of(engine: Engine) -> dict[str, list[str]]:
    with engine.connect() as connection:
        return {
            table: [c["name"] for c in inspect(connection).get_columns(table)]
            for table in inspect(connection).get_table_names()
            if table != "alembic_version"
        }


def plain_engine(url: str) -> Engine:
    return create_engine(url, poolclass=NullPool)
