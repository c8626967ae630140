"""`bayleaf keep`: what it asks of the engine, what it prints, and what it rejects."""

import json
import os
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from engine.cli.commands.keep import keep
from engine.cli.output import CommandError
from engine.live.socket.client import NoEngine

KEPT: dict[str, Any] = {"done": True, "text": "saved 12 messages from the last 5 minutes in /show/kept.mid"}


@pytest.fixture
def app() -> typer.Typer:
    """A command line that contains `keep`; the callback makes it one command of several, as in `bayleaf`."""
    made = typer.Typer(rich_markup_mode=None)
    made.callback()(lambda: None)
    made.command()(keep)
    return made


class Engine:
    """A stand-in for a running engine: answers one request, on the socket where the client looks for it."""

    def __init__(self, folder: Path) -> None:
        self.answer: dict[str, Any] = KEPT
        self.asked: list[dict[str, Any]] = []
        path = folder / "bayleaf" / "pit.sock"
        path.parent.mkdir()
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._listener.bind(os.fspath(path))
        self._listener.listen(1)
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def _serve(self) -> None:
        while True:
            connection, _ = self._listener.accept()
            with connection, connection.makefile("rb") as talk:
                line = talk.readline()
                if not line:
                    return
                self.asked.append(json.loads(line))
                connection.sendall(json.dumps(self.answer).encode() + b"\n")

    def close(self) -> None:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as last:
            last.connect(self._listener.getsockname())
        self._thread.join()
        self._listener.close()


@pytest.fixture
def engine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Engine]:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    made = Engine(tmp_path)
    yield made
    made.close()


def test_it_asks_for_five_minutes_and_a_whole_path(
    app: typer.Typer, engine: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without --last it is five minutes; the path is relative to the caller, not the engine; the answer is printed."""
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["keep", "kept.mid", "--name", "pit"])
    assert (done.exit_code, done.stdout) == (0, KEPT["text"] + "\n")
    assert engine.asked == [{"do": "keep", "last_s": 300.0, "file": str(tmp_path / "kept.mid")}]


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("90s", 90.0),
        ("5m", 300.0),
        ("1h", 3600.0),
        ("5 min", 300.0),
        ("300", 300.0),
        ("1.5h", 5400.0),
        (" 2 h ", 7200.0),
        ("0.5", 0.5),
        ("100h", 360_000.0),
    ],
)
def test_how_far_back(app: typer.Typer, engine: Engine, text: str, seconds: float) -> None:
    """Seconds, minutes and hours are accepted; a bare number is seconds."""
    assert CliRunner().invoke(app, ["keep", "/show/kept.mid", "--last", text, "--name", "pit"]).exit_code == 0
    assert [request["last_s"] for request in engine.asked] == [seconds]


@pytest.mark.parametrize("text", ["", "five", "5x", "-5m", "0", "0s", "1e3", "nan", "inf", "5m30s", "101h", "9" * 400])
def test_a_wrong_length_of_time_is_a_usage_error(app: typer.Typer, monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    """A wrong --last gives status 2, says what is allowed on stderr, and asks the engine nothing."""
    monkeypatch.setattr("engine.live.socket.client.ask", None)
    done = CliRunner().invoke(app, ["keep", "kept.mid", f"--last={text}"])
    assert done.exit_code == 2
    assert "90s, 5m, 1h" in " ".join(done.stderr.split())


def test_json(app: typer.Typer, engine: Engine) -> None:
    """With --json the engine's answer is printed unchanged."""
    done = CliRunner().invoke(app, ["keep", "/show/kept.mid", "--json", "--name", "pit"])
    assert json.loads(done.stdout) == KEPT


def test_what_the_engine_refuses_is_a_fault(app: typer.Typer, engine: Engine) -> None:
    """If the engine refuses, the command fails with the engine's sentence."""
    engine.answer = {"done": False, "text": "/show/kept.mid already exists and was not changed; choose another name"}
    done = CliRunner().invoke(app, ["keep", "/show/kept.mid", "--name", "pit"])
    assert isinstance(done.exception, CommandError)
    assert str(done.exception) == engine.answer["text"]


def test_without_an_engine(app: typer.Typer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """If no engine is running, the command says so."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    done = CliRunner().invoke(app, ["keep", "/show/kept.mid"])
    assert isinstance(done.exception, NoEngine)
