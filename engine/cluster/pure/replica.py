"""The word of the engine in charge, and what an engine that follows makes of it. No I/O, no clock.

An engine that follows hears every input and routes it by itself; what players command it learns from the one in
charge: the scene and the place in the set list, the muted routes, the rig's own clock and time code. Those of an input
it hears itself.
"""

from typing import Any, Final

from engine.core.cable.output_cable import Delivery
from engine.core.control.controls import Command
from engine.core.control.setlist import ShowPosition
from engine.core.engine import Engine
from engine.core.timing import clock
from engine.midi.timecode import read_label

Word = dict[str, Any]  # fit for JSON

_SOURCE: Final = "the engine in charge"
_SINCE: Final = (
    5_000_000  # ns since the last clock or quarter frame, and until the next, that show which of two engines
)
_UNTIL: Final = 2_000_000  # has sent it; their clocks agree to less


def show_word(engine: Engine) -> Word:
    """Where the show is."""
    return {"standing": engine.standing, "muted": sorted(engine.muted)}


def time_word(engine: Engine, now: int) -> Word:
    """How the rig's own clock and time code stand or run `now` (ns of the teller's clock)."""
    own, code = engine.sync.clock, engine.sync.code
    place, runs_for = code.stand(now) if code is not None else (None, None)
    return {
        "at": now,
        "clock": own.stand(now) if own is not None else None,
        "timecode": [str(place), runs_for] if code is not None else None,
    }


def between_ticks(engine: Engine, now: int) -> bool:
    """Whether the rig's own clock and time code have not just ticked, and are not about to."""
    own, code = engine.sync.clock, engine.sync.code
    dues = [(own.due, clock.period(own.bpm))] if own is not None else []
    dues += [(code.due, code.rate.nanoseconds(1))] if code is not None else []
    return all(due is None or (due - now > _UNTIL and now - (due - apart) > _SINCE) for due, apart in dues)


def follow_show(engine: Engine, now: int, word: Word) -> list[Delivery]:
    """Be where the show is. Raises ValueError, with a sentence, if the word makes no sense for this rig."""
    standing, muted = _standing(word), word.get("muted")
    if not isinstance(muted, list):
        raise ValueError("it does not say which routes are muted")
    out: list[Delivery] = []
    leader, engine.led_by = engine.led_by, None
    try:
        for route in sorted(engine.muted ^ {str(each) for each in muted}):
            engine.mute(now, route, route in muted, _SOURCE, out)
        if standing is not None and standing != engine.standing:
            _go(engine, now, standing, out)
    finally:
        engine.led_by = leader
    return out


def _standing(word: Word) -> ShowPosition | None:
    found = word.get("standing")
    if found is None:
        return None
    if not isinstance(found, list | tuple) or [type(each) for each in found] != [int, str, int]:
        raise ValueError("it does not say where the show is")
    return ShowPosition(*found)


def _go(engine: Engine, now: int, standing: ShowPosition, out: list[Delivery]) -> None:
    if standing.scene not in engine.plans:
        raise ValueError(f"it plays scene {standing.scene}, which is not in the rig here")
    engine.setlist = engine.setlists.get(standing.setlist, engine.setlist)
    engine.setlist.place = standing.place
    if engine.plan is None or engine.plan.number != standing.scene:
        engine.obey(now, Command("scene", standing.scene), _SOURCE, out)


def follow_time(engine: Engine, now: int, age: int, word: Word) -> None:
    """The rig's own clock and time code stand or run as the word says, which was true `age` ns ago.

    Raises ValueError if the word makes no sense.
    """
    own, code = engine.sync.clock, engine.sync.code
    told, place = word.get("clock"), word.get("timecode")
    try:
        if own is not None and told is not None:
            bpm, position, next_in = told
            stand = clock.ClockGenerator.Stand(float(bpm), int(position), None if next_in is None else int(next_in))
            own.follow(now - age, stand)
        if code is not None and place is not None:
            label, runs_for = place
            code.follow(now - age, read_label(str(label), code.rate), None if runs_for is None else int(runs_for))
    except (TypeError, ValueError) as fault:
        raise ValueError(f"it does not say how clock and time code stand ({fault})") from None
