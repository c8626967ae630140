"""Mutated HTTP requests and WebSocket frames: each is given to a panel that runs by itself."""

import contextlib
import os
import re
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from wsproto import ConnectionType
from wsproto.connection import Connection
from wsproto.events import BytesMessage, CloseConnection, Ping, TextMessage

from tests.support.mutator import Sample
from tests.support.paths import BAYLEAF

_HERE: Final = "127.0.0.1"
_ANSWERED: Final = 0.002  # seconds; what has not been answered by then is broken off
_END: Final = 20.0  # seconds
_UPGRADE: Final = (
    "GET /live HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
    "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\nSec-WebSocket-Version: 13\r\n\r\n"
)
_REQUESTS: Final = (
    "GET / HTTP/1.1\r\nHost: {host}\r\nCookie: bayleaf-1=abc; a=b\r\nAccept-Encoding: gzip\r\n\r\n",
    "GET /page/main.js HTTP/1.1\r\nHost: {host}\r\nIf-None-Match: x\r\n\r\nGET / HTTP/1.0\r\nHost: {host}\r\n\r\n",
    "POST /pair HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Length: 14\r\n\r\ncode=ABCD-EFGH",
    "POST /pair HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nTransfer-Encoding: chunked\r\n\r\n"
    "5\r\ncode=\r\n0\r\n\r\n",
    "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\0\0\0\4\0\0\0\0\0",
    _UPGRADE,
)
_TEXTS: Final = (
    '{"events": true}',
    '{"rest": true}',
    '{"id": 1, "ask": {"do": "next"}}',
    '{"id": 2, "ask": {"do": "explain", "scene": 1, "input": "keys", "message": "90 3C 40"}}',
)


class PanelFault(Exception):
    """The panel has ended, or has logged a fault."""


class BrowserBytes:
    """What a browser sends: whole requests, and frames on a live socket."""

    def samples(self) -> list[Sample]:
        made = Connection(ConnectionType.CLIENT)
        frames = [made.send(TextMessage(text)) for text in _TEXTS]
        frames += [made.send(BytesMessage(b"abc")), made.send(Ping(b"x")), made.send(CloseConnection(1000, "bye"))]
        requests = [Sample("request", text.format(host=f"{_HERE}:PORT").encode()) for text in _REQUESTS]
        return [*requests, *(Sample("live", frame) for frame in (*frames, b"".join(frames)))]

    @contextlib.contextmanager
    def taking(self) -> Iterator["BrowserBytes"]:
        folder = Path(tempfile.mkdtemp(prefix="bl"))
        self._log, self._read = folder / "state" / "bayleaf" / "bayleaf-panel.log", 0
        environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
        command = [str(BAYLEAF), "panel", "--port", "0"]
        with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as self._process:
            assert self._process.stdout is not None
            found = re.search(r":(\d+)/", self._process.stdout.readline())
            assert found is not None
            self._port = int(found[1])
            try:
                yield self
            finally:
                self._process.terminate()
                self._process.wait(_END)
                shutil.rmtree(folder)

    def take(self, sample: Sample) -> None:
        with contextlib.suppress(OSError), socket.create_connection((_HERE, self._port), _END) as browser:
            if sample.to == "live":
                browser.sendall(self._with_port(_UPGRADE.format(host=f"{_HERE}:PORT").encode()))
                browser.recv(1000)
            browser.sendall(self._with_port(sample.data))
            browser.settimeout(_ANSWERED)
            browser.recv(1000)
        if self._process.poll() is not None:
            raise PanelFault(f"the panel ended with status {self._process.returncode}")
        if self._log.exists() and len(written := self._log.read_text()) > self._read:
            news, self._read = written[self._read :], len(written)
            raise PanelFault(news)

    def _with_port(self, data: bytes) -> bytes:
        return data.replace(b"PORT", str(self._port).encode())
