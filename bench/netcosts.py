"""What the network costs an engine and a lender in processor time: measured on this machine, for `machines.py`."""

import multiprocessing
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Final

from engine.cluster.endpoints.remote_ports import RemoteInput
from engine.cluster.link.join import open_link
from engine.cluster.link.settings import settings_of
from engine.cluster.link.wire_format import EventSender, OrderSender, read_events, read_orders
from engine.cluster.pure.output_lender import Grant, OutputLender
from engine.core.cable.remote_cable import Order, OrderKind, RemoteCable, remote_outputs
from engine.core.cable.speed import DIN
from engine.core.commands import RecallScene
from engine.core.compiled import compile_rig
from engine.core.engine import Engine
from engine.rig.read.load import read

MANY: Final = 16  # events of a large pack
TIMES: Final = 3_000
PUTS: Final = 4_000
PACE: Final = 0.0005  # seconds between puts: events that come sooner go together
UDP: Final = 20 + 8 + 30  # bytes of IP, UDP and QUIC beside a payload: RFC 791, 768, 9000 section 17.3, a seal of 16
ZENOH: Final = 12  # bytes of zenoh's own framing of a small put, once its key is declared; from memory
RIG: Final = """format = 1
[network]
machine = "desk"
main = "desk"
[network.machines]
desk = { listen = "127.0.0.1:7461" }
stage = { listen = "127.0.0.1:7462" }
[inputs]
keys = { machine = "stage", port = "keys" }
[outputs]
strings = { machine = "stage", port = "strings" }
[[scenes]]
number = 1
name = "Load"
routes = [{ from = "keys", to = "strings", through = [
  { filter = "transpose", semitones = 12 }, { filter = "channels", map = { 1 = 2 } } ] }]
"""


@dataclass(frozen=True)
class Costs:
    """Seconds of a core, and bytes: for receiving a pack, routing an event in it, packing an order, and a put; at a
    lender, for gathering an event and carrying out an order; and the bytes of a pack and of an event on the cable."""

    heard: float
    event: float
    order: float
    put: float
    gathered: float
    lent: float
    pack_bytes: int
    event_bytes: int

    def as_shown(self) -> dict[str, float]:
        """The costs in microseconds and bytes."""
        return {
            name.replace("_", " ") + ("" if "bytes" in name else " µs"): value * (1 if "bytes" in name else 1e6)
            for name, value in asdict(self).items()
        }


def measured() -> Costs:
    """Measure all of them; takes some seconds."""
    notes = [bytes((0x90 if index % 2 == 0 else 0x80, 36 + index // 2 % 48, 64)) for index in range(96)]
    one, many = [(0, notes[0])], [(index, note) for index, note in enumerate(notes[:MANY])]
    sender = EventSender(1)
    single, large = next(sender.packs(one))[0], next(sender.packs(many))[0]
    put, heard = over_the_link(single)
    unpack_one, unpack_many = cpu(partial(unpack, single)), cpu(partial(unpack, large))
    unpacked = (unpack_many - unpack_one) / (MANY - 1)
    orders = OrderSender(1)
    listed = [Order(OrderKind.UNIT, (note,)) for note in notes[:MANY]]
    pack_one, pack_many = (cpu(partial(_packed, orders, part)) for part in (listed[:1], listed))
    packed = (pack_many - pack_one) / (MANY - 1)
    return Costs(
        heard=heard + unpack_one - unpacked,
        event=unpacked + routing(notes),
        order=packed,
        put=put + pack_one - packed,
        gathered=gathering(notes),
        lent=lending(notes),
        pack_bytes=UDP + ZENOH + len(single) - 5,
        event_bytes=round((len(large) - len(single)) / (MANY - 1)),
    )


def cpu(call: Callable[[], object], times: int = TIMES) -> float:
    """Processor seconds of one call."""
    call()
    begin = time.process_time()
    for _ in range(times):
        call()
    return (time.process_time() - begin) / times


def unpack(payload: bytes) -> None:
    """As the link's thread and the reader do."""
    port = RemoteInput("keys", lambda at: at)
    port.hear(read_events(payload))
    port.poll()


def _packed(orders: OrderSender, part: list[Order]) -> None:
    for _ in orders.packs(part):
        pass


def routing(notes: list[bytes]) -> float:
    """One message from the reader's queue into the orders of its remote cable."""
    rig = read(RIG, "bench")
    engine = Engine(compile_rig(rig, remote_outputs=remote_outputs(rig)))
    engine.apply(0, RecallScene(1))
    cable = engine.state.cables[0]
    assert isinstance(cable, RemoteCable)
    cable.live = True
    now = 0

    def turn() -> None:
        nonlocal now
        for note in notes:
            now += 1_000_000
            engine.receive(now, 0, note)
        cable.take_orders()

    return cpu(turn, TIMES // len(notes) * 4) / len(notes)


def gathering(notes: list[bytes]) -> float:
    """One event of an input into a pack."""
    sender, events = EventSender(1), [(index, note) for index, note in enumerate(notes[:MANY])]
    return cpu(lambda: list(sender.packs(events))) / len(events)


def lending(notes: list[bytes]) -> float:
    """One order, unpacked and put on its cable."""
    lender = OutputLender({"strings": DIN}, 1)
    granted = lender.claim("desk", ())
    assert isinstance(granted, Grant)
    sender, now = OrderSender(granted.epoch), 0
    packs = [next(sender.packs([Order(OrderKind.UNIT, (note,))]))[0] for note in notes * (TIMES // len(notes))]
    begin = time.process_time()
    for pack in packs:
        now += 1_000_000
        epoch, first, orders = read_orders(pack)
        lender.take(now, epoch, "strings", first, orders)
        lender.tick(now)
    return (time.process_time() - begin) / len(packs)


def over_the_link(payload: bytes) -> tuple[float, float]:
    """Processor seconds of a put, and of receiving one, all threads of the link included; two processes, TCP."""
    here, there = multiprocessing.get_context("spawn").Pipe()
    other = multiprocessing.get_context("spawn").Process(target=far_end, args=(there, payload), daemon=True)
    other.start()
    link = open_link(settings_of(read(RIG, "bench"), Path("bench")))
    heard = 0

    def count(key: str, payload: bytes) -> None:
        nonlocal heard
        heard += 1

    link.subscribe("r1/bench/in/stage/keys", count)
    here.recv()  # it is there, and receives us
    time.sleep(0.5)
    began = time.process_time()
    for _ in range(PUTS):
        link.publish("r1/bench/out/stage/strings", payload)
        time.sleep(PACE)
    put = (time.process_time() - began) / PUTS - idle()
    here.send("play")
    began = time.process_time()
    here.recv()
    deadline = time.monotonic() + 5
    while heard < PUTS and time.monotonic() < deadline:
        time.sleep(0.01)
    took = (time.process_time() - began) / max(1, heard)
    link.close()
    other.join()
    return max(put, 0.0), took


def idle() -> float:
    """What the loop of puts costs without a put."""
    return cpu(lambda: time.sleep(PACE), 1000)


def far_end(pipe: Connection, payload: bytes) -> None:
    """The other process: receives, then plays."""
    link = open_link(settings_of(read(RIG, "bench").on("stage"), Path("bench")))
    link.subscribe("r1/bench/out/stage/strings", lambda key, payload: None)
    time.sleep(1)
    pipe.send("there")
    pipe.recv()
    for _ in range(PUTS):
        link.publish("r1/bench/in/stage/keys", payload)
        time.sleep(PACE)
    pipe.send("played")
    time.sleep(0.5)
    link.close()
