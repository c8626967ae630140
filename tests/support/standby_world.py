"""Two engines and a machine that lends its outputs, on a net in memory and in virtual time.

Engines receive the same messages, put in by hand. Everything that takes a thread in reality takes a step here.
"""

import tomllib
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

from engine.cluster.endpoints.lender_endpoint import LenderEndpoint
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.pure.output_lender import OutputLender
from engine.core.commands import Begin, RecallScene
from engine.live.cluster_session import ClusterSession
from engine.live.edit.rig_session import RigSession
from engine.live.port_opening import PortOpener, connect
from engine.live.process.worker_threads import to_its_end
from engine.live.show import Show
from engine.ports.memory import MemorySystem
from engine.rig.models.rig import Rig, rig_model
from tests.support.fake_link import FakeNet
from tests.support.receiver import Receiver
from tests.support.small_show import HandReader

MS = 1_000_000
STEP = MS
KEYS, FOOT = 0, 1

RIG = """
format = 1
[rig]
name = "Lantern Street pit band"
[network]
machine = "desk"
main = "desk"
standby = "spare"
[network.machines]
desk = { listen = "127.0.0.1:7410" }
spare = { listen = "127.0.0.1:7448" }
left = { listen = "127.0.0.1:7449" }
[inputs]
keys = { port = "Stage piano", machine = "left" }
foot = { port = "Foot controller", machine = "left" }
pads = { port = "Pad box" }
[outputs]
strings = { port = "Box 1", machine = "left", wire = "din" }
brass = { port = "Box 2", machine = "left" }
monitor = { port = "Screen" }
[instruments.string-machine]
output = "strings"
channel = 1
sounds = { "A" = { bank = [0, 3], program = 12 }, "B" = { bank = [0, 4], program = 13 } }
[[routes]]
name = "layer"
from = "keys"
to = "brass"
[[scenes]]
number = 1
name = "Overture"
routes = [{ from = "keys", to = ["strings", "monitor"] }]
burst = [{ instrument = "string-machine", sound = "A" }]
[[scenes]]
number = 2
name = "March"
routes = [{ from = "keys", to = "strings", through = [{ filter = "transpose", semitones = 12 }] }]
burst = [{ instrument = "string-machine", sound = "B" }]
[[controls]]
input = "foot"
when = { program = "any" }
do = "scene"
[sync.clock]
from = "internal"
bpm = 120
to = ["brass"]
"""


def rig_of(machine: str, text: str = RIG) -> Rig:
    return rig_model().model_validate(tomllib.loads(text)).on(machine)


class Engine:
    """One engine; `frozen`: its process does not run."""

    def __init__(self, world: "World", name: str) -> None:
        self.world, self.name = world, name
        self.frozen = False
        self.link = world.net.link(name)
        rig = rig_of(name, world.text)
        self.joined = ClusterSession(rig, self.link)
        self.far = self.joined.machines
        self.far.begin()
        self.system = MemorySystem(name, *((("Pad box",), ("Screen",)) if name == "desk" else ((), ())))
        self.opener = PortOpener(self.system, False, self.far)
        self.patch = connect(rig, self.opener)
        self.reader = HandReader()
        self.told: list[str] = []
        self.show = Show(rig, self.patch, self.reader, clock=lambda: world.now, say=self.told.append)
        self.session = RigSession(self.show, Path(f"{name}.toml"), world.text, to_its_end)
        self.joined.tasks(self.show, self.session)
        assert self.joined.standby is not None
        self.standby = self.joined.standby
        self.errands: deque[tuple[Callable[[], Any], Callable[[Any], None]]] = deque()
        self.standby.background = lambda call, then: self.errands.append((call, then))
        self.show.apply(RecallScene(1), "start")
        self.show.apply(Begin())
        self.standby.begin()
        self.standby.listen(lambda: None)
        self.link.alive(self.far.keys.alive(name))

    def step(self) -> None:
        for _ in range(len(self.errands)):
            call, then = self.errands.popleft()
            then(call())
        self.standby.turn()
        self.show.pump()
        self.show.check_outputs()

    @property
    def in_charge(self) -> bool:
        return self.standby.leadership.in_charge


class Owner:
    """The machine that lends; `heard` has a receiver for each output, `sent` what came out with its time (ns)."""

    def __init__(self, world: "World") -> None:
        self.world = world
        rig = rig_of("left", world.text)
        assert rig.network is not None
        self.rig = rig
        self.keys = NetworkKeys(rig.rig.name)
        self.link = world.net.link("left")
        self.lender = OutputLender({"strings": None, "brass": None}, 1000)
        self.gate = LenderEndpoint(self.lender, rig.network, self.link, self.keys, lambda: None, lambda: world.now)
        self.heard = {"strings": Receiver(), "brass": Receiver()}
        self.sent: list[tuple[int, str, bytes]] = []
        self.gate.begin()
        for name in self.heard:
            self.link.alive(self.keys.plugged("left", "out", name))
        for name in ("keys", "foot"):
            self.link.alive(self.keys.plugged("left", "in", name))
        self.link.alive(self.keys.alive("left"))

    def step(self) -> None:
        for output, message, _ in self.gate.turn():
            name = self.lender.outputs[output]
            self.heard[name].hear(message)
            self.sent.append((self.world.now, name, message))


class World:
    """`desk` is the main engine, `spare` the standby, `left` lends."""

    def __init__(self, text: str = RIG) -> None:
        """`text`: the rig, with the machines and ports of `RIG`."""
        self.now, self.text = 1_000 * MS, text
        self.net = FakeNet()
        self.owner = Owner(self)
        self.engines: dict[str, Engine] = {}
        self.start("desk")
        self.start("spare")
        self.run(1500)

    def start(self, name: str) -> Engine:
        self.engines[name] = Engine(self, name)
        return self.engines[name]

    def play(self, source: int, *messages: str) -> None:
        """Let these messages arrive at both engines."""
        for engine in self.engines.values():
            engine.reader.put(source, *messages)

    def run(self, ms: int) -> None:
        end = self.now + ms * MS
        while self.now < end:
            self.now += STEP
            self.owner.step()
            for engine in list(self.engines.values()):
                if not engine.frozen:
                    engine.step()

    def kill(self, name: str) -> None:
        """Kill it as a process dies: its link's tokens are gone."""
        self.engines.pop(name).link.close()

    def freeze(self, name: str) -> None:
        """Its loop freezes, and its watchdog notices."""
        engine = self.engines[name]
        engine.frozen = True
        engine.link.gone(engine.far.keys.alive(name))

    def wake(self, name: str) -> None:
        engine = self.engines[name]
        engine.frozen = False
        engine.link.alive(engine.far.keys.alive(name))

    def leaders(self) -> list[str]:
        return [name for name, engine in self.engines.items() if engine.in_charge]

    def heard(self, name: str) -> list[str]:
        """What an output played since the last call, in hexadecimal."""
        log = self.owner.heard[name].log
        found = [message.hex(" ").upper() for message in log if message[0] < 0xF8]
        log.clear()
        return found
