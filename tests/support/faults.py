"""What goes wrong on a stage, done to a show in virtual time: cables, power, services, sleep, edits, panics."""

from collections.abc import Awaitable, Callable

from engine.core.commands import Panic, RecallScene
from tests.support import breaking_filter
from tests.support.faulty_show import MS, FaultyShow, S
from tests.support.faulty_show_rig import BRASS, FOOT, KEYS, ORGAN, PADS, STRINGS, edited

SOON = 2 * S  # what comes back is in use again within two seconds

Fault = Callable[[FaultyShow], Awaitable[None]]


async def nothing(faulty: FaultyShow) -> None:
    """No fault: the case that the others are compared with."""


async def input_pulled(faulty: FaultyShow) -> None:
    """An input is unplugged and plugged in again."""
    port = faulty.show.ports.in_meters[faulty.rng.randrange(3)].port
    await without(faulty, [port])


async def output_pulled(faulty: FaultyShow) -> None:
    """An output is unplugged and plugged in again."""
    port = faulty.show.ports.out_meters[faulty.rng.randrange(3)].port
    await without(faulty, [port])


async def synth_power_cycled(faulty: FaultyShow) -> None:
    """A synth loses its power, and with it its sounds; its port is away until the power is back."""
    port = faulty.show.ports.out_meters[faulty.rng.randrange(3)].port
    assert port is not None
    await without(faulty, [port], faulty.system.gear[port].power_on)


async def everything_pulled(faulty: FaultyShow) -> None:
    """The hub that all cables lead to is unplugged."""
    meters = (*faulty.show.ports.in_meters, *faulty.show.ports.out_meters)
    await without(faulty, [meter.port for meter in meters])


async def without(faulty: FaultyShow, ports: list[str | None], meanwhile: Callable[[], None] = lambda: None) -> None:
    """These ports are away for a while, and back in use soon after they are plugged in again."""
    for port in ports:
        faulty.system.unplug(port or "")
    await faulty.wait(faulty.rng.randrange(500 * MS))
    meanwhile()
    for port in ports:
        faulty.system.plug(port or "")
    await faulty.until(lambda: faulty.show.ports.missing() == ([], []), SOON)


async def service_stopped(faulty: FaultyShow) -> None:
    """The service of all ports stops, and starts again."""
    faulty.system.stop()
    await faulty.wait(faulty.rng.randrange(500 * MS))
    faulty.system.start()
    await faulty.until(lambda: faulty.show.ports.missing() == ([], []), SOON)


async def input_silent(faulty: FaultyShow) -> None:
    """An input with active sensing falls silent, and sends again (MIDI 1.0 p. 32)."""
    source = faulty.rng.randrange(3)
    for wait in range(faulty.rng.randrange(1, 4)):
        faulty.play(faulty.now + wait * 250 * MS, source, b"\xfe")
        await faulty.wait(faulty.rng.randrange(250 * MS))
    faulty.silent.add(source)
    await faulty.until(lambda: source in faulty.show.engine.state.sensing.silent, 400 * MS + 500 * MS)
    faulty.silent.discard(source)


async def loop_cable(faulty: FaultyShow) -> None:
    """A cable leads from an output back to an input for a while; then the cable goes, and the input's port with it."""
    source, output = faulty.rng.choice([(KEYS, STRINGS), (KEYS, BRASS), (PADS, STRINGS), (FOOT, ORGAN)])
    port, back = faulty.show.ports.out_meters[output].port or "", faulty.show.ports.in_meters[source].port or ""
    faulty.loops[port] = source
    await faulty.wait(faulty.rng.randrange(200 * MS, 500 * MS))
    del faulty.loops[port]
    await without(faulty, [back])


async def flood(faulty: FaultyShow) -> None:
    """30,000 messages per second on one input, sometimes for a tenth of a second, mostly for less."""
    rng, source = faulty.rng, faulty.rng.randrange(3)
    kinds = rng.choices((0x90, 0x80, 0xB0, 0xE0), (2, 1, 1, 1), k=200)
    keys = rng.choices(range(128), k=12)
    several = [
        bytes((kind | rng.randrange(4), rng.choice((1, 7, 64) if kind == 0xB0 else keys), rng.randrange(128)))
        for kind in kinds
    ]
    length = rng.choice((10, 20, 30, 100))
    for ms in range(length):
        faulty.play(faulty.now + ms * MS, source, *rng.choices(several, k=30))
    await faulty.wait(length * MS)


async def filter_raises(faulty: FaultyShow) -> None:
    """A plug-in raises for a while, at every message."""
    faulty.show.apply(RecallScene(faulty.rng.choice((2, 4))), "shell")  # the scenes that use it
    await faulty.wait(faulty.rng.randrange(200 * MS))
    breaking_filter.broken = True
    await faulty.wait(faulty.rng.randrange(300 * MS))
    breaking_filter.broken = faulty.rng.random() < 0.5
    await faulty.wait(faulty.rng.randrange(300 * MS))


async def kill(faulty: FaultyShow) -> None:
    """The engine is killed, and started again on its last scene."""
    faulty.kill()
    faulty.now += faulty.rng.randrange(2 * S)
    faulty.start(crashed=True)


async def sleep(faulty: FaultyShow) -> None:
    """The machine sleeps, with or without its monotonic clock, and wakes up; meanwhile nothing arrives."""
    slept = faulty.rng.randrange(3 * S, 3000 * S)
    faulty.slept += slept
    if faulty.rng.random() < 0.5:
        faulty.now += slept
    before = len(faulty.said)
    await faulty.until(lambda: any("woke after" in text for text in faulty.said[before:]), 1 * S)


async def edit(faulty: FaultyShow) -> None:
    """The rig file is edited: other sounds, ports and routes, an output more or less. The engine adopts it."""
    before = faulty.show.revision
    await faulty.edit(edited(faulty.rng), lambda: faulty.show.revision != before)
    await faulty.until(lambda: faulty.show.ports.missing() == ([], []) and not faulty.show.ports._leaving, 3 * S)


async def wrong_edit(faulty: FaultyShow) -> None:
    """The rig file is edited into nonsense: it is rejected, and the current rig keeps playing."""
    before = faulty.show.revision
    text = faulty.rig_file.read_text(encoding="utf-8")
    wrong = faulty.rng.choice((text[: faulty.rng.randrange(10, len(text) - 200)], text.replace('"Box 1"', "Box 1"), ""))
    await faulty.edit(wrong + "\n[x", lambda: faulty.show.refused is not None)
    assert faulty.show.revision == before
    await faulty.edit(text, lambda: faulty.show.refused is None)


async def panic(faulty: FaultyShow) -> None:
    """A panic."""
    faulty.show.apply(Panic(), "shell")


async def panic_twice(faulty: FaultyShow) -> None:
    """Two panics in a row."""
    faulty.show.apply(Panic(), "shell")
    await faulty.wait(faulty.rng.randrange(200 * MS))
    faulty.show.apply(Panic(), "shell")


async def scene_in_a_chord(faulty: FaultyShow) -> None:
    """The scene changes in the middle of a chord, with pedal and bend held; several times."""
    for source in range(3):
        channel = faulty.rng.randrange(4)
        for key in faulty.rng.sample(range(36, 96), 4):
            faulty.do(source, bytes((0x90 | channel, key, 90)))
        faulty.do(source, bytes((0xB0 | channel, 64, 127)))
        faulty.do(source, bytes((0xE0 | channel, 0, 100)))
    await faulty.wait(faulty.rng.randrange(50 * MS))
    for _ in range(faulty.rng.randrange(1, 4)):
        faulty.change_scene()
        await faulty.wait(faulty.rng.randrange(50 * MS))
