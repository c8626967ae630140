"""Explains what becomes of one message, or one parameter, in a scene: asks the same filters as the show, one by one."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from engine.core.cable.output_cable import Unit
from engine.core.control.explain_command import ExplainedCommand, commanded
from engine.core.routing.compiled_scene import CompiledScene, RoutePath, SceneCompiler
from engine.core.routing.filter_chain import FilterFaults, through
from engine.core.routing.scene_in_play import SceneInPlay
from engine.core.timing.sync import ClockAndTimecode, is_clock
from engine.core.timing.sync_settings import sync_settings
from engine.midi.controllers import BANK_MSB, BANKS
from engine.midi.kinds import CONTROLLER, PROGRAM, SYSEX, is_press, is_release
from engine.midi.message_words import to_hex
from engine.rig.gear_words import drum_of, gear_at, sound_of
from engine.rig.models.rig import Instrument, Rig, Scene
from filters.registry import Later, registry


@dataclass(frozen=True)
class FilterVerdict:
    """What one filter made of what reached it: messages, or `Later` with the time from now in ns."""

    filter: str
    took: tuple[bytes | Later, ...]
    gave: tuple[bytes | Later, ...]

    @property
    def words(self) -> str:
        """What the filter did: stopped it, left it as it was, or the new messages in hexadecimal."""
        if not self.gave:
            return "stops it"
        return "leaves it" if self.gave == self.took else ", ".join(shown(self.gave))


@dataclass(frozen=True)
class RouteVerdict:
    """What one route made of the message: filter by filter, and what its outputs get.

    `kind`, `place`: in which list of the whole scene it is, and where, from 0; or among the routes of every scene
    (`lasting`).
    """

    route: str
    kind: Literal["routes", "play"]
    place: int
    lasting: bool
    outputs: tuple[str, ...]
    filters: tuple[FilterVerdict, ...]
    result: tuple[bytes | Later, ...]


@dataclass(frozen=True)
class Explanation:
    """All routes of the input, and what each output gets, one message once; no routes where a command takes it."""

    scene: tuple[int, str]
    command: ExplainedCommand | None
    routes: tuple[RouteVerdict, ...]
    outputs: dict[str, tuple[bytes | Later, ...]]


def explain(
    rig: Rig, scene: Scene, source: str, messages: Sequence[bytes], song: str | None = None, transposed: int = 0
) -> Explanation:
    """Every route's verdict on a message of this input. KeyError if the rig has no such input.

    `messages`: one, or those that select and set one parameter; `song`: the one in force; `transposed`: semitones by
    which song and foot transpose play lines.
    """
    if source not in rig.inputs:
        raise KeyError(source)
    commands = (commanded(rig, scene, source, message, song) for message in messages)
    command = next((each for each in commands if each is not None), None)
    if command is not None and not command.routed:
        return Explanation((scene.number, scene.name), command, (), dict.fromkeys(rig.outputs, ()))
    faults = FilterFaults()
    compiled = _compiled(rig, scene, source, transposed)
    names = tuple(rig.outputs)
    routes = tuple(_judge(path, names, messages, faults) for path in (*compiled.everywhere[0], *compiled.own[0]))
    # compiled again: filters with state have just been asked once
    playing = SceneInPlay(_compiled(rig, scene, source, transposed), faults).routes
    outputs: dict[str, tuple[bytes | Later, ...]] = dict.fromkeys(names, ())
    for message in messages:
        answer = playing.answer(0, message, 0)
        for output, unit in _with_the_clock(rig, source, message, answer.units) if is_clock(message) else answer.units:
            outputs[names[output]] += unit
        for timed in answer.later:
            for output in timed.outputs:
                outputs[names[output]] += (Later(timed.at, timed.message),)
    return Explanation((scene.number, scene.name), command, routes, outputs)


def _with_the_clock(
    rig: Rig, source: str, message: bytes, units: Iterable[tuple[int, Unit]]
) -> Iterator[tuple[int, tuple[bytes | Later, ...]]]:
    """What the rig's own clock makes of a message of beat clock, and what of the routed one goes on beside it."""
    inputs = tuple(rig.inputs)
    settings = sync_settings(rig, inputs, tuple(rig.outputs))
    sync = ClockAndTimecode(settings)
    for output, sent in sync.hear(0, inputs.index(source), message):
        yield output, (sent,)
    if settings.clock is not None:
        for output, sent in sync.clock_outputs.take(max(settings.clock.delays.values(), default=0)):
            yield output, (Later(settings.clock.delays[output], sent),)
    yield from sync.let_through(0, inputs.index(source), message, units)


def _compiled(rig: Rig, scene: Scene, source: str, transposed: int) -> CompiledScene:
    """The scene with this input alone, since a scene may have thousands of routes."""
    return SceneCompiler(rig, registry(), (source,)).compile(scene).moved(transposed)


def shown(messages: Sequence[bytes | Later]) -> list[str]:
    """Messages in hexadecimal; delayed ones with the time from now."""
    return [
        f"{to_hex(one.message)} after {one.at / 1e6:g} ms" if isinstance(one, Later) else to_hex(one)
        for one in messages
    ]


def called(rig: Rig, output: str, messages: Sequence[bytes | Later]) -> list[str | None]:
    """For each message, the name of the sound that it selects on its channel, or of the drum that it plays.

    None for all others.
    The bank is that of the messages before. Without one, the name is given only if just one sound has the program.
    """
    banks: dict[int, tuple[int, int]] = {}
    named: list[str | None] = []
    for each in messages:
        message = each.message if isinstance(each, Later) else each
        channel = message[0] & 0x0F
        if message[0] & 0xF0 == CONTROLLER and message[1] in BANKS:
            msb, lsb = banks.get(channel, (0, 0))
            banks[channel] = (message[2], lsb) if message[1] == BANK_MSB else (msb, message[2])
        gear = gear_at(rig, output, channel + 1) if message[0] < SYSEX else None
        if gear is None:
            named.append(None)
        elif message[0] & 0xF0 == PROGRAM:
            named.append(_sound(gear, banks.get(channel), message[1]))
        else:
            strikes = is_press(message) or is_release(message)
            named.append(drum_of(gear, channel + 1, message[1]) if strikes else None)
    return named


def _sound(gear: Instrument, bank: tuple[int, int] | None, program: int) -> str | None:
    if bank is not None:
        return sound_of(gear, bank, program)
    alike = [name for name, sound in gear.sounds.items() if sound.program == program + gear.programs_from]
    return alike[0] if len(alike) == 1 else None


def _judge(path: RoutePath, outputs: tuple[str, ...], messages: Sequence[bytes], faults: FilterFaults) -> RouteVerdict:
    flowing: tuple[bytes | Later, ...] = tuple(messages)
    verdicts = []
    for link in path.links:
        took = flowing
        flowing = through(link, took, 0, faults)
        verdicts.append(FilterVerdict(link.name, took, flowing))
        if not flowing:
            break
    to = tuple(outputs[index] for index in path.outputs)
    return RouteVerdict(path.route, path.kind, path.place, path.lasting, to, tuple(verdicts), flowing)
