"""Each layout is written the same each time, and the importer reads back what was written."""

from datetime import timedelta
from io import BytesIO

import numpy as np
import pytest

from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from seed_demo.fill_bench import LOCAL_TIME_LAYOUTS
from seed_demo.log_writers import LAYOUTS, LOCAL_ZONE
from seed_demo.simulate_trial import log_file, logged_run
from seed_demo.trial_plan import TrialPlan, all_trials

WRITTEN = {
    "comma, ISO time with offset": {"pm1", "pm2_5", "pm10", "pm2_5_b", "relative_humidity", "temperature"},
    "semicolon, decimal comma, local time": {"pm1", "pm2_5", "pm10", "relative_humidity", "temperature"},
    "tab, elapsed seconds": {"pm1", "pm2_5", "pm10", "relative_humidity", "temperature"},
    "workbook, mg/m³ and °F": {"pm1", "pm2_5", "pm10", "voc", "relative_humidity", "temperature"},
}


def first_with(layout: str) -> TrialPlan:
    return next(p for p in all_trials() if p.logger.layout == layout and not (p.gap or p.faults or p.last_row_cut))


def read(plan: TrialPlan) -> LogTable:
    name, content = log_file(plan)
    zone = LOCAL_ZONE if plan.logger.layout in LOCAL_TIME_LAYOUTS else None
    return read_log(content, name, ReadingChoices(timezone=zone))


@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_same_plan_gives_the_same_bytes(layout: str):
    plan = first_with(layout)
    assert log_file(plan) == log_file(plan)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_importer_reads_back_what_was_written(layout: str):
    plan = first_with(layout)
    run, table = logged_run(plan), read(plan)
    assert set(table.levels) == WRITTEN[layout]
    assert table.started_at == run.started_at
    assert table.clock_is_known
    assert table.elapsed_s == pytest.approx(run.elapsed_s)
    assert table.rows_skipped == 0
    for channel in WRITTEN[layout]:
        assert table.levels[channel] == pytest.approx(run.levels[channel], abs=1e-6), channel


def test_a_workbook_opens_in_the_usual_library():
    import openpyxl

    _, content = log_file(first_with("workbook, mg/m³ and °F"))
    rows = list(openpyxl.load_workbook(BytesIO(content), read_only=True).active.values)
    assert rows[0][:3] == ("Date", "Time", "PM1 (mg/m3)")
    assert isinstance(rows[1][2], float)


def test_the_night_in_which_the_clocks_go_back_keeps_its_three_hours():
    plan = next(p for p in all_trials() if "clocks went back" in p.notes)
    table = read(plan)
    assert table.elapsed_s[-1] == pytest.approx(60 * (plan.unit_on_min + plan.run_min) - plan.interval_s)
    assert np.diff(table.elapsed_s) == pytest.approx(np.full(len(table.elapsed_s) - 1, plan.interval_s))


def test_a_gap_stays_a_gap():
    plan = next(p for p in all_trials() if p.gap)
    table = read(plan)
    assert np.diff(table.elapsed_s).max() == pytest.approx(60 * (plan.gap[1] - plan.gap[0]), abs=2 * plan.interval_s)


def test_text_in_cells_is_no_reading_and_the_row_stays():
    plan = next(p for p in all_trials() if p.faults)
    run, table = logged_run(plan), read(plan)
    for row, channel in run.faults:
        assert np.isnan(table.levels[channel][row])
    assert len(table.elapsed_s) == len(run.elapsed_s)
    assert np.isnan(table.levels["pm2_5"]).sum() == 2


def test_a_half_written_last_row_costs_no_other_row():
    plan = next(p for p in all_trials() if p.last_row_cut)
    run, table = logged_run(plan), read(plan)
    assert len(table.elapsed_s) in (len(run.elapsed_s) - 1, len(run.elapsed_s))
    assert table.levels["pm2_5"][:-2] == pytest.approx(run.levels["pm2_5"][: len(table.elapsed_s) - 2])
    assert table.started_at + timedelta(seconds=float(table.elapsed_s[-2])) == run.time(len(table.elapsed_s) - 2)
