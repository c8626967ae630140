"""A small show for tests: two keyboards, two synths, three scenes; memory ports, with clock and reader run by hand."""

import tomllib
from collections import deque
from collections.abc import Mapping

from engine.core.control.setlist import ShowPosition
from engine.live.meters import Latency
from engine.live.port_opening import OpenPorts
from engine.live.reader import Arrival
from engine.live.show import Show, ShowEvent
from engine.ports.memory import MemoryInput, MemoryOutput
from engine.ports.port import InputPort
from engine.rig.models.rig import Rig, Scene, rig_model

MS = 1_000_000

RIG = """
format = 1
[rig]
name = "Lantern Street pit band"
[inputs]
keys = { port = "Stage piano" }
pedals = { port = "Foot controller" }
[outputs]
strings = { port = "Box 1" }
brass = { port = "Box 2" }
[instruments.string-machine]
output = "strings"
channel = 5
[[scenes]]
number = 1
name = "Overture"
routes = [{ from = "keys", to = "strings" }]
burst = [{ instrument = "string-machine", bank = [0, 3], program = 12 }]
[[scenes]]
number = 2
name = "March"
routes = [{ from = "keys", to = ["strings", "brass"] }]
[[scenes]]
number = 3
name = "Finale"
routes = [{ from = ["keys", "pedals"], to = "brass", through = [{ filter = "transpose", semitones = 12 }] }]
[[controls]]
input = "pedals"
when = { program = "any" }
do = "scene"
"""


class HandReader:
    """A reader whose messages are put in by hand."""

    def __init__(self) -> None:
        self.due: int | None = None
        self.beat: int | None = None
        self.lost: deque[tuple[int, str]] = deque()
        self.oldest_wait = 0
        self.arrivals: list[Arrival] = []
        self.ports: dict[int, InputPort] = {}

    def put(self, source: int, *messages: str) -> None:
        """Messages in hexadecimal arrive from the input of this index."""
        self.arrivals.extend((0, source, bytes.fromhex(message)) for message in messages)

    def take(self) -> list[Arrival]:
        arrivals, self.arrivals = self.arrivals, []
        return arrivals

    def add(self, source: int, port: InputPort) -> None:
        self.ports[source] = port

    def remove(self, source: int) -> None:
        del self.ports[source]

    def port(self, source: int) -> InputPort | None:
        return self.ports.get(source)

    def waiting(self, source: int) -> int:
        return sum(each == source for _, each, _ in self.arrivals)

    def repairs(self) -> dict[int, int]:
        return {}

    def shed(self, source: int) -> int:
        return 0

    def begun(self, source: int) -> bool:
        port = self.ports.get(source)
        return port is not None and port.stream.open


class Bench:
    """A show of a rig with its ports. `now` is its clock in ns; `heard` is what an output was sent."""

    def __init__(self, text: str = RIG, missing: tuple[str, ...] = ()) -> None:
        self.rig: Rig = rig_model().model_validate(tomllib.loads(text))
        self.now = 0
        self.reader = HandReader()
        self.outputs = {name: MemoryOutput(name) for name in self.rig.outputs if name not in missing}
        self.scenes: list[int] = []
        patch = OpenPorts(
            {name: MemoryInput(name) for name in self.rig.inputs if name not in missing},
            dict(self.outputs),
            {
                f"{'inputs' if name in self.rig.inputs else 'outputs'}.{name}": f'there is no "{name}"'
                for name in missing
            },
        )
        self.show = Show(self.rig, patch, self.reader, self._moved, lambda: self.now)
        self.events: deque[ShowEvent] = self.show.watch()

    def _moved(self, positions: Mapping[str, ShowPosition]) -> None:
        if "" in positions:
            self.scenes.append(positions[""].scene)

    def play(self, source: int, *messages: str) -> None:
        """Let messages arrive, and give the show one turn."""
        self.reader.put(source, *messages)
        self.show.pump()

    def scene(self, number: int) -> Scene:
        """A scene of the rig that plays."""
        scene = self.show.engine.rig.scene(number)
        assert scene is not None
        return scene

    def passes(self, until: int) -> None:
        """Let time pass; whenever something is due, the show gets its turn."""
        while self.reader.due is not None and self.reader.due <= until:
            self.now = max(self.now, self.reader.due)
            self.show.pump()
        self.now = until

    def heard(self, output: str) -> list[str]:
        """What this output was sent since the last call, in hexadecimal."""
        sent = [message.hex(" ").upper() for _, message in self.outputs[output].sent]
        self.outputs[output].sent.clear()
        return sent

    def told(self) -> list[tuple[str, str]]:
        """What was reported since the last call, as (who, text), without the messages that passed."""
        told = [(event.port, event.text) for event in self.events if event.way == "told"]
        self.events.clear()
        return told


class FaultyClock:
    """The clock of a show, which fails once when it is asked to."""

    def __init__(self, show: Show) -> None:
        self._show, self._clock, self._fails = show, show.clock, False
        show.clock = self._read

    def fail(self) -> None:
        """Fail when it is read next."""
        self._fails = True

    def fail_after_next(self) -> None:
        """Fail when it is read after the next message was sent."""
        self._show.latency = Latency(self._sent)

    def _sent(self, sample: int) -> None:
        self._show.latency = Latency()
        self.fail()

    def _read(self) -> int:
        if self._fails:
            self._fails = False
            raise RuntimeError("a mistake")
        return self._clock()
