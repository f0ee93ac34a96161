"""The ranking as a reader uses it: seen at once, drawn, selected by keyboard, on a phone, and without script."""

FIRST_ROW = "document.querySelector('table.ranking tbody tr').getBoundingClientRect().top"
HEAD = "document.querySelector('table.ranking thead th').getBoundingClientRect()"


def test_the_first_row_is_seen_at_once(browse):
    assert browse("/").evaluate(FIRST_ROW) <= 330
    assert browse("/", width=390, height=844).evaluate(FIRST_ROW) < 844


def test_the_head_with_its_axis_stays_in_sight(browse):
    page = browse("/", height=380)
    page.evaluate("window.scrollTo(0, 400)")
    page.wait_for_function(f"{FIRST_ROW} < 0")
    top = page.evaluate(f"{HEAD}.top")
    assert 0 <= top < 10
    assert page.locator(".axis").bounding_box()["y"] >= 0


def test_the_intervals_are_drawn_on_one_scale(browse):
    page = browse("/")
    boxes = [one.bounding_box() for one in page.locator("td.whisker svg").all()[:5]]
    axis = page.locator("svg.axis").bounding_box()
    assert min(box["width"] for box in boxes) >= 160
    # zero of the axis lies at the left end of the scale in every row
    zero = page.locator(".axis .tick").first.bounding_box()
    ends = page.locator(".axis .tick").last.bounding_box()
    grids = page.evaluate(
        """() => [...document.querySelectorAll("td.whisker svg")].slice(0, 5).map((svg) => {
          const to = svg.getScreenCTM();
          return [0, 100].map((x) => new DOMPoint(x, 0).matrixTransform(to).x);
        })"""
    )
    assert axis["width"] >= 160
    for low, high in grids:
        assert abs(low - zero["x"]) < 2
        assert abs(high - ends["x"]) < 2


def test_selected_rows_are_compared_by_keyboard(browse):
    page = browse("/")
    rows = page.locator("table.ranking [name=setting_id]")
    compare = page.get_by_role("button", name="Compare")
    for place in (0, 2):
        rows.nth(place).focus()
        page.keyboard.press("Space")
    assert "2 selected" in page.inner_text(".of-selection")
    compare.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/compare?**")
    assert page.url.count("setting_id=") == 2
    assert page.locator("table").count() >= 1
    page.go_back()
    assert "2 selected" in page.inner_text(".of-selection")
    page.get_by_role("button", name="Curves").click()
    page.wait_for_url("**/curves?**")
    page.locator("[data-figure-url] .plot-container").first.wait_for(state="attached")


def test_it_is_all_there_without_script(without_script):
    page = without_script("/units") and without_script("/")
    assert page.locator("table.ranking tbody tr").count() > 3
    page.locator("summary", has_text="Columns").click()
    page.get_by_label("Air changes").check()
    page.locator("form[aria-label=Columns] button", has_text="Apply").click()
    assert "Air changes" in page.inner_text("table.ranking thead")
    page.locator(".column-groups a", has_text="Cost").click()
    assert "fold=cost" in page.url
    assert "Running cost" not in page.inner_text("table.ranking thead")
    page.locator("table.ranking [name=setting_id]").nth(0).check()
    page.locator("table.ranking [name=setting_id]").nth(1).check()
    page.get_by_role("button", name="Compare").click()
    assert page.url.count("setting_id=") == 2


def test_a_phone_shows_a_card_for_each_unit_that_sorts(browse, keep_picture):
    page = browse("/", width=390, height=844)
    card = page.locator("table.ranking tbody tr").first
    words = card.inner_text()
    labels = [one.get_attribute("data-label") for one in card.locator("[data-label]").all()]
    for what in ("Clean air delivery rate", "Time to 95", "Sound", "Running cost", "Price"):
        assert any(label.startswith(what) for label in labels), words
    boxes = [one.bounding_box() for one in card.locator("td:not(:empty)").all()]
    assert all(box is None or box["x"] + box["width"] <= 390 for box in boxes)
    assert card.locator("td.whisker svg").bounding_box()["width"] > 300
    keep_picture(page, "ranking_cards")
    page.locator(".sort-links a", has_text="Price").click()
    page.wait_for_url("**sort=price**")
    prices = [float(text) for text in page.locator("td.of-price").all_inner_texts()[:5] if text.strip().isdigit()]
    assert prices == sorted(prices)
    assert len(prices) >= 2


def test_the_rank_intervals_are_fetched_where_the_page_came_first(browse):
    """As on a large bench, or in a process that has just started: `ranks` of a page without them are empty."""
    page = browse("/units")

    def without_ranks(route):
        answer = route.fetch()
        html = answer.text()
        if "ranks=1" not in route.request.url:
            html = html.replace("<tbody>", '<tbody data-ranks-url="/?ranks=1">').replace(
                'class="below"', 'class="gone"'
            )
        route.fulfill(response=answer, body=html)

    page.route("**/?*", without_ranks)
    page.goto(page.url.replace("/units", "/?sort=clean_air_delivery_rate"))
    page.wait_for_function("document.querySelectorAll('td.rank').length > 0")
    page.wait_for_function(
        "![...document.querySelectorAll('td.rank')].some((one) => one.textContent.includes('not yet'))"
    )
    page.unroute_all(behavior="wait")
