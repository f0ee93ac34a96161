"""Advice for a room, listening with one volume, picked columns and a table sent in bulk, in a real browser."""

import pytest


def test_three_inputs_give_advice_with_its_picture(browse):
    page = browse("/room")
    page.fill("#room_area_m2", "8")
    page.fill("#max_sound_dba", "60")
    page.fill("#max_price", "900")
    page.click("text=Find units")
    page.locator("h1:has-text('Units for a room of 8')").wait_for()
    assert "would be enough" in page.inner_text(".answer")
    page.locator("[data-state=drawn]").first.wait_for()
    assert page.locator("table tbody tr").count() >= 1


def test_one_volume_moves_every_player_and_only_one_plays(browse):
    page = browse("/listen")
    players = page.locator("audio")
    if players.count() < 2:
        pytest.fail("The demonstration needs two calibrated clips to listen to.")
    assert page.evaluate("[...document.querySelectorAll('audio')].every(a => Math.abs(a.volume - 0.0625) < 1e-6)")
    page.locator("#volume").evaluate("v => { v.value = 50; v.dispatchEvent(new Event('input')); }")
    assert page.evaluate("[...document.querySelectorAll('audio')].every(a => a.volume === 0.25)")
    ready = "a => new Promise(done => { a.preload = 'auto'; a.oncanplay = () => done(a.duration); a.load(); })"
    assert players.nth(0).evaluate(ready) > 2.9
    page.evaluate("document.querySelectorAll('audio')[1].volume = 0.01")
    page.wait_for_function("[...document.querySelectorAll('audio')].every(a => a.volume < 0.02)")
    page.locator("[data-state=drawn]").first.wait_for()


def test_picked_columns_stay_after_leaving_the_page(browse):
    page = browse("/")
    page.click("summary:text-is('Columns')")
    for key in ("running_cost", "trials"):
        page.uncheck(f"#column-{key}")
    page.check("#column-clean_air_per_watt")
    page.click("form[aria-label=Columns] button:text-is('Apply')")
    page.locator("thead:has-text('Clean air per watt at test power')").wait_for()
    assert "Running cost" not in page.inner_text("table.ranking thead")
    page.goto(page.url.split("?")[0])
    assert "Clean air per watt at test power" in page.inner_text("table.ranking thead")
    page.click("summary:text-is('Columns')")
    page.click("form[aria-label=Columns] button:text-is('Reset')")
    page.locator("table.ranking thead:has-text('Running cost')").wait_for()


def test_a_table_is_tried_out_then_stored(browse, tmp_path):
    table = tmp_path / "prices.csv"
    page = browse("/units/1")
    name = page.locator("dt:text-is('Maker and model') + dd").inner_text()
    maker, model = name.rsplit(" ", 1)
    rows = ["maker,model,price,currency,seen_on,source", f"{maker},{model},1234,USD,2026-04-01,shop"]
    rows.append("No,Body,1,USD,2026-04-01,shop")
    table.write_text("\n".join(rows))
    page = browse("/bulk")
    page.set_input_files("#table", table)
    page.click("button:text-is('Preview')")
    page.locator("h1:has-text('Preview of prices.csv')").wait_for()
    assert "1 row will be saved, 1 rejected." in page.inner_text(".answer")
    page.check("#leave_out")
    page.click("text=Save 1 row")
    page.locator("text=Prices of units: 1 row saved").wait_for()
    page = browse("/units/1")
    assert "1234.00" in page.inner_text("main").replace("\u202f", "").replace(" ", "")
