"""What the engine in charge says about its show, and the commands that an engine which follows makes of it. No I/O.

An engine that follows routes every input itself. What players command it learns from the engine in charge: the scene
and the place in the set list, the muted routes, and the rig's own clock and time code. Clock and time code of an input
it hears itself.
"""

from typing import Final

from engine.cluster.pure.words import ShowPlace, TimePlace
from engine.core.commands import FollowShow, FollowTime
from engine.core.control.setlist import ShowPosition
from engine.core.engine import Engine
from engine.core.routing.channel_places import by_instrument
from engine.core.timing import clock
from engine.core.timing.clock_stand import ClockStand

_SINCE: Final = (
    5_000_000  # ns since the last clock or quarter frame, and until the next, that show which of two engines
)
_UNTIL: Final = 2_000_000  # has sent it; their clocks agree to less


def show_place(engine: Engine) -> ShowPlace:
    """Where the show is."""
    state = engine.state
    position = state.main.position
    channels = by_instrument(engine.rig, engine.outputs, state.places)
    return ShowPlace(
        standing=position[:3] if position is not None else None,
        muted=tuple(sorted(state.muted)),
        loaded=state.main.setlist.loaded,
        channels=tuple(channels.items()),
        song=state.main.song or "",
        step=state.main.step,
        players=tuple(
            (name, (its.scene, its.setlist, its.place, its.song, its.step), stack.setlist.loaded)
            for name, stack in state.stacks.items()
            if name and (its := stack.position) is not None
        ),
    )


def time_place(engine: Engine, now: int) -> TimePlace:
    """How the rig's own clock and time code are stopped or run `now` (ns of this machine's clock)."""
    own, code = engine.state.sync.clock, engine.state.sync.code
    clock_stand = own.stand(now) if own is not None else None
    if code is None:
        return TimePlace(clock=clock_stand)
    place, runs_for = code.stand(now)
    return TimePlace(clock=clock_stand, timecode=(str(place), runs_for))


def between_ticks(engine: Engine, now: int) -> bool:
    """Whether the rig's own clock and time code have not just ticked, and are not about to."""
    own, code = engine.state.sync.clock, engine.state.sync.code
    dues = [(own.due, clock.period(own.bpm))] if own is not None else []
    dues += [(code.due, code.rate.nanoseconds(1))] if code is not None else []
    return all(due is None or (due - now > _UNTIL and now - (due - apart) > _SINCE) for due, apart in dues)


def show_command(place: ShowPlace) -> FollowShow:
    """What the word about the show commands here."""
    standing = ShowPosition(*place.standing, place.song, place.step) if place.standing is not None else None
    players = tuple((name, ShowPosition(*its), loaded) for name, its, loaded in place.players)
    return FollowShow(standing, place.muted, place.loaded, place.channels, players)


def time_command(place: TimePlace, age: int) -> FollowTime:
    """What the word about clock and time code, said `age` ns ago, commands here."""
    stand = ClockStand(*place.clock) if place.clock is not None else None
    return FollowTime(age, stand, place.timecode)
