"""One sound of an instrument, to be heard: recalled, a soft short phrase, and the sound before put back."""

from typing import Any, Final

import trio

from engine.core.cable.program_burst import select
from engine.live.show import Show
from engine.midi.kinds import NOTE_OFF, NOTE_ON

_PHRASE: Final = (60, 64, 67)  # a C major chord, note by note
_DRUMS: Final = (36, 38, 42)  # bass drum, snare, closed hi-hat (RP-003, Table 3)
_DRUM_CHANNEL: Final = 10  # RP-003 p. 2
_VELOCITY: Final = 48  # softer than the 64 of a keyboard without dynamics (MIDI 1.0 p. 10)
_NOTE: Final = 0.25  # seconds

_under_way = trio.Lock()


async def audition(show: Show, request: dict[str, Any]) -> dict[str, Any]:
    """{"do": "audition", "instrument": NAME, "sound": NAME}. Loop only. However it ends, no note is left."""
    name, sound = request.get("instrument"), request.get("sound")
    gear = show.engine.rig.instruments.get(str(name))
    wanted = gear.sounds.get(str(sound)) if gear else None
    if gear is None or wanted is None:
        return {"done": False, "text": f"what plays has no instrument {name} with a sound {sound}; nothing was played"}
    output, channel = show.outputs.index(gear.output), gear.channel - 1
    async with _under_way:
        before = show.engine.state.ledger.sounds(output).get(channel)
        unit = select(channel, wanted.bank, wanted.program - gear.programs_from, gear.bank)
        show.send((output, message) for message in unit)
        try:
            await trio.sleep(gear.settle / 1e9)
            for key in _DRUMS if gear.channel == _DRUM_CHANNEL else _PHRASE:
                await _play(show, output, channel, key)
        finally:
            now = show.engine.state.ledger.sounds(output).get(channel)  # a scene may have been recalled meanwhile
            show.send((output, message) for message in now or ())
    left = "the sound before is back" if before or now else "what it was on before is not known, so it stays on this"
    return {"done": True, "text": f"{name}: {sound} was played; {left}"}


async def _play(show: Show, output: int, channel: int, key: int) -> None:
    show.send([(output, bytes((NOTE_ON | channel, key, _VELOCITY)))])
    try:
        await trio.sleep(_NOTE)
    finally:
        show.send([(output, bytes((NOTE_OFF | channel, key, 64)))])
