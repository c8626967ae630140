"""Plays here what the engine in charge plays: its scene, its clock and time code, and its rig, as it says them."""

from collections.abc import Callable, Iterable
from typing import Final

from engine.cluster.endpoints.remote_machines import RemoteMachines
from engine.cluster.pure.leadership import Act, Leadership
from engine.cluster.pure.replica import show_command, time_command
from engine.cluster.pure.words import ShowWord, TimeWord
from engine.core.command_result import CommandResult
from engine.live.edit.rig_session import RigSession
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

    def take_rig(self, now: int, text: str) -> None:
        """The other engine plays this rig; none if it is empty."""
        if text and not self._leadership.in_charge:
            self.rig = text

    def take_show(self, now: int, word: ShowWord) -> None:
        """The other engine says who is in charge, and where the show is."""
        if word.speaker != self._leadership.other:
            return
        since = None
        if word.given is not None:
            since = now - self._age(now, word.speaker, word.given)
            self.exact = word.quiet
        self._do(now, self._leadership.word(now, word.term, word.machine, since))
        if word.machine == word.speaker:
            self.heard_term = self._leadership.term
        if self._follows(word.speaker):
            self._show.pump()
            self._took(word.speaker, self._show.apply(show_command(word.show), word.speaker))

    def take_time(self, now: int, word: TimeWord) -> None:
        """The other engine says how its clock and time code run."""
        if self._follows(word.speaker):
            command = time_command(word.time, self._age(now, word.speaker, word.at))
            self._took(word.speaker, self._show.apply(command, word.speaker))

    def _follows(self, speaker: str) -> bool:
        """Whether this engine follows that one."""
        leadership = self._leadership
        return speaker == leadership.other and not leadership.in_charge and leadership.leader == speaker

    def _took(self, speaker: str, outcome: CommandResult) -> None:
        self._show.keep_place()
        if not outcome.done:
            self._show.tell("network", f"cannot follow {speaker}: {outcome.text}")

    def _age(self, now: int, speaker: str, at: int) -> int:
        """How long ago (ns) it was this time at the other machine; 0 if that makes no sense."""
        age = now - self._machines.to_here(speaker, at)
        return age if 0 <= age < _OLDEST else 0

    async def play_rig(self) -> None:
        """Play the rig of the engine in charge here as well. It is not written to the file until it is saved."""
        text, self.rig = self.rig, None
        if text is None or self._leadership.in_charge or text == self._session.text:
            return
        leader = self._leadership.leader
        try:
            fault = await self._session.follow(text)
        except Exception as found:  # it costs this rig, not the show
            fault = self._show.own_fault(f"adopting the rig of {leader}", found)
        self._show.tell(
            "network", f"the rig of {leader} cannot be played here: {fault}" if fault else f"plays the rig of {leader}"
        )
