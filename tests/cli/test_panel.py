"""The panel as a process beside an engine: it starts, dies, hangs and ends, and the music is not affected."""

import http.client
import json
import os
import re
import signal
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, TypeVar

import click
import pytest
from typer.main import get_command
from typer.testing import CliRunner

from engine.cli.app import app
from engine.cli.commands.panel import beside
from engine.panel import panel_process
from engine.panel.panel_process import PanelOptions
from tests.support.engine_on_fifos import DEADLINE, EngineOnFifos
from tests.support.panel_ends import Ends
from tests.support.paths import BAYLEAF, ROOT
from tests.support.waiting import until

pytestmark = pytest.mark.slow

Found = TypeVar("Found")


class Said:
    """What a process prints, line by line, as it arrives."""

    def __init__(self, pipe: IO[str]) -> None:
        self.lines: list[str] = []
        self._pipe = pipe
        self._thread = threading.Thread(target=self._read)
        self._thread.start()

    def _read(self) -> None:
        self.lines.extend(line.rstrip("\n") for line in iter(self._pipe.readline, ""))

    def line(self, pattern: str, after: int = 0) -> str:
        """The first line that matches completely, after skipping the first `after` lines."""
        return until(pattern, lambda: next((line for line in self.lines[after:] if re.fullmatch(pattern, line)), None))

    def close(self) -> None:
        self._thread.join(DEADLINE)
        self._pipe.close()


class Theatre:
    """A stage whose engine has a panel."""

    def __init__(self, folder: Path) -> None:
        self.running = EngineOnFifos(folder)
        self.said: list[Said] = []

    def start(self, *command: str) -> tuple[subprocess.Popen[str], Said]:
        process = subprocess.Popen(
            [str(BAYLEAF), *command],
            env=self.running.environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.running.processes.append(process)
        assert process.stdout is not None
        self.said.append(Said(process.stdout))
        return process, self.said[-1]

    def run(self, *options: str) -> tuple[subprocess.Popen[str], Said, int]:
        """Start an engine with its panel; returns the panel's port too."""
        command = ("run", str(self.running.rig), "--backend", "memory", "--panel", "--panel-port", "0", *options)
        process, said = self.start(*command)
        return process, said, self.port(said)

    def port(self, said: Said, after: int = 0) -> int:
        return int(said.line(r"http://127\.0\.0\.1:\d+/", after).rpartition(":")[2].strip("/"))

    def passes(self) -> bool:
        """Whether a note passes through the engine."""
        os.write(self.running.keys, bytes.fromhex("90 3C 40"))
        self.running.heard(bytes.fromhex("90 3C 40"))
        os.write(self.running.keys, bytes.fromhex("80 3C 40"))
        self.running.heard(bytes.fromhex("80 3C 40"))
        return True

    def close(self) -> None:
        for process in self.running.processes:
            process.kill()
            process.wait(DEADLINE)
            if process.stderr is not None:
                process.stderr.close()
        for said in self.said:
            said.close()
        self.running.processes.clear()
        self.running.close()


@pytest.fixture
def theatre(tmp_path: Path) -> Iterator[Theatre]:
    made = Theatre(tmp_path)
    yield made
    made.close()


def _status(port: int, host: str | None = None) -> int | None:
    """The status of the page, or None if nothing answers."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=DEADLINE)
    try:
        connection.request("GET", "/page/pair.css", headers={} if host is None else {"Host": host})
        return connection.getresponse().status
    except OSError:
        return None
    finally:
        connection.close()


def _answers(port: int) -> bool:
    return _status(port) == 200


def _panel_of(engine: int) -> int:
    """The panel that the engine started; an engine has other processes, too."""
    return until("the panel's process", lambda: next(filter(_is_panel, _children(engine)), None))


def _is_panel(process: int) -> bool:
    try:
        return b"panel" in Path(f"/proc/{process}/cmdline").read_bytes().split(b"\0")
    except OSError:
        return False


def _children(process: int) -> list[int]:
    listed = subprocess.run(["ps", "-o", "pid=", "--ppid", str(process)], capture_output=True, text=True, check=False)
    return [int(number) for number in listed.stdout.split()]


def _runs(process: int) -> bool:
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_the_address_is_printed_when_it_answers(theatre: Theatre) -> None:
    """`run --panel` prints the page's address on a line of its own once it answers; it gives way to the engine."""
    process, _, port = theatre.run()
    assert _answers(port)
    assert _status(port, "evil.example") == 403
    assert os.getpriority(os.PRIO_PROCESS, _panel_of(process.pid)) > os.getpriority(os.PRIO_PROCESS, process.pid)
    assert theatre.passes()


async def test_what_the_page_asks_happens(theatre: Theatre) -> None:
    """A scene recalled over the live socket is in force when the answer says so; an impossible command is rejected."""
    _, _, port = theatre.run()
    async with Ends(port, {}).live() as live:
        assert await live.hear() == {"role": "operate"}
        answer = await live.ask(1, do="next")
        assert (answer["done"], answer["text"]) == (True, "scene 2 Two")
        assert theatre.running.scene() == {"number": 2, "name": "Two"}
        answer = await live.ask(2, do="scene", scene=9)
        assert (answer["done"], answer["text"]) == (False, "there is no scene 9; nothing changed")
        assert (await live.ask(3, do="panic"))["done"]


def test_a_killed_panel_costs_no_music_and_comes_back(theatre: Theatre) -> None:
    """After kill -9 of the panel notes still pass, and the engine starts another panel."""
    process, said, _ = theatre.run()
    before = len(said.lines)
    first = _panel_of(process.pid)
    os.kill(first, signal.SIGKILL)
    assert theatre.passes()
    said.line(r"the panel has ended .*", before)
    assert theatre.passes()
    assert _answers(theatre.port(said, before))
    assert _panel_of(process.pid) != first
    assert theatre.passes()


def test_a_panel_that_hangs_costs_no_music(theatre: Theatre) -> None:
    """While the panel is stopped notes pass and commands act; at SIGTERM the engine ends both, with status 0."""
    process, _, _ = theatre.run()
    panel = _panel_of(process.pid)
    os.kill(panel, signal.SIGSTOP)
    for _ in range(10):
        assert theatre.passes()
    assert theatre.running.bayleaf("next").returncode == 0
    process.send_signal(signal.SIGTERM)
    assert process.wait(DEADLINE) == 0
    assert not _runs(panel)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_the_panel_ends_with_the_engine(theatre: Theatre, number: signal.Signals) -> None:
    """However the engine ends, its panel does not outlive it, and the port is free again."""
    process, _, port = theatre.run()
    panel = _panel_of(process.pid)
    process.send_signal(number)
    process.wait(DEADLINE)
    until("the panel's end", lambda: not _runs(panel))
    assert _status(port) is None


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_panel_of_an_engine_that_runs(theatre: Theatre, number: signal.Signals) -> None:
    """`panel` serves beside an engine that was started without one, and ends on request with status 0."""
    theatre.running.start()
    process, said = theatre.start("panel", "--port", "0")
    assert _answers(theatre.port(said))
    process.send_signal(number)
    assert process.wait(DEADLINE) == 0
    assert theatre.passes()


def test_a_port_that_is_taken(theatre: Theatre) -> None:
    """If the port is taken, `panel` says so and what to do, with status 1; with `run` the music plays all the same."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        said = theatre.running.bayleaf("panel", "--port", str(port))
        assert said.returncode == 1
        assert said.stderr == f"port {port} cannot be used (Address already in use); choose another one\n"
        command = ("run", str(theatre.running.rig), "--backend", "memory", "--panel", "--panel-port", str(port))
        _, lines = theatre.start(*command)
        lines.line(r"the panel has ended \(status 1\).*")
        assert theatre.passes()


def test_one_line_starts_the_engine_and_a_page_for_others(theatre: Theatre) -> None:
    """`run --panel --lan` shows the codes, too; without --panel, --lan is a usage error that says so."""
    _, said, port = theatre.run("--lan")
    said.line(r"To pair a browser that may see and operate, once: \S{4}-\S{4}")
    assert _answers(port)
    assert theatre.passes()
    refused = theatre.running.bayleaf("run", str(theatre.running.rig), "--lan")
    assert refused.returncode == 2
    assert "--panel" in refused.stderr


def test_lan_shows_codes_and_pairs(theatre: Theatre) -> None:
    """`--lan` shows a code for each role; each pairs once and is replaced, and the pairing outlives the panel."""
    theatre.running.start()
    process, said = theatre.start("panel", "--port", "0", "--lan", "--host", "pit.example")
    port = theatre.port(said)
    code = said.line(r"To pair a browser that may see and operate, once: \S{4}-\S{4}")[-9:]
    said.line(r"To pair a browser that may see, not operate, once: \S{4}-\S{4}")
    said.line(rf"http://pit\.example:{port}/")
    before = len(said.lines)
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=DEADLINE)
    own = {"Host": f"pit.example:{port}", "Origin": f"http://pit.example:{port}"}
    connection.request("POST", "/pair", f"code={code}", own)
    reply = connection.getresponse()
    assert (reply.status, reply.headers["Location"]) == (303, "/")
    connection.close()
    assert said.line(r"To pair a browser that may see and operate, once: .*", before)[-9:] != code
    kept = theatre.running.folder / "state" / "bayleaf" / "bayleaf.panel.json"
    assert kept.stat().st_mode & 0o777 == 0o600
    assert len(json.loads(kept.read_text())["pairings"]) == 1
    process.send_signal(signal.SIGTERM)
    process.wait(DEADLINE)
    _, again = theatre.start("panel", "--port", "0", "--lan")
    theatre.port(again)
    assert len(json.loads(kept.read_text())["pairings"]) == 1
    third = theatre.running.bayleaf("panel", "--port", str(theatre.port(again)), "--forget")
    assert (third.returncode, third.stdout) == (1, "all pairings were revoked\n")  # although the second has the port
    assert not kept.exists()


@pytest.mark.parametrize(
    ("words", "wish"),
    [
        ((), PanelOptions("bayleaf", 8420)),
        (("--port", "0", "--lan"), PanelOptions("bayleaf", 0, lan=True)),
        (
            ("--name", "pit", "--host", "stage.local", "--host", "stage", "--cert", "c.pem", "--key", "k.pem"),
            PanelOptions("pit", 8420, cert=Path("c.pem"), key=Path("k.pem"), hosts=("stage.local", "stage")),
        ),
        (("--forget",), PanelOptions("bayleaf", 8420, forget=True)),
        (tuple(beside("pit", 8420)[4:]), PanelOptions("pit", 8420, with_engine=True)),
        (tuple(beside("pit", 0, lan=True)[4:]), PanelOptions("pit", 0, lan=True, with_engine=True)),
    ],
)
def test_what_is_typed_is_served(monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], wish: PanelOptions) -> None:
    """The panel is served with the options as typed, on port 8420 unless another is given."""
    served: list[PanelOptions] = []
    monkeypatch.setattr(panel_process, "serve", lambda options, _say: served.append(options))
    monkeypatch.setattr("engine.cli.commands.panel.give_way", lambda _: None)  # the tests keep their priority
    assert CliRunner().invoke(app, ["panel", *words]).exit_code == 0
    assert served == [wish]


def test_the_panel_of_run_is_on_the_same_port() -> None:
    """`bayleaf run --panel` takes port 8420, too, unless --panel-port says otherwise."""
    root: Any = get_command(app)
    run = root.get_command(click.Context(root), "run")
    (port,) = (each for each in run.params if "--panel-port" in each.opts)
    assert port.default == 8420


def test_a_certificate_makes_the_page_secure(theatre: Theatre) -> None:
    """With --cert and --key the address begins with https, and the page is served with that certificate."""
    folder = ROOT / "tests" / "panel"
    theatre.running.start()
    files = ("--cert", str(folder / "test-cert.pem"), "--key", str(folder / "test-key.pem"))
    _, said = theatre.start("panel", "--port", "0", *files)
    port = int(said.line(r"https://127\.0\.0\.1:\d+/").rpartition(":")[2].strip("/"))
    trusting = ssl.create_default_context(cafile=str(folder / "test-cert.pem"))
    connection = http.client.HTTPSConnection("127.0.0.1", port, timeout=DEADLINE, context=trusting)
    try:
        connection.request("GET", "/page/pair.css")
        assert connection.getresponse().status == 200
    finally:
        connection.close()
