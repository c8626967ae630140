"""A rig on three machines, all on this computer, seen and operated from the page of one of them."""

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.support.panel_in_browser import LONGEST
from tests.support.three_machines import ENGINES, PATIENCE, ThreeMachines
from tests.support.waiting import until

RIG = """
format = 1
[rig]
name = "Two desks"
[network]
machine = "desk"
main = "desk"
standby = "spare"
[network.machines]
desk = { listen = "127.0.0.1:27447" }
spare = { listen = "127.0.0.1:27448" }
left = { listen = "127.0.0.1:27449" }
[inputs]
keys = { port = "Keys", machine = "left" }
[outputs]
strings = { port = "Strings", machine = "left" }
[[scenes]]
number = 1
name = "Overture"
routes = [{ from = "keys", to = "strings" }]
"""


@pytest.fixture
def machines(tmp_path: Path) -> Iterator[ThreeMachines]:
    """All three machines, playing."""
    made = ThreeMachines(None, tmp_path, RIG)
    try:
        for name in ("left", *ENGINES):
            made.start(name)
        until("an engine in charge", made.leader, PATIENCE)
        yield made
    finally:
        made.close()


@pytest.fixture
def page(machines: ThreeMachines, chromium: Browser) -> Iterator[Page]:
    """The desk's page."""
    command = [sys.executable, "-m", "engine.cli", "panel", "--port", "0"]
    with subprocess.Popen(command, env=machines.environment("desk"), stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+/", process.stdout.readline())
        assert found
        opened = chromium.new_page()
        opened.set_default_timeout(LONGEST)
        opened.goto(found[0])
        yield opened
        opened.close()
        process.terminate()


def test_the_page_shows_the_machines_and_hands_over(machines: ThreeMachines, page: Page) -> None:
    """The page shows the machines, their delays and which is in charge; a click hands over; losses are reported."""
    if machines.leader() == "spare":  # on a busy computer the desk was silent for too long
        machines.request("spare", "handover")
    expect(page.locator("#in-charge")).to_have_text("desk is in charge", timeout=LONGEST)
    listed = page.locator("#machines li")
    expect(listed.nth(0)).to_have_text("desk (this machine): in charge")
    expect(listed.nth(1)).to_have_text(re.compile(r"^spare: standby, round trip \d+\.\d ms$"), timeout=LONGEST)
    expect(listed.nth(2)).to_have_text(re.compile(r"^left: lends its ports, round trip \d+\.\d ms$"), timeout=LONGEST)
    page.get_by_role("button", name="Hand over to spare").click()
    expect(page.locator("#in-charge")).to_have_text("spare is in charge", timeout=LONGEST)
    expect(page.locator("#dock-said")).to_have_text("spare is in charge", timeout=LONGEST)
    page.get_by_role("button", name="Next", exact=True).click()
    expect(page.locator("#dock-said")).to_have_text("Not done: spare is in charge; nothing changed here")
    machines.kill("spare")
    expect(page.locator("#health")).to_contain_text("spare is not there: no engine could take over", timeout=LONGEST)
    expect(page.locator("#in-charge")).to_have_text("desk is in charge", timeout=LONGEST)
    machines.kill("desk")  # it may return with other machines in its rig
    expect(page.locator("#network")).to_be_hidden(timeout=LONGEST)
