"""The connections of the panel: exceptions that its application raises are logged. (Limits: test_browser_socket.)"""

from pathlib import Path

import pytest

from engine.fault_log import faults
from engine.panel import connections
from engine.panel.app import Panel
from tests.support.panel_ends import panel


async def test_a_fault_of_the_panel_is_logged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A request that causes a fault is answered with 500, and the log has the path and the traceback."""

    def broken(*_: object) -> None:
        raise RuntimeError("a mistake")

    monkeypatch.setattr(Panel, "_form", broken)
    file = tmp_path / "pit-panel.log"
    with faults.kept_in(file):
        async with panel(tmp_path) as ends:
            assert (await ends.pair("nonsense")).status == 500
    written = file.read_text()
    assert "while serving /pair: RuntimeError('a mistake')" in written
    assert "in broken" in written


async def test_a_fault_of_a_connection_is_logged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What breaks below the application ends that connection alone, and the log has it."""

    class Broken:
        def __init__(self, *_: object) -> None:
            raise RuntimeError("a mistake")

    file = tmp_path / "pit-panel.log"
    with faults.kept_in(file):
        async with panel(tmp_path) as ends:
            with monkeypatch.context() as broken:
                broken.setattr(connections, "TCPServer", Broken)
                async with await ends.stream() as stream:
                    assert await stream.receive_some(1) == b""
            assert (await ends.http("GET", "/")).status == 200
        assert faults.count == 1
    assert "while serving a connection: RuntimeError('a mistake')" in file.read_text()


async def test_what_breaks_the_protocol_is_no_fault(tmp_path: Path) -> None:
    """Noise, a byte after an upgrade request, and whatever else a stranger sends fills no log."""
    file = tmp_path / "pit-panel.log"
    with faults.kept_in(file):
        async with panel(tmp_path) as ends:
            for after in (b"x", b"\x82\x81abcd", bytes(100)):
                async with await ends.stream() as stream:
                    await ends.upgrade(stream, ends.usual(), after)
            async with await ends.stream() as stream:
                await stream.send_all(b"GET / HTTP/1.1\r\n" * 2000)
            assert (await ends.http("GET", "/")).status == 200
    assert faults.count == 0


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
