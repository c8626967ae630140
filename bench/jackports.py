"""The large rig's inputs and outputs as ports on the running JACK server, and a process that feeds them."""

import argparse
import subprocess
import sys
import time
from typing import Any

from bench.load import INPUTS, OUTPUTS, messages


class JackPorts:
    """The engine's own ports; `cycle` as for MemoryPorts."""

    def __init__(self, cycle: int, rate: int) -> None:
        from engine.ports.open_system import open_system

        self._cycle = cycle
        self._rate = rate
        self._system = open_system("jack", "bench")
        self.inputs: list[Any] = [self._system.open_virtual_input(f"bench-in{i}") for i in range(INPUTS)]
        self.outputs: list[Any] = [self._system.open_virtual_output(f"bench-out{i}") for i in range(OUTPUTS)]
        self._feeder: subprocess.Popen[str] | None = None

    def feed(self, seconds: float) -> None:
        """Play for this many seconds."""
        self._feeder = feeder(seconds + 3, self._cycle, self._rate)

    def close(self) -> None:
        """End the feeder and close the ports."""
        if self._feeder is not None:
            self._feeder.terminate()
            self._feeder.wait()
        for port in [*self.inputs, *self.outputs]:
            port.close()
        self._system.close()


def feeder(seconds: float, cycle: int, rate: int, only: int | None = None) -> subprocess.Popen[str]:
    """Start `feed` in a process of its own, and wait until it plays."""
    options = [str(seconds), "--cycle", str(cycle), "--rate", str(rate)]
    if only is not None:
        options += ["--only", str(only)]
    process = subprocess.Popen([sys.executable, "-m", "bench.jackports", *options], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline().strip() == "feeding"
    return process


def feed(seconds: float, cycle: int, rate: int, only: int | None) -> None:
    """The other process: plays this many messages per second to the bench's inputs, or to one of them."""
    import rtmidi

    ports = {}
    for source in range(INPUTS) if only is None else (only,):
        port = ports[source] = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=f"feeder{source}-{rate}")
        names = port.get_ports(encoding="utf-8")
        port.open_port(next(index for index, name in enumerate(names) if name.endswith(f"bench-in{source}")), "out")
    made = {source: messages(source, cycle) for source in ports}
    print("feeding", flush=True)
    if only is None:
        time.sleep(1.5)  # the other process loads its rig
    begin, sent, end = time.monotonic(), 0, time.monotonic() + seconds
    while (now := time.monotonic()) < end:
        due = int((now - begin) * rate)
        for index in range(sent, due):
            for source, port in ports.items():
                port.send_message(made[source][index % cycle])
        sent = max(sent, due)
        time.sleep(0.0005)
    for port in ports.values():
        port.delete()


def main() -> None:
    """The process that feeds."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("seconds", type=float)
    for own in ("--cycle", "--rate", "--only"):
        parser.add_argument(own, type=int)
    options = parser.parse_args()
    feed(options.seconds, options.cycle, options.rate, options.only)


if __name__ == "__main__":
    main()
