"""What goes wrong on a stage, done to a show in virtual time: cables, power, services, sleep, edits, panics."""

from collections.abc import Awaitable, Callable

from engine.core.commands import Panic, RecallScene
from tests.support import breaking_filter
from tests.support.faulty_show import MS, Evening, S
from tests.support.faulty_show_rig import BRASS, FOOT, KEYS, ORGAN, PADS, STRINGS, edited

SOON = 2 * S  # what comes back is in use again within two seconds

Fault = Callable[[Evening], Awaitable[None]]


async def nothing(evening: Evening) -> None:
    """No fault: the case that the others are compared with."""


async def input_pulled(evening: Evening) -> None:
    """An input is unplugged and plugged in again."""
    port = evening.show.ports.in_meters[evening.rng.randrange(3)].port
    await without(evening, [port])


async def output_pulled(evening: Evening) -> None:
    """An output is unplugged and plugged in again."""
    port = evening.show.ports.out_meters[evening.rng.randrange(3)].port
    await without(evening, [port])


async def synth_power_cycled(evening: Evening) -> None:
    """A synth loses its power, and with it its sounds; its port is away until the power is back."""
    port = evening.show.ports.out_meters[evening.rng.randrange(3)].port
    assert port is not None
    await without(evening, [port], evening.system.gear[port].power_on)


async def everything_pulled(evening: Evening) -> None:
    """The hub that all cables lead to is unplugged."""
    meters = (*evening.show.ports.in_meters, *evening.show.ports.out_meters)
    await without(evening, [meter.port for meter in meters])


async def without(evening: Evening, ports: list[str | None], meanwhile: Callable[[], None] = lambda: None) -> None:
    """These ports are away for a while, and back in use soon after they are plugged in again."""
    for port in ports:
        evening.system.unplug(port or "")
    await evening.wait(evening.rng.randrange(500 * MS))
    meanwhile()
    for port in ports:
        evening.system.plug(port or "")
    await evening.until(lambda: evening.show.ports.missing() == ([], []), SOON)


async def service_stopped(evening: Evening) -> None:
    """The service of all ports stops, and starts again."""
    evening.system.stop()
    await evening.wait(evening.rng.randrange(500 * MS))
    evening.system.start()
    await evening.until(lambda: evening.show.ports.missing() == ([], []), SOON)


async def input_silent(evening: Evening) -> None:
    """An input with active sensing falls silent, and sends again (MIDI 1.0 p. 32)."""
    source = evening.rng.randrange(3)
    for wait in range(evening.rng.randrange(1, 4)):
        evening.play(evening.now + wait * 250 * MS, source, b"\xfe")
        await evening.wait(evening.rng.randrange(250 * MS))
    evening.silent.add(source)
    await evening.until(lambda: source in evening.show.engine.state.sensing.silent, 400 * MS + 500 * MS)
    evening.silent.discard(source)


async def loop_cable(evening: Evening) -> None:
    """A cable leads from an output back to an input for a while; then the cable goes, and the input's port with it."""
    source, output = evening.rng.choice([(KEYS, STRINGS), (KEYS, BRASS), (PADS, STRINGS), (FOOT, ORGAN)])
    port, back = evening.show.ports.out_meters[output].port or "", evening.show.ports.in_meters[source].port or ""
    evening.loops[port] = source
    await evening.wait(evening.rng.randrange(200 * MS, 500 * MS))
    del evening.loops[port]
    await without(evening, [back])


async def flood(evening: Evening) -> None:
    """30,000 messages per second on one input, sometimes for a tenth of a second, mostly for less."""
    rng, source = evening.rng, evening.rng.randrange(3)
    kinds = rng.choices((0x90, 0x80, 0xB0, 0xE0), (2, 1, 1, 1), k=200)
    keys = rng.choices(range(128), k=12)
    several = [
        bytes((kind | rng.randrange(4), rng.choice((1, 7, 64) if kind == 0xB0 else keys), rng.randrange(128)))
        for kind in kinds
    ]
    length = rng.choice((10, 20, 30, 100))
    for ms in range(length):
        evening.play(evening.now + ms * MS, source, *rng.choices(several, k=30))
    await evening.wait(length * MS)


async def filter_raises(evening: Evening) -> None:
    """A plug-in raises for a while, at every message."""
    evening.show.apply(RecallScene(evening.rng.choice((2, 4))), "shell")  # the scenes that use it
    await evening.wait(evening.rng.randrange(200 * MS))
    breaking_filter.broken = True
    await evening.wait(evening.rng.randrange(300 * MS))
    breaking_filter.broken = evening.rng.random() < 0.5
    await evening.wait(evening.rng.randrange(300 * MS))


async def kill(evening: Evening) -> None:
    """The engine is killed, and started again on its last scene."""
    evening.kill()
    evening.now += evening.rng.randrange(2 * S)
    evening.start(crashed=True)


async def sleep(evening: Evening) -> None:
    """The machine sleeps, with or without its monotonic clock, and wakes up; meanwhile nothing arrives."""
    slept = evening.rng.randrange(3 * S, 3000 * S)
    evening.slept += slept
    if evening.rng.random() < 0.5:
        evening.now += slept
    before = len(evening.said)
    await evening.until(lambda: any("woke after" in text for text in evening.said[before:]), 1 * S)


async def edit(evening: Evening) -> None:
    """The rig file is edited: other sounds, ports and routes, an output more or less. The engine adopts it."""
    before = evening.show.revision
    await evening.edit(edited(evening.rng), lambda: evening.show.revision != before)
    await evening.until(lambda: evening.show.ports.missing() == ([], []) and not evening.show.ports._leaving, 3 * S)


async def wrong_edit(evening: Evening) -> None:
    """The rig file is edited into nonsense: it is rejected, and the current rig keeps playing."""
    before = evening.show.revision
    text = evening.rig_file.read_text(encoding="utf-8")
    wrong = evening.rng.choice(
        (text[: evening.rng.randrange(10, len(text) - 200)], text.replace('"Box 1"', "Box 1"), "")
    )
    await evening.edit(wrong + "\n[x", lambda: evening.show.refused is not None)
    assert evening.show.revision == before
    await evening.edit(text, lambda: evening.show.refused is None)


async def panic(evening: Evening) -> None:
    """A panic."""
    evening.show.apply(Panic(), "shell")


async def panic_twice(evening: Evening) -> None:
    """Two panics in a row."""
    evening.show.apply(Panic(), "shell")
    await evening.wait(evening.rng.randrange(200 * MS))
    evening.show.apply(Panic(), "shell")


async def scene_in_a_chord(evening: Evening) -> None:
    """The scene changes in the middle of a chord, with pedal and bend held; several times."""
    for source in range(3):
        channel = evening.rng.randrange(4)
        for key in evening.rng.sample(range(36, 96), 4):
            evening.do(source, bytes((0x90 | channel, key, 90)))
        evening.do(source, bytes((0xB0 | channel, 64, 127)))
        evening.do(source, bytes((0xE0 | channel, 0, 100)))
    await evening.wait(evening.rng.randrange(50 * MS))
    for _ in range(evening.rng.randrange(1, 4)):
        evening.change_scene()
        await evening.wait(evening.rng.randrange(50 * MS))
