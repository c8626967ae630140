"""What the engine in charge says about its show, and the commands that an engine which follows makes of it. No I/O.

An engine that follows routes every input itself. What players command it learns from the engine in charge: the scene
and the place in the set list, the muted routes, and the rig's own clock and time code. Clock and time code of an input
it hears itself.
"""

from typing import Any, Final

from engine.core.commands import FollowShow, FollowTime
from engine.core.control.setlist import ShowPosition
from engine.core.engine import Engine
from engine.core.timing import clock

Word = dict[str, Any]  # fit for JSON

_SINCE: Final = (
    5_000_000  # ns since the last clock or quarter frame, and until the next, that show which of two engines
)
_UNTIL: Final = 2_000_000  # has sent it; their clocks agree to less


def show_word(engine: Engine) -> Word:
    """Where the show is."""
    return {"standing": engine.position, "muted": sorted(engine.state.muted)}


def time_word(engine: Engine, now: int) -> Word:
    """How the rig's own clock and time code are stopped or run `now` (ns of this machine's clock)."""
    own, code = engine.state.sync.clock, engine.state.sync.code
    place, runs_for = code.stand(now) if code is not None else (None, None)
    return {
        "at": now,
        "clock": own.stand(now) if own is not None else None,
        "timecode": [str(place), runs_for] if code is not None else None,
    }


def between_ticks(engine: Engine, now: int) -> bool:
    """Whether the rig's own clock and time code have not just ticked, and are not about to."""
    own, code = engine.state.sync.clock, engine.state.sync.code
    dues = [(own.due, clock.period(own.bpm))] if own is not None else []
    dues += [(code.due, code.rate.nanoseconds(1))] if code is not None else []
    return all(due is None or (due - now > _UNTIL and now - (due - apart) > _SINCE) for due, apart in dues)


def read_show_word(word: Word) -> FollowShow:
    """What the word about the show commands here. Raises ValueError, with a sentence, if it makes no sense."""
    muted = word.get("muted")
    if not isinstance(muted, list):
        raise ValueError("it does not say which routes are muted")
    return FollowShow(_position(word), tuple(str(route) for route in muted))


def _position(word: Word) -> ShowPosition | None:
    found = word.get("standing")
    if found is None:
        return None
    if not isinstance(found, list | tuple) or [type(each) for each in found] != [int, str, int]:
        raise ValueError("it does not say where the show is")
    return ShowPosition(*found)


def read_time_word(word: Word, age: int) -> FollowTime:
    """What the word about clock and time code, said `age` ns ago, commands here. Raises ValueError likewise."""
    try:
        return FollowTime(age, _clock(word.get("clock")), _timecode(word.get("timecode")))
    except (TypeError, ValueError) as fault:
        raise ValueError(f"it does not give the state of clock and time code ({fault})") from None


def _clock(found: Any) -> clock.ClockGenerator.Stand | None:
    if found is None:
        return None
    bpm, position, next_in = found
    return clock.ClockGenerator.Stand(float(bpm), int(position), _whole(next_in))


def _timecode(found: Any) -> tuple[str, int | None] | None:
    if found is None:
        return None
    place, runs_for = found
    return str(place), _whole(runs_for)


def _whole(found: Any) -> int | None:
    return None if found is None else int(found)
