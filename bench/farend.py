"""The players and instruments of `desk.py` on a JACK server, in a process of their own: each one is a client.

Ending a client pulls its cable. `FarEnd` is the near side; the process reads its commands, one JSON object per line.
"""

import json
import queue
import subprocess
import sys
import threading
import time
from typing import Any, Final

from bench.desk import Ear, Player, Size
from bench.load import RATE, WARM, messages

ROUND: Final = 0.0005  # seconds
#: JACK takes 64 clients, and on either side each port is one
SIZE: Final = Size(12, 16, "soak-in{}:port", "soak-out{}:port")
NAMES: Final = (*(f"in {i + 1}" for i in range(SIZE.inputs)), *(f"out {i + 1}" for i in range(SIZE.outputs)))


class FarEnd:
    """The counterpart of `Desk` for JACK."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "bench.farend"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self.ears()  # now everything is there

    def pull(self, name: str) -> None:
        """See Desk."""
        self._say(do="pull", name=name)

    def plug(self, name: str) -> None:
        """See Desk."""
        self._say(do="plug", name=name)

    def plug_all(self) -> None:
        """See Desk."""
        for name in NAMES:
            self.plug(name)

    def flood(self, source: int, rate: int) -> None:
        """See Desk."""
        self._say(do="flood", name=f"in {source + 1}", rate=rate)

    def rest(self) -> None:
        """See Desk."""
        self._say(do="rest")

    def ears(self) -> list[Ear]:
        """See Desk."""
        self._say(do="tell")
        assert self._process.stdout is not None
        ears = []
        for sounding, off_rest, sounds in json.loads(self._process.stdout.readline()):
            ear = Ear()
            ear.sounding = {(channel, key): count for channel, key, count in sounding}
            ear.off_rest = {(channel, number) for channel, number in off_rest}
            ear.sounds = {channel: (high, low, program) for channel, high, low, program in sounds}
            ears.append(ear)
        return ears

    def close(self) -> None:
        """End it."""
        self._process.terminate()
        self._process.wait()

    def _say(self, **command: Any) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(command) + "\n")
        self._process.stdin.flush()


class Far:
    """The far side."""

    def __init__(self) -> None:
        import rtmidi

        self._rtmidi = rtmidi
        self._players: dict[str, tuple[Player, Any]] = {}
        self._ears = {f"out {index + 1}": Ear() for index in range(SIZE.outputs)}
        self._hearing: dict[str, Any] = {}
        self._resting = False
        for name in NAMES:
            self.plug(name)

    def plug(self, name: str) -> None:
        """A client for this port, if there is none."""
        client = f"soak-{name.replace(' ', '')}"
        if name in self._ears and name not in self._hearing:
            device = self._rtmidi.MidiIn(self._rtmidi.API_UNIX_JACK, name=client, queue_size_limit=1 << 15)
            device.ignore_types(False, False, False)
            device.open_virtual_port("port")
            self._hearing[name] = device
        elif name not in self._ears and name not in self._players:
            source = int(name.split()[1]) - 1
            device = self._rtmidi.MidiOut(self._rtmidi.API_UNIX_JACK, name=client)
            device.open_virtual_port("port")
            player = Player(name, messages(source, WARM))
            player.resting = self._resting
            self._players[name] = player, device

    def pull(self, name: str) -> None:
        """End the client of this port."""
        if name in self._hearing:
            self._hear(name)
            self._hearing.pop(name).delete()
            self._ears[name].miss()
        elif name in self._players:
            self._players.pop(name)[1].delete()

    def play(self) -> None:
        """One round of all players and ears."""
        for player, device in self._players.values():
            for message in player.poll():
                device.send_message(message)
        for name in self._hearing:
            self._hear(name)

    def obey(self, do: str, name: str = "", rate: int = RATE) -> None:
        """One command."""
        if do == "plug":
            self.plug(name)
        elif do == "pull":
            self.pull(name)
        elif do == "flood" and name in self._players:
            self._players[name][0].rate = rate
        elif do == "rest":
            self._resting = True
            for player, _ in self._players.values():
                player.resting = True
        elif do == "tell":
            print(json.dumps([_told(ear) for ear in self._ears.values()]), flush=True)

    def _hear(self, name: str) -> None:
        ear, device = self._ears[name], self._hearing[name]
        while (event := device.get_message()) is not None:
            ear.hear(bytes(event[0]))


def _told(ear: Ear) -> list[list[Any]]:
    return [
        [[*place, count] for place, count in ear.sounding.items()],
        [list(each) for each in ear.off_rest],
        [[channel, *each] for channel, each in ear.sounds.items()],
    ]


def main() -> None:
    """Play until the near side ends."""
    commands: queue.SimpleQueue[str | None] = queue.SimpleQueue()

    def read() -> None:
        for line in sys.stdin:
            commands.put(line)
        commands.put(None)

    threading.Thread(target=read, daemon=True).start()
    far = Far()
    while True:
        far.play()
        while not commands.empty():
            line = commands.get()
            if line is None:
                return
            far.obey(**json.loads(line))
        time.sleep(ROUND)


if __name__ == "__main__":
    main()
