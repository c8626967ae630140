"""Auditions a sound of an instrument: recalls it, plays a short phrase and recalls the previous sound."""

from typing import Final

import trio

from engine.core.cable.program_burst import compile_step
from engine.core.routing.channel_places import placed
from engine.core.scene_snapshot import channel_of
from engine.live.show import Show
from engine.midi.kinds import NOTE_OFF, NOTE_ON
from engine.protocol import Answer, AnswerCode, AuditionRequest, done, refused
from engine.rig.models.rig import BurstStep
from engine.rig.read.raw_data import no_such

_PHRASE: Final = (60, 64, 67)  # a C major chord, note by note
_DRUMS: Final = (36, 38, 42)  # bass drum, snare, closed hi-hat (RP-003, Table 3)
_DRUM_CHANNEL: Final = 10  # RP-003 p. 2
_NOTE: Final = 0.25  # seconds

_under_way = trio.Lock()


async def audition(show: Show, request: AuditionRequest) -> Answer:
    """Loop only. However it ends, no note is left sounding."""
    name = request.instrument
    gear = show.engine.rig.instruments.get(name)
    if gear is None:
        text = f"{no_such('instrument', name, show.engine.rig.instruments)}. Nothing was played"
        return refused(AnswerCode.UNKNOWN_INSTRUMENT, text)
    if request.sound not in gear.sounds:
        text = f"{name}: {no_such('sound', request.sound, gear.sounds)}. Nothing was played"
        return refused(AnswerCode.UNKNOWN_SOUND, text)
    output, channel = show.outputs.index(gear.output), channel_of(show.engine, name) - 1
    if output in show.ports.missing()[1]:
        text = f"output {gear.output} of {name} is missing; nothing was played"
        return refused(AnswerCode.MISSING_PORT, text)
    async with _under_way:
        before = show.engine.state.cables[output].sounds.get(channel)
        _, steps = compile_step(show.engine.rig, BurstStep(instrument=name, sound=request.sound))
        try:
            for step in steps:
                show.send((output, message) for message in placed(output, step.unit, show.engine.state.places))
                await trio.sleep(step.settle / 1e9)
            for key in _DRUMS if gear.drums or gear.channel == _DRUM_CHANNEL else _PHRASE:
                await _play(show, output, channel, key, request.velocity)
        finally:
            now = show.engine.state.cables[output].sounds.get(channel)  # a scene may have been recalled meanwhile
            show.send((output, message) for message in now or ())
    left = "the previous sound is back" if before or now else "the previous sound is not known, so this one stays"
    return done(f"{name}: {request.sound} was played; {left}")


async def _play(show: Show, output: int, channel: int, key: int, velocity: int) -> None:
    show.send([(output, bytes((NOTE_ON | channel, key, velocity)))])
    try:
        await trio.sleep(_NOTE)
    finally:
        show.send([(output, bytes((NOTE_OFF | channel, key, 64)))])
