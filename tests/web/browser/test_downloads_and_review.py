"""Downloading a chart in each format, comparing units, and editing a strength, in a browser."""

import csv
import struct
from io import StringIO
from xml.etree import ElementTree

from tests.sample_data.photos import photo


def _open_panel(page, heading: str):
    panel = page.locator("details.downloads", has=page.locator("summary", has_text=heading)).first
    panel.locator("summary").click()
    return panel


def _fetched(page, address: str) -> bytes:
    answer = page.request.get(address)
    assert answer.status == 200, (address, answer.status)
    return answer.body()


def _address(page, panel, words: str) -> str:
    return panel.get_by_role("link", name=words, exact=True).evaluate("link => link.href")


def test_a_chart_is_taken_in_every_format(browse):
    page = browse("/ranking/pictures")
    page.locator("[data-state=drawn]").first.wait_for()
    panel = _open_panel(page, "Download chart")
    root = ElementTree.fromstring(_fetched(page, _address(page, panel, "SVG image")))
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    plain = _fetched(page, _address(page, panel, "PNG image"))
    fine = _fetched(page, _address(page, panel, "PNG image, double resolution"))
    (width,), (twice,) = (struct.unpack(">I", drawn[16:20]) for drawn in (plain, fine))
    assert (width, twice) == (960, 1920)
    finding = panel.locator("[data-alt-text]").inner_text()
    assert finding in _fetched(page, _address(page, panel, "Alt text and source (TXT)")).decode()


def test_a_picture_of_a_chosen_width_has_that_width(browse):
    page = browse("/curves?scale=log")
    panel = _open_panel(page, "Download chart")
    panel.get_by_label("PNG width in pixels").fill("777")
    with page.expect_response(lambda answer: "/charts/decay-overlay.png" in answer.url) as drawn:
        panel.get_by_role("button", name="Download PNG").click()
    assert "scale=log" in drawn.value.url  # the state of the page goes with it
    assert struct.unpack(">I", _fetched(page, drawn.value.url)[16:20]) == (777,)


def test_the_csv_of_a_chart_equals_the_api(browse, served_bench):
    page = browse("/ranking/pictures")
    panel = _open_panel(page, "Download chart")
    text = _fetched(page, _address(page, panel, "Plotted data (CSV)")).decode()
    rows = {row["unit"]: row for row in csv.DictReader(StringIO(text, newline=""))}
    lines = page.request.get(f"{served_bench.address}/api/ranking").json()["ranking"]
    with_rate = [line for line in lines if line["clean_air_delivery_rate_m3_per_h"] is not None]
    assert len(rows) == len(with_rate) > 3
    for line in with_rate:
        row, rate = rows[f"{line['maker']} {line['model']}"], line["clean_air_delivery_rate_m3_per_h"]
        for column, part in (
            ("clean_air_delivery_rate_m3_per_h", "value"),
            ("low_95", "low_95"),
            ("high_95", "high_95"),
        ):
            assert float(row[column]) == rate[part]


def test_the_taken_page_works_by_itself(browse, chromium, tmp_path):
    page = browse("/ranking/pictures")
    panel = _open_panel(page, "Download chart")
    with page.expect_download() as taken:
        panel.get_by_role("link", name="Embed (HTML)").click()
    file = tmp_path / "chart.html"
    taken.value.save_as(file)
    context = chromium.new_context(offline=True)
    alone = context.new_page()
    asked: list[str] = []
    alone.on("request", lambda request: asked.append(request.url))
    alone.goto(file.as_uri())
    shown = alone.locator("svg").and_(alone.locator(":visible"))  # one of two drawings, by the width of the window
    assert shown.count() == 1
    box = shown.bounding_box()
    assert box is not None
    assert box["width"] > 300
    assert box["height"] > 200
    alone.get_by_text("The numbers").click()
    assert alone.locator("tbody tr").count() > 3
    assert asked == [file.as_uri()]
    context.close()


def test_units_are_compared_and_the_comparison_is_taken(browse):
    page = browse("/compare?search=tumblefen")
    boxes = page.get_by_role("checkbox")
    for place in (0, 1):
        boxes.nth(place).check()
    page.get_by_role("button", name="Compare").click()
    page.get_by_role("heading", name="What the data support").wait_for()
    assert page.locator("table.comparison tbody tr").count() == 9
    page.locator("[data-state=drawn]").first.wait_for()
    panel = _open_panel(page, "Download table")
    rows = list(csv.DictReader(StringIO(_fetched(page, _address(page, panel, "CSV")).decode(), newline="")))
    assert len(rows) == 2
    shown = page.locator("table.comparison tbody tr").first.locator("td").first.inner_text()
    assert rows[0]["clean_air_delivery_rate_m3_per_h"] in shown


def test_a_strength_is_edited_and_the_edit_is_kept(browse):
    page = browse("/units/1/draft")
    point = page.locator("section[aria-labelledby=strengths] .point, section[aria-labelledby=weaknesses] .point").first
    key = (point.get_attribute("id") or "").removeprefix("point-")
    before = point.locator("p").first.inner_text()
    point.locator("summary").click()
    point.get_by_label("Text").fill("It was edited.")
    point.get_by_label("Type").select_option("strength")
    point.get_by_label("Your name").fill("Ada")
    point.get_by_label("Reason").fill("shorter")
    point.get_by_role("button", name="Save").click()
    page.wait_for_url(f"**/units/1/draft#point-{key}")
    edited = page.locator(f"section[aria-labelledby=strengths] #point-{key}")
    assert "It was edited." in edited.locator("p").first.inner_text()
    assert before not in edited.locator("p").first.inner_text()
    edited.locator("summary").click()
    assert "Ada, shorter: It was edited." in edited.locator("ol").inner_text()
    assert "It was edited." in page.request.get(page.url.partition("#")[0] + ".md").text()


PAGES = {"draft": "/units/1/draft", "pictures": "/ranking/pictures", "compare": "/compare?unit_id=1,2"}


def test_the_pages_fit_in_both_widths_and_schemes(browse, keep_picture):
    for name, path in PAGES.items():
        page = browse(path)
        for width in (1280, 390):
            page.set_viewport_size({"width": width, "height": 900})
            page.reload(wait_until="load")
            page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                assert page.evaluate("document.documentElement.scrollWidth") <= width, (path, width, scheme)
                keep_picture(page, f"{name}_{scheme}_{width}")


def test_a_photo_added_in_place_stands_beside_its_unit_and_in_the_draft(browse):
    page = browse("/units/3", width=390)
    page.locator("[data-checklist] > summary").click()
    box = page.locator("[data-form-url='/units/3/attachments']")
    box.locator("summary").click()
    box.locator("[name=file]").set_input_files({"name": "l.jpg", "mimeType": "image/jpeg", "buffer": photo(place=True)})
    box.locator("[name=caption]").fill("Label of a browser test")
    box.locator("[name=for_readers]").check()
    box.locator("form button.main").click()
    small = page.get_by_alt_text("Label of a browser test")
    small.scroll_into_view_if_needed()
    small.and_(page.locator("img")).wait_for()
    page.wait_for_function("(one) => one.naturalWidth > 0", arg=small.element_handle())
    page.goto(page.url.split("#")[0] + "/draft")
    assert page.locator("figure.photo figcaption", has_text="Label of a browser test").count() == 1
    finding, table, chart = (
        page.locator(one).first.bounding_box()["y"] for one in ("#cleaning", "table", "figure img")
    )
    assert finding < table < chart  # the finding first, then the results, then the picture
    page.goto(page.url.removesuffix("/draft"))
    page.get_by_role("button", name="Undo").click()
    page.wait_for_url("**#checklist")
    assert page.get_by_alt_text("Label of a browser test").count() == 0
