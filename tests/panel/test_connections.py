"""The connections of the panel: exceptions that its application raises are logged. (Limits: test_browser_socket.)"""

from pathlib import Path

import pytest

from engine.fault_log import faults
from engine.panel.app import Panel
from tests.support.panel_ends import panel


async def test_a_fault_of_the_panel_is_logged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A request that causes a fault is answered with 500, and the log has the path and the traceback."""

    def broken(*_: object) -> None:
        raise RuntimeError("a mistake")

    monkeypatch.setattr(Panel, "_role", broken)
    file = tmp_path / "pit-panel.log"
    with faults.kept_in(file):
        async with panel(tmp_path) as ends:
            assert (await ends.http("GET", "/")).status == 500
    written = file.read_text()
    assert "while serving /: RuntimeError('a mistake')" in written
    assert "in broken" in written


async def test_a_browser_that_goes_in_the_middle_is_no_fault(tmp_path: Path) -> None:
    """A form that ends half-way is the browser's own doing: nothing is logged."""
    file = tmp_path / "pit-panel.log"
    with faults.kept_in(file):
        async with panel(tmp_path) as ends, await ends.stream() as stream:
            head = (
                f"POST /pair HTTP/1.1\r\nHost: {ends.host}\r\nOrigin: http://{ends.host}\r\nContent-Length: 99\r\n\r\n"
            )
            await stream.send_all(head.encode() + b"code=")
            await stream.aclose()
            assert (await ends.http("GET", "/")).status == 200
    assert not file.exists()
