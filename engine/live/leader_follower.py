"""Plays here what the engine in charge plays: its scene, its clock and time code, and its rig, as it says them."""

import json
from collections.abc import Callable, Iterable
from typing import Final

from engine.cluster.endpoints.remote_machines import RemoteMachines
from engine.cluster.pure.leadership import Act, Leadership
from engine.cluster.pure.replica import Word, read_show_word, read_time_word
from engine.live.edit.rig_session import RigSession
from engine.live.leader_state import RIG, SHOW
from engine.live.show import Show

_OLDEST: Final = 2_000_000_000  # ns: if a word seems older, the clocks of the two machines do not agree that well


class LeaderFollower:
    """Loop only."""

    def __init__(
        self,
        show: Show,
        machines: RemoteMachines,
        session: RigSession,
        leadership: Leadership,
        do: Callable[[int, Iterable[Act]], None],
    ) -> None:
        """`do` carries out what the leadership decides, at a time (ns)."""
        self.exact = False  # whether it is known to the message what the other had played when it gave us the show
        self.heard_term: int | None = None  # the term in which the engine in charge was last heard
        self.rig: str | None = None  # the rig of the engine in charge, to be played here
        self._show, self._machines, self._session = show, machines, session
        self._leadership = leadership
        self._do = do

    def take(self, now: int, what: str, payload: bytes) -> None:
        """The other engine has published one of its states."""
        if what == RIG:
            if payload and not self._leadership.in_charge:
                self.rig = payload.decode()
            return
        word = json.loads(payload)
        speaker = word["from"]
        if speaker != self._leadership.other:
            return
        if what == SHOW:
            self._hear_leadership(now, speaker, word)
        if not self._leadership.in_charge and self._leadership.leader == speaker:
            self._follow(now, speaker, what, word)

    def _hear_leadership(self, now: int, speaker: str, word: Word) -> None:
        since = None
        if "given" in word:
            since = now - self._age(now, speaker, word["given"])
            self.exact = word["quiet"] is True
        self._do(now, self._leadership.word(now, int(word["term"]), str(word["machine"]), since))
        if word["machine"] == speaker:
            self.heard_term = self._leadership.term

    def _follow(self, now: int, speaker: str, what: str, word: Word) -> None:
        try:
            if what == SHOW:
                command = read_show_word(word)
                self._show.pump()
                outcome = self._show.apply(command, speaker)
            else:
                outcome = self._show.apply(read_time_word(word, self._age(now, speaker, word["at"])), speaker)
            self._show.keep_place()
            fault = "" if outcome.done else outcome.text
        except ValueError as found:
            fault = str(found)
        if fault:
            self._show.tell("network", f"cannot follow {speaker}: {fault}")

    def _age(self, now: int, speaker: str, at: object) -> int:
        """How long ago (ns) it was this time at the other machine; 0 if that makes no sense."""
        age = now - self._machines.to_here(speaker, int(str(at)))
        return age if 0 <= age < _OLDEST else 0

    async def play_rig(self) -> None:
        """Play the rig of the engine in charge here as well. It is not written to the file until it is saved."""
        text, self.rig = self.rig, None
        if text is None or self._leadership.in_charge or text == self._session.text:
            return
        fault = await self._session.follow(text)
        leader = self._leadership.leader
        self._show.tell(
            "network", f"the rig of {leader} cannot be played here: {fault}" if fault else f"plays the rig of {leader}"
        )
