"""A person uploads a real log through the form, confirms it, and finds the trial in the ranking and its curve.

The log: one release of particles in a room, recorded by a portable mobility sizer (source and licence in
tests/data/README.md). It is stored as a trial of a unit that the form creates on the way.
"""

import re
from pathlib import Path

LOG = Path(__file__).resolve().parents[2] / "data/logs/measured/decay_room_release_mobility_sizer_1min.csv"


def test_a_real_log_goes_from_the_form_to_the_ranking_and_its_curve(browse):
    page = browse("/trials/add")
    page.fill("input[name=timezone]", "Europe/Copenhagen")
    page.set_input_files("input[name=log]", LOG)
    page.wait_for_selector("text=Nothing is saved yet")
    assert "133 readings" in page.inner_text("main")

    page.select_option("select[name=unit_under_test_id]", label="a new unit")
    page.fill("input[name=maker]", "Invented Works")
    page.fill("input[name=model]", "Browser Box")
    page.fill("input[name=setting]", "full")
    page.fill("input[name=tested_by]", "Browser test")
    page.click("button:has-text('Save trial')")
    page.wait_for_selector("h1:has-text('Browser Box')")
    trial_address = page.url
    page.wait_for_selector(".js-plotly-plot .plot-container")
    assert "count_total" in page.content() or "Particle number" in page.inner_text("main")

    ranking = browse("/?channel=count_total")
    assert "Browser Box" in ranking.inner_text("table")
    ranking.click("a:has-text('Browser Box')")
    ranking.wait_for_selector("h1:has-text('Browser Box')")

    curves = browse(f"/curves?channel=count_total&trial={trial_address.rsplit('/', 1)[1]}")
    curves.wait_for_selector(".js-plotly-plot .plot-container")
    assert "Browser Box" in curves.inner_text("table")
    curves.locator(".js-plotly-plot .annotation-text", has_text="Browser Box").wait_for(state="attached")


def test_the_fields_of_a_new_thing_are_seen_as_soon_as_it_is_chosen(browse):
    """By the style sheet alone: nothing is sent, and no script of the page has a part in it."""
    page = browse("/trials/5/edit")
    for choice, field in NEW_THINGS:
        assert not page.locator(f"[name={field}]").is_visible(), field
        before = page.locator(f"select[name={choice}]").input_value()
        page.select_option(f"select[name={choice}]", "new")
        assert page.locator(f"[name={field}]").is_visible(), field
        page.select_option(f"select[name={choice}]", before)
        assert not page.locator(f"[name={field}]").is_visible(), field


NEW_THINGS = (
    ("unit_under_test_id", "maker"),
    ("room_id", "room"),
    ("logger_id", "logger"),
    ("smoke_source_id", "smoke_source"),
)


def test_a_file_that_is_no_log_is_refused_with_what_was_found_and_nothing_is_stored(browse, without_script, tmp_path):
    no_log = tmp_path / "shopping.csv"
    no_log.write_text("bread,milk\neggs,butter\n")
    before = _trials_listed(browse)
    page = browse("/trials/add")
    assert not page.get_by_role("button", name="Preview").is_visible()  # the choice itself sends the file
    page.set_input_files("input[name=log]", no_log)
    page.wait_for_url(re.compile(r"/trials/add/[\w-]{32}"))
    assert "shopping.csv" in page.inner_text("main")
    assert "No table of readings was found" in page.inner_text("main")

    plain = without_script("/trials/add")
    plain.set_input_files("input[name=log]", no_log)
    with plain.expect_response(lambda answer: answer.request.is_navigation_request() and answer.status != 303) as shown:
        plain.get_by_role("button", name="Preview").click()
    assert shown.value.status == 422
    assert "shopping.csv" in plain.inner_text("main")
    assert _trials_listed(browse) == before


def _trials_listed(browse) -> int:
    return browse("/trials").locator("table tbody tr").count()


DROP = """
async ([names, texts]) => {
  const data = new DataTransfer();
  names.forEach((name, index) => data.items.add(new File([texts[index]], name, { type: "text/csv" })));
  const target = document.querySelector("footer");
  target.dispatchEvent(new DragEvent("dragover", { dataTransfer: data, bubbles: true, cancelable: true }));
  target.dispatchEvent(new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
}
"""
PASTE = """
(text) => {
  const data = new DataTransfer();
  data.setData("text/plain", text);
  document.body.dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true, cancelable: true }));
}
"""


def small_log(day: int) -> str:
    rows = [f"2026-03-{day:02d}T10:{i:02d}:00Z,{3 + 300 * 0.9**i:.2f}" for i in range(50)]
    return "\n".join(["time,PM2.5 [µg/m³]", *rows])


def test_files_dropped_anywhere_get_a_verdict_each_and_one_table(browse):
    page = browse("/trials/add")
    page.evaluate(DROP, [["one.csv", "two.csv", "none.csv"], [small_log(1), small_log(2), "no table\n"]])
    page.locator(".uploads .read").nth(1).wait_for()
    page.locator(".uploads .failed", has_text="No table of readings was found").wait_for()
    assert "50 readings" in page.inner_text(".uploads")
    page.get_by_role("link", name="Continue with 3 files").click()
    page.wait_for_url("**/trials/add/batch?**")
    assert page.locator("table.batch tbody tr").count() == 3


def test_a_pasted_table_leads_to_its_preview(browse):
    page = browse("/trials/add")
    page.evaluate(PASTE, small_log(3))
    page.wait_for_url(re.compile(r"/trials/add/[\w-]{32}"))
    page.locator("h1", has_text="pasted.txt").wait_for()
    assert page.evaluate("document.activeElement.tagName") == "H1"
    page.locator(".plot-container").first.wait_for(state="attached")
    assert page.evaluate("document.querySelector('.chart-area').getBoundingClientRect().top") <= 330


def test_an_empty_room_run_asks_for_no_unit(browse):
    page = browse("/trials/add")
    page.evaluate(PASTE, small_log(4))
    page.wait_for_url(re.compile(r"/trials/add/[\w-]{32}"))
    assert page.locator("[name=unit_under_test_id]").is_visible()
    page.select_option("[name=kind]", "empty room")
    for name in ("unit_under_test_id", "setting", "setting_is_new", "filter_state"):
        assert not page.locator(f"[name={name}]").is_visible(), name
    assert page.locator("[name=room_id]").is_visible()


WRONG_HEADER = "\n".join(
    ["Station time,Serial", "12:00,77", "when,haze [mg/m3]"]
    + [f"2026-03-05T10:{i:02d}:00Z,{(3 + 300 * 0.9**i) / 1000:.5f}" for i in range(50)]
)


def test_a_clicked_header_line_and_a_dragged_mark_are_followed_at_once(browse):
    page = browse("/trials/add")
    page.evaluate(PASTE, WRONG_HEADER)
    page.wait_for_url(re.compile(r"/trials/add/[\w-]{32}"))
    page.locator(".raw-lines button[value='3']").click()
    page.locator(".raw-lines button[value='3'][aria-pressed=true]").wait_for()
    assert "haze [mg/m3]" in page.inner_text("table.columns-read")
    page.locator("[name=column_1]").fill("pm2_5")
    page.locator("[name=column_1]").press("Tab")  # a chart is there now: the page of a log that can be read
    page.locator(".plot-container").first.wait_for(state="attached")
    handle = page.get_by_role("slider", name="Switched on")
    handle.wait_for()
    before = page.inner_text("#live-results")
    box = handle.bounding_box()
    page.mouse.move(box["x"] + 12, box["y"] + 12)
    page.mouse.down()
    page.mouse.move(box["x"] + 140, box["y"] + 12, steps=3)
    with page.expect_response(lambda answer: "unit_on=" in answer.url and "figure" not in answer.url):
        page.mouse.up()
    page.wait_for_function("(before) => document.getElementById('live-results').innerText !== before", arg=before)
    assert float(page.input_value("[name=unit_on]")) > 1
    assert page.locator("[name=column_1]").input_value() == "pm2_5"
    page.get_by_role("slider", name="Smoke end").press("ArrowRight")
    assert page.locator("[name=smoke_end]").input_value() == "0.1"
