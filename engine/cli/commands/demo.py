"""`bayleaf demo`: plays a short piece through the demo rig, with no hardware and no server.

Show, core and cables are the same as on stage; only the ports are in memory. A player thread feeds the inputs in time.
"""

import time
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from importlib import resources
from typing import Any, Final, NamedTuple

import mido
import trio

from engine.cli.options import Json
from engine.cli.output import as_json, print_line, print_words, table
from engine.core.commands import RecallScene
from engine.live import music_loop
from engine.live.loop_wakeup import waker
from engine.live.port_opening import PortOpener, connect
from engine.live.reader import InputReader
from engine.live.show import Show, ShowEvent
from engine.midi.controllers import BANK_LSB, BANK_MSB, BANKS
from engine.midi.kinds import CONTROLLER, PROGRAM, is_press, is_release
from engine.midi.message_words import describe, note_name
from engine.ports.memory import MemoryInput, MemoryOutput, MemorySystem
from engine.rig.gear_words import sound_of
from engine.rig.models.rig import Instrument, Rig
from engine.rig.read.load import read

_RIG: Final = "demo.toml"
_MUSIC: Final = "demo.mid"
_CLEARLY: Final = 50_000_000  # ns; a note that began just before the change was not carried over it
_TAIL: Final = 0.5  # seconds after the last message


class _Change(NamedTuple):
    """A scene change: when (ns), its cause, and the engine's sentence."""

    at: int
    cause: str
    text: str


def demo(json: Json = False) -> None:
    """Play a short piece through the demo rig, without hardware.

    Shows its scene changes, and what reached each instrument.
    """
    presets = resources.files("presets")
    rig = read(presets.joinpath(_RIG).read_text(encoding="utf-8"), _RIG)
    with presets.joinpath(_MUSIC).open("rb") as file:
        music = _music(mido.MidiFile(file=file))
    if not json:
        print_line(f"{rig.rig.name}: {music[-1][0]:.0f} seconds on ports in memory; nothing is audible.")
        print_line("The player is in the pit; a worn foot switch that fires twice changes the scene.\n")
    started = time.monotonic_ns()
    changes, outputs = music_loop.run(_play, rig, music, started, json)
    received = _received_by(rig, outputs)
    instruments = list(_instruments(rig, received))
    carried = list(_carried(received, [change.at for change in changes], started))
    if json:
        listed = [{"at": _seconds(change.at, started), "by": change.cause, "text": change.text} for change in changes]
        as_json({"rig": rig.rig.name, "changes": listed, "instruments": instruments, "carried": carried})
        return
    _print_tables(instruments, carried)


def _music(file: mido.MidiFile) -> list[tuple[float, str, bytes]]:
    """The piece as (seconds, input, message), in order; the name of a track is the input that plays it."""
    tempo = next((m.tempo for track in file.tracks for m in track if m.type == "set_tempo"), 500_000)
    played = []
    for track in file.tracks:
        ticks = 0
        for message in track:
            ticks += message.time
            if not message.is_meta:
                at = mido.tick2second(ticks, file.ticks_per_beat, tempo)
                played.append((at, track.name, bytes(message.bytes())))
    return sorted(played, key=lambda item: item[0])


async def _play(
    rig: Rig, music: list[tuple[float, str, bytes]], started: int, quiet: bool
) -> tuple[list[_Change], dict[str, MemoryOutput]]:
    """The scene changes, and the outputs with everything sent to them."""
    system = MemorySystem("demo")
    ports = connect(rig, PortOpener(system, virtual=True))
    reader = InputReader(dict(enumerate(ports.inputs[name] for name in rig.inputs)))
    show = Show(rig, ports, reader)
    watched = show.watch()
    show.apply(RecallScene(rig.scenes[0].number), "start")
    reader.start(waker(show))
    players = {name: port for name, port in ports.inputs.items() if isinstance(port, MemoryInput)}
    changes: list[_Change] = []
    try:
        async with trio.open_nursery() as nursery:
            nursery.start_soon(_report, watched, started, changes, quiet)
            await trio.to_thread.run_sync(_perform, players, music, abandon_on_cancel=True)
            nursery.cancel_scope.cancel()
        show.finish()
    finally:
        reader.stop()  # or its thread would wake a loop that has ended
    return changes, {name: port for name, port in ports.outputs.items() if isinstance(port, MemoryOutput)}


async def _report(watched: deque[ShowEvent], started: int, changes: list[_Change], quiet: bool) -> None:
    """Print each scene change as it happens, with its cause, and collect them all."""
    played: dict[str, str] = {}
    while True:
        while watched:
            event = watched.popleft()
            if event.message is not None:
                if event.way == "in":
                    played[event.port] = describe(event.message)
                continue
            cause = f"{event.port}, {played[event.port]}" if event.port in played else event.port
            if not quiet:
                print_words(f"{(event.at - started) / 1e9:5.1f} s  {cause}: {event.text}")
            changes.append(_Change(event.at, cause, event.text))
        await trio.sleep(0.05)


def _perform(players: dict[str, MemoryInput], music: list[tuple[float, str, bytes]]) -> None:
    begin = time.monotonic()
    for at, name, message in music:
        time.sleep(max(0.0, begin + at - time.monotonic()))
        players[name].push(message)
    time.sleep(_TAIL)


@dataclass
class _Received:
    """What one instrument received: its sounds in order, and its notes with their ends."""

    sounds: list[str] = field(default_factory=list)
    presses: int = 0
    notes: list[tuple[int, int, int]] = field(default_factory=list)  # key, from, to (ns)
    sounding: dict[int, int] = field(default_factory=dict)

    def add(self, at: int, message: bytes) -> None:
        if is_press(message):
            self.presses += 1
            self.sounding.setdefault(message[1], at)
        elif is_release(message) and message[1] in self.sounding:
            self.notes.append((message[1], self.sounding.pop(message[1]), at))


def _received_by(rig: Rig, outputs: dict[str, MemoryOutput]) -> dict[str, _Received]:
    """What each instrument received: the messages on its output and channel."""
    received = {}
    for name, gear in rig.instruments.items():
        instrument = received[name] = _Received()
        bank: dict[int, int] = {}
        for at, message in outputs[gear.output].sent:
            if message[0] >= 0xF0 or (message[0] & 0x0F) + 1 != gear.channel:
                continue
            if message[0] & 0xF0 == CONTROLLER and message[1] in BANKS:
                bank[message[1]] = message[2]
            elif message[0] & 0xF0 == PROGRAM:
                instrument.sounds.append(_sound(gear, bank, message[1]))
            instrument.add(at, message)
    return received


def _sound(gear: Instrument, bank: dict[int, int], program: int) -> str:
    """The sound's name if the rig knows it, with bank and program as printed on the gear."""
    printed = program + gear.programs_from
    selected = (bank.get(BANK_MSB, 0), bank.get(BANK_LSB, 0)) if bank else None
    name = sound_of(gear, selected, program) or "a sound without a name"
    places = [f"{word} {bank[number]}" for number, word in ((BANK_MSB, "MSB"), (BANK_LSB, "LSB")) if number in bank]
    return f"{name} ({'bank ' + ' '.join(places) + ', ' if places else ''}program {printed})"


def _instruments(rig: Rig, received: dict[str, _Received]) -> Iterator[dict[str, Any]]:
    """What reached each instrument."""
    for name, instrument in received.items():
        gear = rig.instruments[name]
        yield {
            "instrument": name,
            "output": gear.output,
            "channel": gear.channel,
            "sounds": instrument.sounds,
            "notes": instrument.presses,
            "left_sounding": len(instrument.sounding),
        }


def _carried(received: dict[str, _Received], changes: Sequence[int], started: int) -> Iterator[dict[str, Any]]:
    """The notes that were held across a scene change, times in seconds."""
    for name, instrument in received.items():
        for key, begin, end in instrument.notes:
            crossed = next((change for change in changes if begin + _CLEARLY < change < end), None)
            if crossed is not None:
                down, change, up = (_seconds(at, started) for at in (begin, crossed, end))
                yield {"note": note_name(key), "instrument": name, "down": down, "change": change, "up": up}


def _seconds(at: int, started: int) -> float:
    return round((at - started) / 1e9, 2)


def _print_tables(instruments: Sequence[dict[str, Any]], carried: Sequence[dict[str, Any]]) -> None:
    print_line()
    table(
        ("instrument", "output", "sounds selected, in order", "notes", "at the end"),
        [
            (
                one["instrument"],
                f"{one['output']} ch {one['channel']}",
                "\n".join(one["sounds"]),
                one["notes"],
                f"{one['left_sounding']} LEFT SOUNDING" if one["left_sounding"] else "all released",
            )
            for one in instruments
        ],
        title="What reached each instrument",
    )
    table(
        ("note", "instrument", "key down", "scene change", "key up"),
        [
            (one["note"], one["instrument"], *(f"{one[key]:.2f} s" for key in ("down", "change", "up")))
            for one in carried
        ],
        title="Notes held across a scene change, each released where it was pressed",
    )
