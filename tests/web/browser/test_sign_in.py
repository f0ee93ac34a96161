"""Signing in, making a token and signing out in a browser, at desktop and phone width."""

from collections.abc import Callable, Iterator

import pytest

from app.services.access.accounts import add_account
from app.services.access.local_secret import new_link_token
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from tests.faults.real_process import served
from tests.web.browser.conftest import ServedBench, Watch

PASSWORD = "several words in a row"


@pytest.fixture(scope="module")
def guarded_bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedBench]:
    """An empty bench that has one account."""
    folder = tmp_path_factory.mktemp("guarded_bench")
    engine = open_store(Settings(data_folder=folder))
    with session_scope(engine) as session:
        add_account(session, "Ann", "administer", PASSWORD)
    engine.dispose()
    with served(folder) as server:
        yield ServedBench(server.url, folder)


@pytest.mark.parametrize("width", [1280, 390])
def test_a_person_signs_in_makes_a_token_and_signs_out(
    chromium, guarded_bench: ServedBench, keep_picture: Callable[..., None], width: int
):
    watch = Watch(guarded_bench.address)
    context = chromium.new_context(viewport={"width": width, "height": 900})
    page = context.new_page()
    page.set_default_timeout(15_000)
    watch.on(page)

    page.goto(guarded_bench.address + "/units?search=fan")
    assert page.url.endswith("/sign-in?next=%2Funits%3Fsearch%3Dfan")
    assert page.inner_text("h1") == "Sign in"
    _fits(page, width)
    keep_picture(page, f"sign_in_{width}")
    page.fill("#name", "ann")
    page.fill("#password", "not my password")
    page.click("main button.main")
    assert "Wrong name or password. Try" in page.inner_text("#password-error")
    assert page.input_value("#name") == "ann"
    assert page.input_value("#password") == ""
    page.fill("#password", PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/units?search=fan")
    assert page.evaluate("document.cookie") == ""  # out of reach of scripts

    page.click(".masthead .visitor")
    assert "You are signed in as Ann" in page.inner_text("main")
    page.fill("#token_name", f"job at {width}")
    page.click("text=Create token")
    assert page.inner_text("section.caution code").startswith("hazefall_")
    _fits(page, width)
    page.goto(guarded_bench.address + "/account")
    assert page.locator("section.caution").count() == 0
    keep_picture(page, f"account_{width}")
    page.goto(guarded_bench.address + "/accounts")
    _fits(page, width)
    keep_picture(page, f"accounts_{width}")

    page.goto(guarded_bench.address + "/account")
    page.click("text=Sign out")
    page.wait_for_url("**/sign-in")
    page.goto(guarded_bench.address + "/bench")
    assert "/sign-in" in page.url
    context.close()
    # a refused sign-in answers 401 on purpose, and Chromium writes that to its console
    watch.console_errors = [error for error in watch.console_errors if "status of 401" not in error]
    watch.assert_quiet()


def _fits(page, width: int) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_link_of_a_bench_without_accounts_lets_one_browser_in(chromium, served_bench: ServedBench):
    watch = Watch(served_bench.address)
    link = f"{served_bench.address}/enter/{new_link_token(served_bench.data_folder)}"
    context, other = chromium.new_context(), chromium.new_context()
    page, of_other = context.new_page(), other.new_page()
    watch.on(page)
    page.goto(link)
    assert page.url == f"{served_bench.address}/"
    page.goto(f"{served_bench.address}/units")
    assert page.inner_text("h1").startswith("Units")
    assert page.evaluate("document.cookie") == ""  # out of reach of scripts
    assert of_other.goto(link).status == 401
    assert of_other.inner_text("h1") == "This bench is locked"
    context.close()
    other.close()
    watch.assert_quiet()
