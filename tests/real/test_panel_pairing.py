"""The pairing form in a real browser, as on a phone."""

import shutil
from pathlib import Path
from typing import Any, Literal

import pytest
import trio
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect, sync_playwright

from tests.support.needed import need
from tests.support.panel_ends import Ends, Engine, panel


@pytest.fixture(autouse=True)
def _chromium(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    need("chromium")
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))


async def _in_chromium(ends: Ends, job: Any) -> Any:
    """Return what `job` returns; the machine's name "laptop.local" leads to the panel."""

    def run() -> Any:
        rules = "--host-resolver-rules=MAP laptop.local 127.0.0.1"
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=[rules, "--no-sandbox"])
            try:
                return job(browser, f"http://laptop.local:{ends.port}/")
            finally:
                browser.close()

    return await trio.to_thread.run_sync(run)


@pytest.mark.parametrize("theme", ["dark", "light"])
async def test_the_form_is_accessible_and_breaks_no_policy(tmp_path: Path, theme: Literal["light", "dark"]) -> None:
    """At 360 pixels, in both themes, with and without an error: no violation of axe's rules or of the policy."""

    def look(browser: Browser, address: str) -> list[str]:
        page = browser.new_page(viewport={"width": 360, "height": 740}, color_scheme=theme)
        lines: list[str] = []
        page.on("console", lambda message: lines.append(message.text))
        page.on("pageerror", lambda fault: lines.append(str(fault)))
        page.goto(address)
        found = Axe().run(page).response["violations"]
        page.get_by_label("Code").fill("WRONG")
        page.get_by_role("button", name="Pair").click()
        page.get_by_text("That is not the code").wait_for()
        found += Axe().run(page).response["violations"]
        # the browser itself notes each answer of status 403
        return [each["id"] for each in found] + [line for line in lines if "status of 403" not in line]

    async with panel(tmp_path, from_phone=True) as ends:
        assert await _in_chromium(ends, look) == []


async def test_a_code_from_the_camera_pairs_once(tmp_path: Path) -> None:
    """The code behind "#" is put into the form and removed from the address; sent by keyboard alone it opens the page.

    Scripts of the page cannot read the cookie.
    """

    def pair(browser: Browser, address: str) -> tuple[str, str, str, int | None]:
        page = browser.new_page()
        page.goto(f"{address}#{code}")
        page.wait_for_url(address)
        typed = page.get_by_label("Code").input_value()
        page.get_by_label("Code").press("Enter")
        page.wait_for_function("!document.querySelector('form[action=\"/pair\"]')")
        again = page.goto(address)
        return typed, page.url, page.evaluate("document.cookie"), again.status if again is not None else None

    engine = Engine()
    async with engine.playing(), panel(tmp_path, from_phone=True) as ends:
        code = ends.codes["operate"]
        address = f"http://laptop.local:{ends.port}/"
        assert await _in_chromium(ends, pair) == (code, address, "", 200)


async def test_a_window_too_many_is_told_why_and_waits_its_turn(tmp_path: Path) -> None:
    """The fifth window of one pairing says why it shows nothing and asks ever less often, until another is closed."""

    def open_five(browser: Browser, address: str) -> int:
        windows = browser.new_context()
        first, *pages = [windows.new_page() for _ in range(5)]
        first.goto(f"{address}#{code}")
        first.get_by_label("Code").press("Enter")
        first.wait_for_function("!document.querySelector('form[action=\"/pair\"]')")
        tries: list[object] = []
        late = pages[-1]
        late.on("websocket", lambda live: tries.append(live))
        for page in pages:
            page.goto(address)
            if page is not late:
                page.get_by_text("View only").wait_for()
        expect(late.locator("#old")).to_contain_text("This browser has too many windows open on this panel.")
        tries.clear()
        late.wait_for_timeout(4000)
        counted = len(tries)
        first.close()
        late.get_by_text("View only").wait_for()
        return counted

    engine = Engine()
    async with engine.playing(), panel(tmp_path, from_phone=True) as ends:
        code = ends.codes["view"]
        assert await _in_chromium(ends, open_five) <= 5
