"""The panel over TLS, with a certificate supplied by the user."""

import ssl
from pathlib import Path

import pytest
import trio

from engine.panel.panel_process import PanelError, PanelOptions, serve
from tests.support.panel_ends import Engine, panel

HERE = Path(__file__).parent
CERT, KEY = HERE / "test-cert.pem", HERE / "test-key.pem"


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))


def _context() -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(CERT, KEY)
    return context


async def test_page_and_socket_by_tls(tmp_path: Path) -> None:
    """The live socket works over TLS with an https origin; an http origin is rejected."""
    engine = Engine()
    trusting = ssl.create_default_context(cafile=str(CERT))
    async with engine.playing(), panel(tmp_path, tls=_context()) as ends:
        secured = trio.SSLStream(await ends.stream(), trusting, server_hostname="127.0.0.1", https_compatible=True)
        async with ends.live(stream=secured) as live:
            assert await live.hear() == {"role": "operate"}
            assert (await live.ask(do="next"))["done"]
        async with trio.SSLStream(
            await ends.stream(), trusting, server_hostname="127.0.0.1", https_compatible=True
        ) as other:
            plain = [("Host", ends.host), ("Origin", f"http://{ends.host}")]
            assert (await ends.upgrade(other, plain)).status == 403


async def test_who_does_not_speak_tls_hurts_nobody(tmp_path: Path) -> None:
    """A plain request to the TLS port ends; the next browser is served."""
    trusting = ssl.create_default_context(cafile=str(CERT))
    async with panel(tmp_path, tls=_context()) as ends:
        async with await ends.stream() as plain:
            await plain.send_all(b"GET / HTTP/1.1\r\n\r\n")
        secured = trio.SSLStream(await ends.stream(), trusting, server_hostname="127.0.0.1", https_compatible=True)
        async with ends.live(stream=secured) as live:
            assert await live.hear() == {"role": "operate"}


@pytest.mark.parametrize(
    ("cert", "key", "said"),
    [
        (CERT, None, "go together"),
        (None, KEY, "go together"),
        (CERT, CERT, "cannot be used"),
        (HERE / "no-such.pem", KEY, "cannot be used"),
        (HERE / "test_tls.py", KEY, "cannot be used"),
    ],
)
def test_certificates_that_cannot_be_used_are_reported(cert: Path | None, key: Path | None, said: str) -> None:
    """A missing or wrong file is an error in plain words, before anything is served."""
    with pytest.raises(PanelError, match=said):
        serve(PanelOptions("pit", 0, cert=cert, key=key), print)
