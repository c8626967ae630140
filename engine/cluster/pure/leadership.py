"""Decides which of two engines is in charge of a show: the main one, or the standby that follows it. No I/O, no clock.

Both engines route every input; only the one in charge sends. The machines that own outputs arbitrate: an engine that
has lost the other's sign of life asks every owner for its outputs, and is in charge with the first that grants them. An
owner grants nothing that a living engine holds, so nothing changes if two engines merely lose sight of each other. The
term counts how often the show has changed hands; an engine that learns of a higher term than its own steps down. What
an owner says about the other engine makes it step down only if nothing else can: if the other is out of sight, and no
outputs of another owner are ours. So an owner that says what is not so loses us its own outputs and no more.

In go the reports that `live/standby.py` receives; out come the acts that it is to carry out.
"""

from collections import deque
from collections.abc import Iterable
from typing import Final, Literal, NamedTuple

State = Literal["following", "asking", "in charge"]

ASK_AGAIN: Final = 50_000_000  # ns between two claims to an owner that refused
_IN_A_ROW: Final = 8  # claims to one owner that may follow each other at once; then one each `ASK_AGAIN`
_ASK_AT_EASE: Final = 250_000_000  # the same while another owner's outputs are ours: there is no hurry
_WAIT_FOR_OTHER: Final = 1_000_000_000  # ns that the main engine waits at its start for another that is in charge
_WAIT_FOR_WORD: Final = 300_000_000  # ns that it waits for the word of another that is alive
_GIVE_AGAIN: Final = 100_000_000  # ns between two messages to an owner that has not confirmed
_ANSWER: Final = 1_000_000_000  # ns after which a question counts as lost
#: ns without a word of the engine in charge, which sends one every second, after which the owners are asked
_WORDLESS: Final = 3_000_000_000


class Ask(NamedTuple):
    """Ask this owner for its outputs; then call `granted`, `refused` or `unanswered`."""

    owner: str


class Give(NamedTuple):
    """Tell this owner that another engine may claim what we hold in this epoch; `leased` confirms it."""

    owner: str
    epoch: int
    to: str


class Lead(NamedTuple):
    """We are in charge from now on."""


class Follow(NamedTuple):
    """This engine is in charge; we are not, or no longer."""

    machine: str


class Play(NamedTuple):
    """The outputs of this owner are ours in this epoch.

    `since`: when the other engine gave them to us (ns), if it did; `fresh`: whether no engine played them before.
    """

    owner: str
    epoch: int
    since: int | None
    fresh: bool


class LeadershipLost(NamedTuple):
    """The outputs of this owner are no longer ours."""

    owner: str


Act = Ask | Give | Lead | Follow | Play | LeadershipLost


class _Lease:
    """What this engine and one owner have agreed."""

    def __init__(self) -> None:
        self.epoch: int | None = None  # in which its outputs are ours
        self.mine: int | None = None  # the same as the owner reported it last, whether we asked or not
        self.ask_at = 0  # not before
        self.asked: deque[int] = deque(maxlen=_IN_A_ROW)  # when it was asked last (ns)
        self.answer_by: int | None = None  # it was asked, and should answer by then
        self.for_other = False  # we have handed the show over since we asked
        self.fresh = False  # no engine has played them since this owner started
        self.giving: tuple[int, str, int] | None = None  # epoch, to which engine, and when to say so again

    def ask_soon(self, now: int) -> None:
        """Ask it at once; or, if it was asked often just now, later: an owner that errs must not keep us busy."""
        full = len(self.asked) == _IN_A_ROW
        self.ask_at = max(now, self.asked[0] + _IN_A_ROW * ASK_AGAIN) if full else now

    @property
    def next_question(self) -> int:
        """When to ask it, or ask it again."""
        return self.ask_at if self.answer_by is None else self.answer_by


class Leadership:
    """One engine's view. Times in nanoseconds of any monotonic clock."""

    def __init__(self, now: int, me: str, main: str, standby: str | None, owners: Iterable[str]) -> None:
        """`me` is `main` or `standby`; `owners` are the machines that lend outputs to this rig."""
        self.me = me
        self.other = standby if me == main else main  # None if this engine is alone
        self.state: State = "following"
        self.term = 0
        self.leader: str | None = None if me == main else main  # the engine in charge, as far as is known
        self.changes = 0  # how often we took charge
        self._is_main = me == main
        self._alive = False  # the other
        self._since: int | None = None  # when the other gave the show to us
        self._word_by: int | None = None  # when the next word of the engine in charge should have come
        self._decide_at: int | None = (now + _WAIT_FOR_OTHER if self.other else now) if self._is_main else None
        self._leases = {owner: _Lease() for owner in owners}

    @property
    def in_charge(self) -> bool:
        """Whether this engine is in charge."""
        return self.state == "in charge"

    @property
    def other_alive(self) -> bool:
        """Whether the other engine gives signs of life."""
        return self._alive

    def epoch(self, owner: str) -> int | None:
        """The epoch in which the outputs of an owner are ours; None if they are not."""
        lease = self._leases.get(owner)
        return lease.epoch if lease is not None else None

    def owned(self, owners: Iterable[str]) -> list[Act]:
        """An edit of the rig has changed which machines lend outputs."""
        wanted = list(owners)
        gone = [owner for owner in self._leases if owner not in wanted]
        lost: list[Act] = [LeadershipLost(owner) for owner in gone if self._leases[owner].epoch is not None]
        self._leases = {owner: self._leases.get(owner) or _Lease() for owner in wanted}
        return lost

    # The other engine

    def alive(self, now: int, there: bool) -> list[Act]:
        """The other engine's sign of life has appeared (`there`), or disappeared."""
        was_there, self._alive = self._alive, there
        if not there:
            return self._seek(now) if was_there and self.leader == self.other else []
        if self.state == "asking":
            self.state = "following"
        if self.leader == self.other:
            self._word_by = now + _WORDLESS
        if self._decide_at is not None:
            self._decide_at = min(self._decide_at, now + _WAIT_FOR_WORD)
        return []

    def word(self, now: int, term: int, machine: str, since: int | None = None) -> list[Act]:
        """The other engine says which machine is in charge, in which term, and since when (ns)."""
        if machine == self.me:
            return self._accept(now, term, since or now) if term > self.term and not self.in_charge else []
        if self.in_charge and (term < self.term or (term == self.term and self._is_main)):
            return []
        self.term = max(self.term, term)
        if self.state == "asking" and not self._alive:  # its last word; it is gone
            return []
        return self._step_down(now, machine)

    def _accept(self, now: int, term: int, since: int) -> list[Act]:
        self.term, self._since = term - 1, since
        return self._ask_all(now)

    # By hand

    def take(self, now: int) -> list[Act]:
        """Take the show: ask the owners for their outputs. Without owners there is no arbiter, and the show is ours."""
        self._since = None
        return [] if self.in_charge else self._ask_all(now)

    def hand_over(self, now: int) -> list[Act]:
        """Put the other engine in charge. Everything that came in has been routed and sent before."""
        assert self.other is not None, "the caller has seen that there is another"
        assert self.in_charge, "the caller has seen that we are in charge"
        self.term += 1
        for lease in self._leases.values():
            lease.for_other = lease.answer_by is not None
        return self._step_down(now, self.other)

    def _seek(self, now: int) -> list[Act]:
        """The engine in charge is silent. Without an owner there is no way to tell whether it only seems so."""
        self._word_by = None
        return self.take(now) if self.state == "following" and self._leases else []

    def _ask_all(self, now: int) -> list[Act]:
        self.state, self._decide_at, self._word_by = "asking", None, None
        if not self._leases:
            return self._lead()
        for lease in self._leases.values():
            lease.ask_at, lease.fresh = now, False
        return self.tick(now)

    # The owners

    def granted(self, now: int, owner: str, epoch: int) -> list[Act]:
        """The owner's outputs are ours in this epoch."""
        lease = self._leases.get(owner)
        if lease is None or (lease.epoch is not None and epoch < lease.epoch):
            return []
        lease.answer_by = None
        if lease.for_other and self.leader is not None:
            lease.for_other = False
            return self._give(now, owner, epoch)
        lease.epoch = lease.mine = epoch
        # the other may be back by now; but the owner has decided, and the other will hear of it
        first = [] if self.in_charge else self._lead()
        fresh, lease.fresh = lease.fresh, False
        return [*first, Play(owner, epoch, self._since, fresh)]

    def refused(self, now: int, owner: str, holder: str | None) -> list[Act]:
        """The owner's outputs are held by an engine that is alive."""
        self.unanswered(now, owner)
        return self._step_down(now, holder) if holder is not None and self._believes(holder) else []

    def _believes(self, holder: str) -> bool:
        """Whether an owner's word that this engine plays is reason enough to step down."""
        nothing_is_ours = all(lease.epoch is None for lease in self._leases.values())
        return self.in_charge and holder == self.other and not self._alive and nothing_is_ours

    def unanswered(self, now: int, owner: str) -> None:
        """The owner did not answer."""
        lease = self._leases.get(owner)
        if lease is not None:
            lease.answer_by, lease.for_other = None, False
            lease.ask_at = now + (_ASK_AT_EASE if self.in_charge else ASK_AGAIN)

    def owner_there(self, now: int, owner: str, there: bool) -> list[Act]:
        """An owner has appeared, or disappeared. One that comes back no longer knows what we held."""
        lease = self._leases.get(owner)
        if lease is None:
            return []
        if there:
            lease.ask_soon(now)
            lease.fresh = self.in_charge
            return self.tick(now)
        had, lease.epoch, lease.mine, lease.giving = lease.epoch, None, None, None
        return [LeadershipLost(owner)] if had is not None else []

    def leased(self, now: int, owner: str, epoch: int, holder: str | None, given_to: str | None = None) -> list[Act]:
        """The owner reports who holds its outputs, and who may claim them: if not we, the other engine."""
        lease = self._leases.get(owner)
        if lease is None:
            return []
        lease.mine = epoch if holder == self.me and given_to is None else None
        if lease.mine is None:
            lease.giving = None
        if given_to == self.me and lease.answer_by is None:
            lease.ask_soon(now)
            return self.tick(now)
        if self.state == "following" and lease.answer_by is None:
            return self._give_on(now, owner, lease)
        if lease.epoch is None or epoch < lease.epoch or (holder == self.me and epoch == lease.epoch):
            return []
        lease.epoch = None
        lease.ask_soon(now)
        lost: list[Act] = [LeadershipLost(owner)]
        if holder is not None and self._believes(holder):
            self.term += 1  # as it did
            return [*lost, *self._step_down(now, holder)]
        return [*lost, *self.tick(now)]

    # Time

    @property
    def due(self) -> int | None:
        """When `tick` next has something to do, or None."""
        times = [at for at in (self._decide_at, self._word_by) if at is not None]
        for lease in self._leases.values():
            if lease.giving is not None:
                times.append(lease.giving[2])
            if self._wants(lease):
                times.append(lease.next_question)
        return min(times, default=None)

    def tick(self, now: int) -> list[Act]:
        """What is due by now."""
        acts: list[Act] = []
        if self._decide_at is not None and self._decide_at <= now:
            acts += self._lead()
            for lease in self._leases.values():
                lease.fresh = True
        if self._word_by is not None and self._word_by <= now:
            acts += self._seek(now)
        for owner, lease in self._leases.items():
            if lease.giving is not None and lease.giving[2] <= now:
                epoch, to, _ = lease.giving
                lease.giving = epoch, to, now + _GIVE_AGAIN
                acts.append(Give(owner, epoch, to))
            if self._wants(lease) and lease.next_question <= now:
                lease.answer_by = now + _ANSWER
                lease.asked.append(now)
                acts.append(Ask(owner))
        return acts

    def _wants(self, lease: _Lease) -> bool:
        return self.state != "following" and lease.epoch is None

    def _lead(self) -> list[Act]:
        self.state, self.leader = "in charge", self.me
        self._decide_at = self._word_by = None
        self.term += 1
        self.changes += 1
        for lease in self._leases.values():
            lease.giving = None
        return [Lead()]

    def _step_down(self, now: int, machine: str) -> list[Act]:
        known = self.state == "following" and self.leader == machine and self._decide_at is None
        self.state, self.leader, self._decide_at = "following", machine, None
        self._word_by = now + _WORDLESS
        acts: list[Act] = [] if known else [Follow(machine)]
        for owner, lease in self._leases.items():
            lease.mine, lease.epoch = lease.epoch or lease.mine, None
            acts += self._give_on(now, owner, lease)
        return acts

    def _give_on(self, now: int, owner: str, lease: _Lease) -> list[Act]:
        """While we follow, what is still ours is given to the engine in charge."""
        if lease.mine is None or self.leader in (None, self.me):
            return []
        return self._give(now, owner, lease.mine)

    def _give(self, now: int, owner: str, epoch: int) -> list[Act]:
        assert self.leader is not None, "there is an engine to give it to"
        self._leases[owner].giving = epoch, self.leader, now + _GIVE_AGAIN
        return [Give(owner, epoch, self.leader)]
