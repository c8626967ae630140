"""What followers of the show cost the music: latency and CPU with and without them, in one run.

    python -m bench.following [--seconds 5] [--rounds 3]

The load is that of `load.py`, every input of the large rig with a full DIN cable of messages; twelve outputs are on DIN
cables here, so that there are loads to report. Four turns: the show alone; the engine's socket with its gauge and no
follower; a follower, in a process of its own; a follower that also asks for the messages that pass.
"""

import argparse
import platform
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import trio

from bench.forward import WARM_UP
from bench.load import INPUTS, MemoryPorts, Samples, percentiles, rig
from engine.core.commands import RecallScene
from engine.live import music_loop
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.loop_wakeup import waker
from engine.live.meters import Latency
from engine.live.port_opening import OpenPorts
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.process.priority import undisturbed
from engine.live.process.worker_threads import to_its_end
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.live.socket.panel_requests import PanelRequests
from engine.live.socket.server import SocketServer
from engine.ports.memory import MemorySystem

#: which outputs are on DIN cables: those that get no more than one can carry
DIN: Final = range(INPUTS // 2)
TURNS: Final = ("show alone", "nobody follows", "one follows", "with messages")


@contextmanager
def listening(path: Path) -> Iterator[socket.socket]:
    """The engine's socket, for one turn."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(path))
        listener.listen()
        try:
            yield listener
        finally:
            path.unlink()


def one_turn(
    listener: socket.socket | None, seconds: float, mark: Callable[[], None] = lambda: None
) -> dict[str, float]:
    """Latency in µs and CPU as a share of a core of a show that answers on this socket, if there is one.

    `mark` is called when what counts begins, and when it ends.
    """
    ports, samples = MemoryPorts(), Samples()
    used = []

    async def play() -> None:
        loaded = rig(DIN)
        patch = OpenPorts(
            {f"in{i}": port for i, port in enumerate(ports.inputs)},
            {f"out{i}": port for i, port in enumerate(ports.outputs)},
        )
        inbox = InputReader(dict(enumerate(ports.inputs)))
        show = Show(loaded, patch, inbox)
        show.latency = Latency(samples.add)
        show.apply(RecallScene(1), "shell")
        session = RigSession(show, Path("bench.toml"), "", to_its_end)
        panel = PanelRequests(show, session, MemorySystem("bench"))
        async with trio.open_nursery() as nursery:
            if listener is not None:
                work = RemoteWork(show, session)
                server = SocketServer(show, session, RigSaver(session), work, panel, listener.dup())
                nursery.start_soon(server.serve)
            with collector_at_rest(), undisturbed():
                inbox.start(waker(show))
                await trio.sleep(WARM_UP)
                del samples.all[:]
                mark()
                begin, cpu = time.monotonic(), time.process_time()
                await trio.sleep(seconds)
                used.append((time.process_time() - cpu) / (time.monotonic() - begin))
                mark()
                inbox.stop()
            nursery.cancel_scope.cancel()

    music_loop.run(play)
    return {**percentiles(samples.all), "cpu": 100 * used[0]}


def followed(turn: str, seconds: float, folder: Path) -> dict[str, float]:
    """The same, with the frames and bytes per second that the follower received."""
    path = folder / "socket"
    with listening(path) as listener:
        follower = listen(path, turn == TURNS[3]) if turn in TURNS[2:] else None
        figures = one_turn(listener if turn != TURNS[0] else None, seconds)
    got = follower.communicate()[0].split() if follower is not None else ["0", "0"]
    return {**figures, "frames/s": float(got[0]), "kB/s": float(got[1]) / 1000}


def take_turns(
    turns: Sequence[str], rounds: int, run: Callable[[str], dict[str, float]]
) -> dict[str, dict[str, float]]:
    """The median figures of each turn; forwards and backwards, as other work on the machine comes and goes."""
    found: dict[str, list[dict[str, float]]] = {turn: [] for turn in turns}
    for number in range(rounds):
        for turn in turns if number % 2 == 0 else reversed(turns):
            found[turn].append(run(turn))
    return {
        turn: {key: statistics.median(each[key] for each in listed) for key in listed[0]}
        for turn, listed in found.items()
    }


def show_table(found: dict[str, dict[str, float]], rounds: int, seconds: float) -> None:
    print(f"{platform.machine()}, Python {platform.python_version()}, memory ports, warm, ", end="")
    print(f"median of {rounds} turns of {seconds:.0f} s; latencies in µs, CPU in % of a core")
    columns = list(next(iter(found.values())))
    print("| | " + " | ".join(columns) + " |\n|---" + "|---" * len(columns) + "|")
    for turn, row in found.items():
        print(f"| {turn} | " + " | ".join(f"{row[key]:,.0f}" for key in columns) + " |")


def listen(path: Path, events: bool) -> "subprocess.Popen[str]":
    """Start a follower in a process of its own."""
    options = ["--follow", str(path)] + (["--events"] if events else [])
    return subprocess.Popen([sys.executable, "-m", "bench.following", *options], stdout=subprocess.PIPE, text=True)


def follow(path: str, events: bool) -> None:
    """The other process: reads what the engine sends until it ends; prints frames and bytes per second."""
    frames = octets = 0
    with socket.socket(socket.AF_UNIX) as connection:
        connection.connect(path)
        connection.sendall(b'{"do": "follow", "events": true}\n' if events else b'{"do": "follow"}\n')
        begin = time.monotonic()
        while piece := connection.recv(1 << 16):
            begin = begin if frames else time.monotonic()
            frames += piece.count(b"\n")
            octets += len(piece)
    took = time.monotonic() - begin
    print(frames / took, octets / took)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--follow", help=argparse.SUPPRESS)
    parser.add_argument("--events", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.follow:
        follow(options.follow, options.events)
        return
    folder = Path(tempfile.mkdtemp(prefix="bl"))
    try:
        found = take_turns(TURNS, options.rounds, lambda turn: followed(turn, options.seconds, folder))
    finally:
        shutil.rmtree(folder)
    show_table(found, options.rounds, options.seconds)


if __name__ == "__main__":
    main()
