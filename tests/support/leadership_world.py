"""Two engines and the owners of outputs in virtual time: links that part, machines that die and wake.

The owner here is the rule alone (an owner grants outputs whose holder is gone, or has given them away); the real one
has its own tests.
"""

from collections.abc import Callable, Sequence
from functools import partial

from engine.cluster.pure.leadership import Act, Ask, Follow, Give, Lead, Leadership, LeadershipLost, Play

MS = 1_000_000
STEP = 5 * MS
DELAY = 2 * MS

Call = Callable[[], object]


class Owner:
    """Grants one machine's outputs."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.epoch = 100
        self.holder: str | None = None
        self.given_to: str | None = None

    def claim(self, who: str, alive: set[str]) -> int | None:
        free = self.holder in (None, who) or self.holder not in alive or self.given_to == who
        if not free:
            return None
        self.epoch += 1
        self.holder, self.given_to = who, None
        return self.epoch

    def give(self, epoch: int, to: str) -> None:
        if epoch == self.epoch:
            self.given_to = to


class World:
    """Machines `desk` (main) and `spare` (standby), and owners, on a net that can be parted."""

    def __init__(self, owners: tuple[str, ...] = ("left",)) -> None:
        self.now = 0
        self.owners = {name: Owner(name) for name in owners}
        self.engines: dict[str, Leadership] = {}
        self.stopped: set[str] = set()  # alive as a process, but it does nothing
        self.heard_while_stopped: dict[str, list[Call]] = {"desk": [], "spare": []}
        self.parted: set[frozenset[str]] = set()
        self.leads: list[tuple[int, str]] = []  # (time, machine) each time one takes charge
        self.playing: dict[str, dict[str, int]] = {"desk": {}, "spare": {}}  # owner -> epoch
        self.said_at = {"desk": 0, "spare": 0}
        self._coming: list[tuple[int, int, Call]] = []  # (at, number, call)
        self._number = 0

    # What happens to them

    def start(self, name: str) -> None:
        engine = Leadership(self.now, name, "desk", "spare", self.owners)
        self.engines[name] = engine
        self.playing[name] = {}
        other = self.other(name)
        for owner in self.owners:
            if self.reach(name, owner):
                self.tell(name, partial(self.meet, name, owner))
        if other in self.engines and other not in self.stopped:
            self.see(name, other, True)
        self.see(other, name, name not in self.stopped)

    def kill(self, name: str) -> None:
        del self.engines[name]
        self.stopped.discard(name)
        self.heard_while_stopped[name] = []
        self.see(self.other(name), name, False)

    def stop(self, name: str) -> None:
        """Its loop is stuck: its token is taken down, and what arrives waits."""
        self.stopped.add(name)
        self.see(self.other(name), name, False)

    def wake(self, name: str) -> None:
        self.stopped.discard(name)
        waiting, self.heard_while_stopped[name] = self.heard_while_stopped[name], []
        for call in waiting:
            call()
        self.see(self.other(name), name, True)

    def part(self, one: str, other: str) -> None:
        self.parted.add(frozenset((one, other)))
        self._seen_again(one, other, False)

    def join(self, one: str, other: str) -> None:
        self.parted.discard(frozenset((one, other)))
        self._seen_again(one, other, True)

    def _seen_again(self, one: str, other: str, there: bool) -> None:
        for here, yonder in ((one, other), (other, one)):
            if here not in self.engines:
                continue
            if yonder in self.owners:
                met = self.meet if there else self.miss
                self.tell(here, partial(met, here, yonder))
            elif yonder in self.engines and yonder not in self.stopped:
                self.see(here, yonder, there)

    def meet(self, name: str, owner: str) -> None:
        """An engine sees an owner, and receives its last message."""
        if self.reach(name, owner):
            engine, owned = self.engines[name], self.owners[owner]
            self.act(name, engine.owner_there(self.now, owner, True))
            self.act(name, engine.leased(self.now, owner, owned.epoch, owned.holder, owned.given_to))

    def miss(self, name: str, owner: str) -> None:
        self.act(name, self.engines[name].owner_there(self.now, owner, False))

    # How they learn of it

    def other(self, name: str) -> str:
        return "spare" if name == "desk" else "desk"

    def reach(self, one: str, other: str) -> bool:
        return frozenset((one, other)) not in self.parted

    def alive_to(self, owner: str) -> set[str]:
        return {name for name in self.engines if name not in self.stopped and self.reach(name, owner)}

    def see(self, who: str, other: str, there: bool) -> None:
        engine = self.engines.get(who)
        if engine is not None and (self.reach(who, other) or not there):
            self.tell(who, lambda: self.act(who, engine.alive(self.now, there)))
            if there and engine.in_charge:  # a late joiner receives the last message
                self.tell(who, lambda: self.say(who))

    def tell(self, who: str, call: Call) -> None:
        engine = self.engines.get(who)

        def now() -> None:
            if engine is not None and self.engines.get(who) is engine:
                if who in self.stopped:
                    self.heard_while_stopped[who].append(call)
                else:
                    call()

        self.later(now)

    def later(self, call: Call, delay: int = DELAY) -> None:
        self._number += 1
        self._coming.append((self.now + delay, self._number, call))

    def act(self, name: str, acts: Sequence[Act]) -> None:
        engine = self.engines[name]
        for one in acts:
            match one:
                case Ask(owner):
                    self.later(partial(self._asked, name, engine, owner))
                case Give(owner, epoch, to):
                    self.later(partial(self._given, name, owner, epoch, to))
                case Lead():
                    self.leads.append((self.now, name))
                    self.say(name)
                case Follow(machine):
                    if machine != name:
                        self.say(name)
                case Play(owner, epoch, _, _):
                    self.playing[name][owner] = epoch
                case LeadershipLost(owner):
                    self.playing[name].pop(owner, None)
        if not engine.in_charge:
            self.playing[name].clear()

    def say(self, name: str) -> None:
        """An engine names the machine in charge, as it does when it leads or hands over."""
        engine, other = self.engines[name], self.other(name)
        self.said_at[name] = self.now
        if self.reach(name, other) and other in self.engines and (engine.in_charge or engine.leader == other):
            term, leader = engine.term, engine.leader
            assert leader is not None
            self.tell(other, lambda: self.act(other, self.engines[other].word(self.now, term, leader)))

    def _asked(self, name: str, engine: Leadership, owner_name: str) -> None:
        owner = self.owners[owner_name]
        if self.engines.get(name) is not engine:
            return
        if not self.reach(name, owner_name):
            self.tell(name, lambda: engine.unanswered(self.now, owner_name))
            return
        epoch = owner.claim(name, self.alive_to(owner_name))
        if epoch is None:
            holder = owner.holder
            self.tell(name, lambda: self.act(name, engine.refused(self.now, owner_name, holder)))
            return
        self.tell(name, lambda: self.act(name, engine.granted(self.now, owner_name, epoch)))
        self.lease(owner_name)

    def lease(self, owner_name: str) -> None:
        """An owner says which engine holds its outputs."""
        epoch, holder = self.owners[owner_name].epoch, self.owners[owner_name].holder
        for each, engine in self.engines.items():
            if self.reach(each, owner_name):
                self.tell(
                    each,
                    partial(
                        lambda each, engine: self.act(each, engine.leased(self.now, owner_name, epoch, holder)),
                        each,
                        engine,
                    ),
                )

    def _given(self, name: str, owner: str, epoch: int, to: str) -> None:
        if self.reach(name, owner):
            self.owners[owner].give(epoch, to)
            self.lease(owner)

    # time

    def run(self, ms: int) -> None:
        end = self.now + ms * MS
        while self.now < end:
            self.now += STEP
            for each in sorted(each for each in self._coming if each[0] <= self.now):
                self._coming.remove(each)
                each[2]()
            for name, engine in list(self.engines.items()):
                if name in self.stopped:
                    continue
                due = engine.due
                if due is not None and due <= self.now:
                    self.act(name, engine.tick(self.now))
                if engine.in_charge and self.now - self.said_at[name] >= 1000 * MS:
                    self.say(name)

    def leaders(self) -> list[str]:
        return [name for name, engine in self.engines.items() if engine.in_charge]

    def players(self, owner: str) -> list[str]:
        """Which engines believe that they play an owner's outputs, with the epoch that is valid there."""
        epoch = self.owners[owner].epoch
        return [name for name, owned in self.playing.items() if owned.get(owner) == epoch and name in self.engines]
