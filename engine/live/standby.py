"""One engine of a show that two play: it is in charge, or follows the other. `cluster/pure/leadership.py` decides.

What other machines say arrives in threads of the link. It is queued and wakes the loop, which looks at what has changed
and acts at once. What blocks runs in other threads, so nothing here holds up the music.
"""

from collections import deque
from collections.abc import Callable, Iterable
from functools import partial
from typing import Any, Final, Protocol, TypeVar

import trio

from engine.cluster.endpoints.hearing import TOO_MUCH
from engine.cluster.endpoints.remote_machines import RemoteMachines
from engine.cluster.pure.leadership import Act, Ask, Follow, Give, Lead, Leadership, LeadershipLost, Play
from engine.cluster.pure.output_lender import ClaimRefused, Grant
from engine.cluster.pure.words import TimeWord, read_rig, read_show_word, read_word
from engine.core.commands import FollowLeader, OutputTaken
from engine.live.edit.rig_session import RigSession
from engine.live.leader_follower import LeaderFollower
from engine.live.leader_state import RIG, SHOW, TIME, LeaderState
from engine.live.process.worker_threads import in_a_thread, to_its_end
from engine.live.quiet_moment import QuietMoment
from engine.live.show import Show
from engine.protocol import Answer, AnswerCode, done, refused
from engine.rig.models.rig import Rig

_ROUND: Final = 0.02  # seconds between looks when nothing wakes us
_APART: Final = 4_000_000  # ns before the show was given: in a quiet moment, what came later was sent by neither engine
_PATIENCE: Final = 4.0  # seconds until the other engine should be in charge
_LOOK: Final = 0.005  # seconds
_UNREAD: Final = 256  # words of the other engine that wait for the loop; of more, the newest count
_NOT_GIVEN: Final = (None, False)  # when we hand over (ns), and whether in a quiet moment
HANDOVER: Final = "handover"

Then = Callable[[Any], None]
_Word = TypeVar("_Word")


class BackgroundCalls(Protocol):
    """Runs a call that blocks in another thread; what it returns is given to `then` on the loop."""

    def __call__(self, call: Callable[[], Any], then: Then) -> None: ...


def owners(rig: Rig) -> list[str]:
    """The machines that lend outputs to a rig, as its engines see it."""
    network = rig.network
    assert network is not None, "a rig of one machine has no owners"
    homes = dict.fromkeys(network.home(port.machine) for port in rig.outputs.values())
    return [home for home in homes if home not in network.engines]


class Standby:
    """Loop only, unless it says otherwise."""

    def __init__(self, show: Show, machines: RemoteMachines, session: RigSession) -> None:
        network = machines.network
        self._show, self._machines, self._session = show, machines, session
        self._rig = show.engine.rig
        self.leadership = Leadership(show.clock(), machines.me, network.main, network.standby, owners(self._rig))
        self.background: BackgroundCalls = _nowhere
        self.leader = LeaderFollower(show, machines, session, self.leadership, self._do)
        self._state = LeaderState(show, session, machines, self.leadership)
        self._quiet = QuietMoment(show)
        #: what the other engine has said, to be taken by the loop at a time (ns)
        self._words: deque[Callable[[int], None]] = deque(maxlen=_UNREAD)
        self._alive: set[str] = set()
        self._leases: dict[str, object] = {}
        self._given: tuple[int | None, bool] = _NOT_GIVEN  # to be said to the other engine

    # From start to end

    async def run(self) -> None:
        """Until cancelled. The show has begun as if this engine were in charge."""
        self.begin()
        token = trio.lowlevel.current_trio_token()
        async with trio.open_nursery() as nursery:
            self.background = partial(_in_background, nursery, self._show)
            wake = partial(_wake, token, self.turn)
            await to_its_end(self.listen, wake)
            self._machines.news = wake
            nursery.start_soon(self._play_rigs)
            try:
                while True:
                    self.turn()
                    await trio.sleep(_ROUND)
            finally:  # reports may still arrive from the link
                self.background = _nowhere

    async def _play_rigs(self) -> None:
        """Play the rigs of the engine in charge; reading one takes time in which the turns must go on."""
        while True:
            await self.leader.play_rig()
            await trio.sleep(_ROUND)

    def begin(self) -> None:
        """Accept no commands until it is known that we are in charge."""
        if self.leadership.other is not None:
            self._show.apply(FollowLeader(self.leadership.leader or "it is not known yet which engine"))

    def listen(self, wake: Callable[[], None]) -> None:  # blocks; call it in a thread
        """Begin to listen to the other engine; `wake` is called in threads of the link."""
        machines = self._machines

        other, leader = self.leadership.other, self.leader
        if other is None:
            return

        def hear(what: str, read: Callable[[bytes], _Word], take: Callable[[int, _Word], None]) -> None:
            def heard(key: str, payload: bytes) -> None:  # a thread of the link
                word = machines.hearing.read(other, f"{what} state", read, payload)
                if word is not None:
                    self._words.append(lambda now: take(now, word))
                wake()

            too_much = partial(machines.hearing.refuse, other, f"{what} state", TOO_MUCH)
            machines.link.subscribe_state(machines.keys.state(what), heard, too_much)

        def asked(payload: bytes) -> bytes:  # a thread of the link
            self._words.append(self.give_away)
            wake()
            return b"{}"

        hear(SHOW, read_show_word, leader.take_show)
        hear(TIME, partial(read_word, TimeWord), leader.take_time)
        hear(RIG, read_rig, leader.take_rig)
        machines.link.answer(machines.keys.command(machines.me, HANDOVER), asked)

    # Each turn of the loop

    def turn(self) -> None:
        """Look at what has changed, do what is due, publish what is new. Never raises."""
        try:
            now = self._show.clock()
            self._look(now)
            self._do(now, self.leadership.tick(now))
            self._hand_over_when_quiet(now)
            if self.leadership.in_charge:
                self._state.publish_rig()  # machines that lend need it, too
                if self.leadership.other is not None:
                    self._state.publish(now)
        except Exception as fault:  # it costs this turn, not the show
            self._show.own_fault("following the other engine", fault)

    def _look(self, now: int) -> None:
        leadership, machines = self.leadership, self._machines
        if self._show.engine.rig is not self._rig:
            self._rig = self._show.engine.rig
            self._do(now, leadership.owned(owners(self._rig)))
        while machines.hearing.news:
            self._show.tell("network", machines.hearing.news.popleft())
        alive, before = set(machines.alive), self._alive
        self._alive = alive
        for machine in alive ^ before:
            self._do(now, self._seen(now, machine, machine in alive))
        for _ in range(len(self._words)):
            self._words.popleft()(now)
        for machine, lease in [*machines.leases.items()]:
            if self._leases.get(machine) != lease:
                self._leases[machine] = lease
                self._do(now, leadership.leased(now, machine, lease.epoch, lease.holder, lease.given_to))

    def _seen(self, now: int, machine: str, there: bool) -> list[Act]:
        if machine == self.leadership.other:
            self._state.forget()  # it may have missed what was said
            self._show.tell("network", f"{machine} {'is there' if there else 'is gone'}")
            return self.leadership.alive(now, there)
        return self.leadership.owner_there(now, machine, there)

    # What the leadership decides

    def _do(self, now: int, acts: Iterable[Act]) -> None:
        acts = [*acts]
        for act in acts:
            self._do_one(now, act)
        for act in acts:
            if isinstance(act, Follow):  # what we had has been given by now
                self._state.publish_handed_over(now, act.machine, *self._given)
                self._given = _NOT_GIVEN

    def _do_one(self, now: int, act: Act) -> None:
        machines = self._machines
        match act:
            case Ask(owner):
                self.background(partial(machines.claim, owner), partial(self._answered, owner))
            case Give(owner, epoch, to):
                machines.give(owner, epoch, to)
            case Lead():
                self._lead()
            case Follow(machine):
                self._follow(machine)
            case Play(owner, epoch, since, fresh):
                self._show.pump()  # what has arrived is part of what should sound
                machines.play(now, owner, epoch, None if since is None else since - _APART, self.leader.exact)
                outputs = self._outputs_of(owner)
                for output in outputs if not fresh else ():
                    self._show.apply(OutputTaken(output))
                self._show.port_commands.set_up(outputs if fresh else ())
            case LeadershipLost(owner):
                machines.lost(owner, f"{owner} lets another machine play, or is gone")

    def _outputs_of(self, owner: str) -> list[str]:
        home = self._machines.network.home
        return [name for name, port in self._rig.outputs.items() if home(port.machine) == owner]

    def _answered(self, owner: str, answer: Grant | ClaimRefused | None) -> None:
        now, leadership = self._show.clock(), self.leadership
        if isinstance(answer, Grant):
            self._do(now, leadership.granted(now, owner, answer.epoch))
        elif isinstance(answer, ClaimRefused):
            self._do(now, leadership.refused(now, owner, answer.holder))
        else:
            leadership.unanswered(now, owner)

    def _lead(self) -> None:
        self._machines.leading = True
        self._show.apply(FollowLeader(None))
        self._state.forget()
        if self.leadership.other is not None:
            self._show.tell("network", f"{self.leadership.me} is in charge")

    def _follow(self, machine: str) -> None:
        self._show.pump()
        self._machines.follow()
        self._show.apply(FollowLeader(machine))
        self._show.port_commands.step_aside()
        self._show.tell("network", f"{machine} is in charge; {self.leadership.me} follows")

    # By hand

    async def hand_over(self) -> Answer:
        """Put the other engine in charge; or, if this one follows, take the show. The answer is for the player."""
        leadership = self.leadership
        if leadership.other is None:
            return refused(AnswerCode.NOT_IN_RIG, "this rig has no standby; name one in [network]")
        if not leadership.in_charge:
            return await self._take_show()
        if not leadership.other_alive:
            return refused(AnswerCode.NOT_POSSIBLE, f"{leadership.other} is not there; nothing changed")
        self.give_away(self._show.clock())
        if await until(lambda: self.leader.heard_term == leadership.term and not leadership.in_charge, _PATIENCE):
            return done(f"{leadership.other} is in charge")
        text = f"{leadership.other} may be in charge, but has not confirmed it within {_PATIENCE:.0f} s"
        return refused(AnswerCode.NO_ANSWER, text)

    async def _take_show(self) -> Answer:
        leadership = self.leadership
        if leadership.other_alive and leadership.leader == leadership.other:
            key = self._machines.keys.command(leadership.other or "", HANDOVER)
            await to_its_end(self._machines.link.ask, key, b"{}")
        else:
            now = self._show.clock()
            self._do(now, leadership.take(now))
        if await until(lambda: leadership.in_charge, _PATIENCE):
            return done(f"{leadership.me} is in charge")
        text = f"no machine with outputs lets {leadership.me} play; {leadership.leader or 'no engine'} is in charge"
        return refused(AnswerCode.NOT_POSSIBLE, text)

    def give_away(self, now: int) -> None:
        """Give the show to the other engine in the next quiet moment, or after a while if there is none."""
        if not self._quiet.awaited and self.leadership.in_charge and self.leadership.other_alive:
            self._quiet.begin(now)

    def _hand_over_when_quiet(self, now: int) -> None:
        if not self._quiet.awaited:
            return
        quiet, leadership = self._quiet.look(now), self.leadership
        if quiet or self._quiet.too_long(now) or not leadership.other_alive:
            self._quiet.end()
            if leadership.in_charge and leadership.other_alive:
                self._state.publish(now)
                self._given = now, quiet
                self._do(now, leadership.hand_over(now))


def _nowhere(call: Callable[[], Any], then: Then) -> None:
    """Before and after the show no machine is asked anything."""


def _in_background(nursery: trio.Nursery, show: Show, call: Callable[[], Any], then: Then) -> None:
    async def called() -> None:
        try:
            found = await in_a_thread(call)
            then(found)
        except Exception as fault:  # it costs this call, not the show
            show.own_fault(f"asking other machines ({call})", fault)

    nursery.start_soon(called)


def _wake(token: trio.lowlevel.TrioToken, turn: Callable[[], None]) -> None:  # any thread
    try:
        token.run_sync_soon(turn, idempotent=True)
    except trio.RunFinishedError:  # the show is over
        return


async def until(condition: Callable[[], bool], seconds: float) -> bool:
    """Wait for it that long at the most; whether it has come true."""
    with trio.move_on_after(seconds):
        while True:
            if condition():
                return True
            await trio.sleep(_LOOK)
    return False
