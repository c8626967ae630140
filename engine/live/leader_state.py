"""What the engine in charge publishes of its show for the other machines: position, clock and time code, and rig.

Each is a retained state of the network, so a machine that joins later gets it, too.
"""

import json
from typing import Any, Final

from engine.cluster.endpoints.remote_machines import RemoteMachines
from engine.cluster.pure.leadership import Leadership
from engine.cluster.pure.replica import Word, show_word, time_word
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
        self._said: dict[str, tuple[int, Word]] = {}  # what was published last, and when (ns)
        self._rig_said: str | None = None

    def forget(self) -> None:
        """Somebody may have missed what was published: publish everything again."""
        self._said.clear()
        self._rig_said = None

    def publish(self, now: int) -> None:
        """Position, clock and time code, as this engine is in charge."""
        show = {"machine": self._leadership.me, **self._show_word()}
        before = self._said.get(SHOW)
        if before is None or before[1] != show or now - before[0] >= _SAY_AGAIN:
            self._keep(now, SHOW, show)
        time = time_word(self._show.engine, now)
        before = self._said.get(TIME)
        # a position that runs changes all the time, but follows from the time when it began to run
        if before is None or now - before[0] >= _SAY_AGAIN or _fixed_part(time) != _fixed_part(before[1]):
            self._keep(now, TIME, time)

    def publish_rig(self) -> None:
        """The rig that plays."""
        text = self._session.text
        if self._rig_said != text:
            self._rig_said = text
            self._link.keep(self._keys.state(RIG), text.encode())

    def publish_handed_over(self, now: int, given: Word) -> None:
        """Another engine is in charge from now on; `given` says when and how it got the show, if we gave it."""
        self._keep(now, SHOW, {"machine": self._leadership.leader, **self._show_word(), **given})
        self._link.keep(self._keys.state(RIG), b"")

    def _show_word(self) -> Word:
        return {"term": self._leadership.term, **show_word(self._show.engine)}

    def _keep(self, now: int, what: str, word: Word) -> None:
        self._said[what] = now, word
        packed = json.dumps({"from": self._leadership.me, **word}).encode()
        self._link.keep(self._keys.state(what), packed)


def _fixed_part(word: Word) -> tuple[Any, Any]:
    """What of clock and time code does not change by itself."""
    clock, code = word["clock"], word["timecode"]
    runs = clock is not None and clock[2] is not None
    return clock and (clock[0], runs, None if runs else clock[1]), code and (code[0], code[1] is not None)
