"""Real servers for the tests here. A missing one skips its tests, with the reason; with BAYLEAF_NO_SKIP=1 it fails."""

import fcntl
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect, sync_playwright

from tests.support.alsa_guest import QEMU, Guest
from tests.support.engine_process import Engine
from tests.support.fluidsynth import SOUNDS, FluidSynth
from tests.support.jack_servers import MORTAL, SERVER, start_as_granted
from tests.support.needed import need
from tests.support.own_shared_memory import own_shared_memory
from tests.support.page_turner import beginning_engine
from tests.support.panel_in_browser import RIG, RIG_2, RIG_PLAYERS, PanelInBrowser, pit
from tests.support.waiting import WITHIN

#: these come last, in this order: starts, which need the processor for themselves; then what the guest found
LAST = ("test_crash.py", "test_alsa_guest.py")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests that mostly wait come first, as the guest runs beside them."""
    items.sort(key=lambda item: LAST.index(item.path.name) + 1 if item.path.name in LAST else 0)


@pytest.fixture(scope="session", autouse=True)
def guest(request: pytest.FixtureRequest) -> Iterator[Guest | None]:
    """A guest with a sequencer and page turners, started before all else; None where its test was not asked for."""
    wanted = any(item.path.name == LAST[-1] for item in request.session.items) and shutil.which(QEMU) is not None
    running = Guest("alsa_inside.py", "keyboards_inside.py") if wanted else None
    try:
        yield running
    finally:
        if running is not None:
            running.end()


@pytest.fixture(scope="session", autouse=True)
def page_turner_engine(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine | None]:
    """The engine of keyboards_inside.py, started before all else; None where its tests were not asked for."""
    if any(item.path.name == "keyboards_inside.py" for item in request.session.items):
        with beginning_engine(tmp_path_factory.mktemp("pages")) as engine:
            yield engine
    else:
        yield None


@pytest.fixture(scope="session")
def alone() -> Iterator[None]:
    """These servers share nothing with other runs and workers, nor with what killed ones have left behind, where the
    system grants it. Elsewhere one run at a time uses their names, which are fixed: a second one waits here."""
    if own_shared_memory():
        yield
        return
    with (Path(tempfile.gettempdir()) / f"{SERVER}.lock").open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


@pytest.fixture(scope="session")
def jack_server(alone: None) -> Iterator[str]:
    """JACK's dummy server under a name of its own, set in the environment of this process and its children."""
    need("jackd")
    before = dict(os.environ)
    os.environ.update(JACK_DEFAULT_SERVER=SERVER, JACK_NO_START_SERVER="1")
    process = start_as_granted(SERVER)
    try:
        yield SERVER
    finally:
        process.terminate()
        process.wait()
        os.environ.clear()
        os.environ.update(before)


@pytest.fixture
def mortal_jack(alone: None) -> Iterator[subprocess.Popen[bytes]]:
    """A second server (named MORTAL), to be stopped or killed; for child processes only, whose environment names it."""
    need("jackd")
    process = start_as_granted(MORTAL)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


@pytest.fixture
def synth(jack_server: str) -> Iterator[FluidSynth]:
    """FluidSynth on the same server."""
    need("fluidsynth")
    need(SOUNDS)
    synth = FluidSynth()
    try:
        synth.start()
        yield synth
    finally:
        synth.off()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium, without a window."""
    need("chromium")
    expect.set_options(timeout=WITHIN * 1000)  # ms; Playwright's own five seconds pass on a busy computer
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def looked_at(
    jack_server: str, chromium: Browser, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[PanelInBrowser]:
    """An engine with its panel for all tests of a file that edit nothing."""
    with pit(tmp_path_factory.mktemp("pit"), chromium) as found:
        yield found


@pytest.fixture
def look_pit(looked_at: PanelInBrowser, chromium: Browser) -> Iterator[PanelInBrowser]:
    """The same in its first scene, without traces of the test before."""
    looked_at.said.clear()
    looked_at.engine.request("scene", scene=11)
    yield looked_at
    for context in chromium.contexts:
        context.close()


@contextmanager
def _to_edit(folder: Path, browser: Browser, rig: str = RIG) -> Iterator[PanelInBrowser]:
    """An engine on JACK ports for one test, its panel and a browser, of which no window stays open."""
    with pit(folder, browser, rig) as found:
        yield found
        for context in browser.contexts:
            context.close()


@pytest.fixture
def two_pit(jack_server: str, chromium: Browser, tmp_path: Path) -> Iterator[PanelInBrowser]:
    """An engine on JACK ports with a rig of format 2, its panel and a browser."""
    with _to_edit(tmp_path, chromium, RIG_2) as found:
        yield found


@pytest.fixture
def players_pit(jack_server: str, chromium: Browser, tmp_path: Path) -> Iterator[PanelInBrowser]:
    """An engine on JACK ports with a player who has scenes of her own, its panel and a browser."""
    with _to_edit(tmp_path, chromium, RIG_PLAYERS) as found:
        yield found


@pytest.fixture
def page_pit(jack_server: str, chromium: Browser, tmp_path: Path) -> Iterator[PanelInBrowser]:
    """An engine on JACK ports, its panel and a browser."""
    with _to_edit(tmp_path, chromium) as found:
        yield found
