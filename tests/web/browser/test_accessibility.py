"""Every page of the dashboard by the rules of WCAG 2.2 AA, light and dark; and the keyboard alone adds a trial."""

from pathlib import Path

import pytest

from tests.web.browser.accessibility import axe_script, violations

LOG = Path(__file__).resolve().parents[2] / "data/logs/measured/decay_room_release_mobility_sizer_1min.csv"
PAGES = [  # of forms that add and change the same, the one that changes, which holds all of the other and more
    "/",
    "/?setting=every&units=us",
    "/ranking/order",
    "/ranking/weights",
    "/ranking/pictures",
    "/compare",
    "/compare?unit_id=1,2",
    "/curves",
    "/costs",
    "/tariffs",
    "/room",
    "/listen",
    "/units",
    "/units/1",
    "/units/add",
    "/units/1/edit",
    "/units/1/sound",
    "/units/1/power",
    "/units/1/ozone",
    "/units/1/clips",
    "/units/1/ratings",
    "/units/1/claims",
    "/units/1/draft",
    "/units/1/article",
    "/units/1/article-embed.html?table=fact-sheet&preview=1",
    "/trials",
    "/trials/5",
    "/trials/5/marks",
    "/trials/5/edit",
    "/trials/add",
    "/live",
    "/plan",
    "/plan?goal=rate&unit_id=1&within_pct=3",
    "/plans",
    "/plans/1",
    "/logger-checks/1",
    "/logger-checks/add",
    "/loggers/1",
    "/rooms/1/control",
    "/bulk",
    "/rooms",
    "/rooms/1/edit",
    "/loggers",
    "/loggers/1/edit",
    "/smoke-sources",
    "/smoke-sources/1/edit",
    "/bench",
    "/changes",
    "/method",
    "/growing",
    "/search",
    "/search?q=filter",
    "/package",
    "/sign-in",
    "/accounts",
    "/not-there",
]


@pytest.mark.parametrize("part", range(4))
def test_no_page_breaks_the_accessibility_rules(chromium, served_bench, part: int):
    """Rules: WCAG 2.2 levels A and AA as far as axe-core finds them, light and dark. The content policy is set aside
    here, because it refuses the checker's own script, as it should."""
    script = axe_script()
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, bypass_csp=True)
    context.add_cookies(served_bench.cookies)
    page = context.new_page()
    page.set_default_timeout(15_000)
    found = {}
    for path in PAGES[part::4]:
        page.emulate_media(color_scheme="light")
        page.goto(served_bench.address + path, wait_until="load")
        for chart in page.locator("[data-figure-url]").all():
            chart.locator(".plot-container").first.wait_for(state="attached")
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            words = violations(page, script, colours_only=scheme == "dark")
            if words:
                found[path, scheme] = words
    context.close()
    assert found == {}


def test_the_checker_would_see_a_violation(chromium, served_bench):
    """So that the test above cannot pass by looking at nothing."""
    script = axe_script()
    context = chromium.new_context(bypass_csp=True)
    context.add_cookies(served_bench.cookies)
    page = context.new_page()
    page.goto(served_bench.address + "/method")
    page.evaluate(
        "document.querySelector('main').insertAdjacentHTML('beforeend', "
        '\'<input><img src="/static/mark.svg"><p style="color: #777">grey on the page itself</p>\')'
    )
    words = " ".join(violations(page, script))
    page.emulate_media(color_scheme="dark")
    in_the_dark = " ".join(violations(page, script, colours_only=True))
    context.close()
    assert "color-contrast" in words
    assert "color-contrast" in in_the_dark
    assert "image-alt" in words
    assert "label" in words


def test_the_slash_goes_to_the_search_and_the_search_finds(browse):
    page = browse("/method")
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.id") == "find"
    page.keyboard.type("a/b")
    assert page.input_value("#find") == "a/b"  # while somebody types, the sign is a sign
    page.fill("#find", "trial 5")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('trial 5')")
    page.click("main .found a >> nth=0")
    page.wait_for_selector("h1:has-text('trial 5')")
    assert page.url.endswith("/trials/5")


def test_the_first_key_skips_to_the_content(browse):
    page = browse("/units")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"


def test_the_keyboard_alone_adds_a_trial(browse):
    """Tab, arrows, letters, space and Enter; only the choice of the file goes past the keys, since its window belongs
    to the machine and not to the page."""
    page = browse("/", new=True)
    page.on("filechooser", lambda _chooser: None)  # listening from here on: the browser takes a moment to heed it
    _tab_to(page, "document.activeElement.getAttribute('href') === '/trials/add'")
    page.keyboard.press("Enter")
    page.wait_for_url("**/trials/add")
    _tab_to(page, "document.activeElement.name === 'timezone'")
    page.keyboard.type("Europe/Copenhagen")
    _tab_to(page, "document.activeElement.name === 'log'")  # on through the end of the page
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Enter")
    chooser.value.set_files(LOG)  # the script sends it at once
    page.wait_for_url("**/trials/add/*")
    page.wait_for_selector("text=Nothing is saved yet")
    _tab_to(page, "document.activeElement.name === 'unit_under_test_id'")
    page.keyboard.type("a new unit")
    page.keyboard.press("Tab")
    for name, words in (("maker", "Invented Works"), ("model", "Keyboard Box")):
        _tab_to(page, f"document.activeElement.name === '{name}'")
        page.keyboard.type(words)
    _tab_to(page, "document.activeElement.name === 'setting'")
    page.keyboard.type("full")
    _tab_to(page, "(document.activeElement.textContent || '').trim() === 'Save trial'")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('Keyboard Box')")
    assert "/trials/" in page.url


def _tab_to(page, condition: str, most: int = 150) -> None:
    """Presses Tab until the expected element has the focus; an invisible stop fails."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate(condition):
            box = page.evaluate(
                "(() => { const r = document.activeElement.getBoundingClientRect(); return r.width * r.height; })()"
            )
            assert box > 0
            return
    raise AssertionError(f"Tab never came to where {condition}")
