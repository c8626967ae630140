"""What the engine in charge publishes of its show for the other machines: position, clock and time code, and rig.

Each is a retained state of the network, so a machine that joins later gets it, too.
"""

from typing import Final

from engine.cluster.endpoints.remote_machines import RemoteMachines
from engine.cluster.pure.leadership import Leadership
from engine.cluster.pure.replica import show_place, time_place
from engine.cluster.pure.words import ShowPlace, ShowWord, TimePlace, TimeWord, pack
from engine.live.edit.rig_session import RigSession
from engine.live.show import Show

SHOW, TIME, RIG = "show", "clock", "rig"  # the names of the states

_SAY_AGAIN: Final = 1_000_000_000  # ns after which a state is published again although nothing has changed


class LeaderState:
    """Publishes the states when they change, and all but the rig every second as well. Loop only."""

    def __init__(self, show: Show, session: RigSession, machines: RemoteMachines, leadership: Leadership) -> None:
        self._show = show
        self._session = session
        self._link, self._keys = machines.link, machines.keys
        self._leadership = leadership
        self._show_said: tuple[int, ShowWord] | None = None  # what was published last, and when (ns)
        self._time_said: tuple[int, TimePlace] | None = None
        self._rig_said: str | None = None

    def forget(self) -> None:
        """Somebody may have missed what was published: publish everything again."""
        self._show_said = self._time_said = self._rig_said = None

    def publish(self, now: int) -> None:
        """Position, clock and time code, as this engine is in charge."""
        show = self._word(self._leadership.me, show_place(self._show.engine))
        if self._show_said is None or self._show_said[1] != show or now - self._show_said[0] >= _SAY_AGAIN:
            self._publish_show(now, show)
        time = time_place(self._show.engine, now)
        before = self._time_said
        # a position that runs changes all the time, but follows from the time when it began to run
        if before is None or now - before[0] >= _SAY_AGAIN or _fixed_part(time) != _fixed_part(before[1]):
            self._time_said = now, time
            word = TimeWord(speaker=self._leadership.me, at=now, time=time)
            self._link.keep(self._keys.state(TIME), pack(word))

    def publish_rig(self) -> None:
        """The rig that plays."""
        text = self._session.text
        if self._rig_said != text:
            self._rig_said = text
            self._link.keep(self._keys.state(RIG), text.encode())

    def publish_handed_over(self, now: int, leader: str, given: int | None, quiet: bool) -> None:
        """`leader` is in charge from now on; `given` and `quiet` say when (ns) and how it got the show from us."""
        word = self._word(leader, show_place(self._show.engine))
        self._publish_show(now, word.model_copy(update={"given": given, "quiet": quiet}))
        self._link.keep(self._keys.state(RIG), b"")

    def _word(self, leader: str, place: ShowPlace) -> ShowWord:
        leadership = self._leadership
        return ShowWord(speaker=leadership.me, machine=leader, term=leadership.term, show=place)

    def _publish_show(self, now: int, word: ShowWord) -> None:
        self._show_said = now, word
        self._link.keep(self._keys.state(SHOW), pack(word))


def _fixed_part(time: TimePlace) -> tuple[object, object]:
    """What of clock and time code does not change by itself."""
    clock, code = time.clock, time.timecode
    runs = clock is not None and clock[2] is not None and not clock[3]
    return clock and (clock[0], runs, None if runs else clock[1], clock[2] is None), code and (
        code[0],
        code[1] is not None,
    )
