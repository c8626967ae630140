"""The member channels of an MPE zone: which of them plays which note, and what shapes it there."""

from collections import Counter
from typing import Final

from engine.midi.mpe import TIMBRE_CENTRE, Expression
from filters.registry import Surroundings

#: what a member does for others -> its place among those that might be taken
_RANK: Final = {None: 0, False: 1, True: 2}


class Members:
    """Which member channel plays which voice. A voice is a key of a channel, or a member of another zone."""

    def __init__(self, members: range, surroundings: Surroundings) -> None:
        """`surroundings`: they say where others sound. Which member has been silent longest is kept there, too, so that
        it is known over scene changes and to all filters that lead to the same zone."""
        self._sounding, self._is_in_force = surroundings.sounding, surroundings.is_in_force
        self._silent_since: dict[int, int] = surroundings.shared(("mpe", members))
        for member in members:
            self._silent_since.setdefault(member, member)
        self._token = object()  # this filter among those that share what follows
        self._shaped: dict[int, tuple[object, Expression]] = surroundings.shared(("mpe shaped", members))
        self._presses: Counter[int] = Counter()  # by voice, those whose keys are down
        self._of: dict[int, int] = {}  # voice -> the member that it has, or had last

    def of(self, voice: int) -> int:
        """The member of a voice; for one that has not sounded yet, the one that it would get."""
        return self._of.get(voice) or self._next()

    def press(self, voice: int) -> int:
        """The member of a voice that sounds from now on."""
        if not self._presses[voice]:
            self._of[voice] = self._next()
        self._presses[voice] += 1
        return self._of[voice]

    def release(self, voice: int) -> int:
        """The member of a voice, one of whose keys is up."""
        if self._presses[voice]:
            self._presses[voice] -= 1
            if not self._presses[voice]:
                self._silent_since[self._of[voice]] = max(self._silent_since.values()) + 1
        return self.of(voice)

    def sounding(self, voice: int) -> bool:
        """Whether any key of it is down."""
        return bool(self._presses[voice])

    def voices(self) -> list[int]:
        """All that sound."""
        return [voice for voice, presses in self._presses.items() if presses]

    def shape(self, voice: int, after: Expression, begins: bool) -> tuple[bytes, ...]:
        """What brings the member of a voice there, from what it was last sent; `begins`: its note is about to.

        If another filter has sent that, all is sent again. Before a note so is what the channel has lost: since its
        last note it may have been set to rest.
        """
        member = self.of(voice)
        by, before = self._shaped.get(member, (None, None))
        if after.timbre is None and before is not None and before.timbre is not None:
            after = after._replace(timbre=TIMBRE_CENTRE)
        self._shaped[member] = self._token, after
        if by is not self._token:
            before = None
        changes = after.messages(member, before)
        if not begins or before is None:
            return changes
        return tuple(each for each in after.messages(member, None) if each in changes or not self._is_in_force(each))

    def forget_shapes(self) -> None:
        """What the members were sent counts no longer."""
        self._shaped.clear()

    def end(self) -> None:
        """Nothing sounds any more."""
        self._presses.clear()

    def _next(self) -> int:
        """One that is silent, for as long as possible; if none is, the one with the fewest voices (M1-100)."""
        busy = Counter(self._of[voice] for voice in self.voices())
        sounding = self._sounding()
        return min(
            self._silent_since,
            key=lambda member: (busy[member], _RANK[sounding.get(member - 1)], self._silent_since[member]),
        )
