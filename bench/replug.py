"""What a cable that is pulled and put back costs the other players, on the JACK server that is running.

    python -m bench.replug [--seconds 5] [--rounds 5]

The load of `load.py`. The last output's instrument is a process of its own, and in every other turn its port
vanishes and returns twice per second: hotplug notices, opens it again and sends it the scene. The players are in
a third process, which opens nothing; the latency is measured over all inputs. Medians of turns.
"""

import argparse
import platform
import select
import subprocess
import sys
from typing import Final

import rtmidi
import trio

from bench.flood import SETTLE, Looks, table, turn
from bench.jackports import feeder
from bench.load import INPUTS, OUTPUTS, RATE, WARM, Samples, rig
from engine.core.commands import RecallScene
from engine.live import music_loop
from engine.live.hotplug import Hotplug
from engine.live.loop_wakeup import waker
from engine.live.meters import Latency
from engine.live.port_opening import OpenPorts, PortOpener
from engine.live.process.gc_pauses import collector_at_rest
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.ports.open_system import open_system
from engine.ports.port import OutputPort
from engine.rig.models.rig import Output

GEAR: Final = "replug-gear"
PULLED: Final = 0.25  # seconds out, and as long in
NAME: Final = f"out{OUTPUTS - 1}"


def gear() -> None:
    """The other process: a port that vanishes, or returns, for each line read."""
    port = None
    while True:
        if port is not None and port.get_message() is not None:
            continue
        if not select.select([sys.stdin], [], [], 0.001)[0]:
            continue
        if not sys.stdin.readline():
            return
        if port is None:
            port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=GEAR)
            port.open_virtual_port("in")
        else:
            port.delete()
            port = None
        print("done", flush=True)


class Gear:
    """The near side of that process."""

    def __init__(self) -> None:
        command = [sys.executable, "-m", "bench.replug", "--gear"]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.times = 0

    def change(self) -> None:
        """Pull it, or put it back."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write("\n")
        self._process.stdin.flush()
        self._process.stdout.readline()
        self.times += 1

    async def change_often(self) -> None:
        """Pull it and put it back again and again, until cancelled; at the end it is in."""
        while True:
            with trio.CancelScope(shield=True):
                await trio.to_thread.run_sync(self.change)
                await trio.sleep(PULLED)
                await trio.to_thread.run_sync(self.change)
            await trio.sleep(PULLED)

    def close(self) -> None:
        """End it."""
        self._process.terminate()
        self._process.wait()


async def play(rounds: int, seconds: float) -> dict[str, list[dict[str, float]]]:
    """All turns; figures in µs."""
    system, instrument = open_system("jack", "bench"), Gear()
    instrument.change()
    inputs = [Looks(system.open_virtual_input(f"bench-in{i}")) for i in range(INPUTS)]
    wanted = rig()
    wanted.outputs[NAME] = Output(port=f"{GEAR}*")
    outputs: dict[str, OutputPort] = {
        f"out{i}": system.open_virtual_output(f"bench-out{i}") for i in range(OUTPUTS - 1)
    }
    opener = PortOpener(system, virtual=False)
    outputs[NAME] = opener.output(NAME, wanted.outputs[NAME])
    inbox = InputReader(dict(enumerate(inputs)))
    show = Show(wanted, OpenPorts({f"in{i}": port for i, port in enumerate(inputs)}, outputs), inbox)
    samples = Samples()
    show.latency = Latency(samples.add)
    show.apply(RecallScene(1), "shell")
    turns: dict[str, list[dict[str, float]]] = {"alone": [], "beside a loose cable": []}
    players = feeder(rounds * 2 * (seconds + SETTLE + 3), WARM, RATE)
    with collector_at_rest():
        inbox.start(waker(show))
        async with trio.open_nursery() as nursery:
            nursery.start_soon(Hotplug(show, opener).run)
            for _ in range(rounds):
                for name, listed in turns.items():
                    async with trio.open_nursery() as loose:
                        if name != "alone":
                            loose.start_soon(instrument.change_often)
                        await trio.sleep(SETTLE)
                        listed.append(await turn(show, inputs, samples, seconds))
                        loose.cancel_scope.cancel()
            nursery.cancel_scope.cancel()
        inbox.stop()
    print(f"pulled and put back {instrument.times // 2} times; dropped meanwhile {show.ports.out_meters[-1].dropped:,}")
    players.terminate()
    show.ports.close()
    instrument.close()
    system.close()
    return turns


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--gear", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.gear:
        gear()
        return
    print(f"{platform.machine()}, Python {platform.python_version()}, JACK ports;", end=" ")
    print(f"medians of {options.rounds} turns of {options.seconds:.0f} s; µs, CPU in % of a core")
    table(music_loop.run(play, options.rounds, options.seconds))


if __name__ == "__main__":
    main()
