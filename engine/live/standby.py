"""This engine's part in who is in charge: it takes over, follows, and hands over. `core/charge` decides.

Facts come in threads of the link; they wake the loop, which looks at what has changed and acts at once. What blocks is
done in other threads: nothing here holds up the music.
"""

import json
from collections import deque
from collections.abc import Callable, Iterable
from functools import partial
from typing import Any, Final, Protocol

import trio

from engine.cluster.endpoints.remote_machines import RemoteMachines
from engine.cluster.pure.leadership import Act, Ask, Follow, Give, Lead, Leadership, Play
from engine.cluster.pure.output_lender import ClaimRefused, Grant
from engine.cluster.pure.replica import Word, between_ticks, show_word, time_word
from engine.live.edit.rig_session import RigSession
from engine.live.process.worker_threads import in_a_thread, to_its_end
from engine.live.show import Show
from engine.protocol import Answer, AnswerCode, done, refused
from engine.rig.models.rig import Rig

_ROUND: Final = 0.02  # seconds between looks when nothing wakes us
_SAY_AGAIN: Final = 1_000_000_000  # ns between two words when nothing changes
_STILL: Final = 40_000_000  # ns without a message: a quiet moment
_APART: Final = 4_000_000  # ns before the show was given: in a quiet moment, what came later was sent by nobody
_AGE: Final = 2_000_000_000  # ns: the clocks of two machines agree no better if a word seems older
_QUIET: Final = 2_000_000_000  # ns that a hand-over waits for a quiet moment
_PATIENCE: Final = 4.0  # seconds until the other engine should have it
_LOOK: Final = 0.005
SHOW, TIME, RIG = "show", "clock", "rig"  # the states that the engine in charge keeps
HANDOVER: Final = "handover"

Then = Callable[[Any], None]


class BetweenTicks(Protocol):
    """Calls what blocks where nobody waits for it; what it returns is given to `then` on the loop."""

    def __call__(self, call: Callable[[], Any], then: Then) -> None: ...


def owners(rig: Rig) -> list[str]:
    """The machines that lend outputs to a rig, as its engines see it."""
    network = rig.network
    assert network is not None, "a rig of one machine has no owners"
    homes = dict.fromkeys(network.home(port.machine) for port in rig.outputs.values())
    return [home for home in homes if home not in network.engines]


class Standby:
    """Loop only, but where it says so."""

    def __init__(self, show: Show, far: RemoteMachines, workshop: RigSession) -> None:
        network = far.network
        self._show, self._far, self._workshop = show, far, workshop
        self._rig = show.engine.rig
        self.charge = Leadership(show.clock(), far.me, network.main, network.standby, owners(self._rig))
        self.apart: BetweenTicks = _nowhere
        self._words: deque[tuple[str, bytes]] = deque()
        self._alive: set[str] = set()
        self._leases: dict[str, object] = {}
        self._said: dict[str, tuple[int, Any]] = {}  # what was kept last, and when (ns)
        self.rig_told: str | None = None  # the rig of the one in charge, to be played
        self._given: Word = {}  # what is said of a hand-over of ours
        self._exact = False  # whether it is known to the message what the other had played when it gave us the show
        self._heard = 0, 0  # messages so far, and when the last one was seen (ns)
        self._give_by: int | None = None  # a hand-over that waits for a quiet moment, but no longer (ns)
        self._heard_of: int | None = None  # the term in which the one in charge was last heard

    # In trio

    async def run(self) -> None:
        """Until cancelled. The show has begun as if it were in charge."""
        self.begin()
        token = trio.lowlevel.current_trio_token()
        async with trio.open_nursery() as nursery:
            self.apart = partial(_apart, nursery, self._show)
            wake = partial(_wake, token, self.turn)
            await to_its_end(self.listen, wake)
            self._far.news = wake
            try:
                while True:
                    self.turn()
                    if self.rig_told is not None:
                        await self.play_rig()
                    await trio.sleep(_ROUND)
            finally:  # the link may still tell news
                self.apart = _nowhere

    def begin(self) -> None:
        """From now on nobody commands here until it is known that we are in charge."""
        if self.charge.other is not None:
            self._show.led_by(self.charge.leader or "nobody yet")

    def listen(self, wake: Callable[[], None]) -> None:  # blocks; call it in a thread
        """Hear what the other engine says; `wake` is called in threads of the link."""
        far = self._far

        def heard(what: str, key: str, payload: bytes) -> None:  # a thread of the link
            self._words.append((what, payload))
            wake()

        def asked(payload: bytes) -> bytes:  # a thread of the link
            self._words.append((HANDOVER, payload))
            wake()
            return b"{}"

        if self.charge.other is not None:
            for what in (SHOW, TIME, RIG):
                far.link.subscribe_state(far.names.state(what), partial(heard, what))
            far.link.answer(far.names.command(far.me, HANDOVER), asked)

    # One turn

    def turn(self) -> None:
        """Look at what has changed, do what is due, say what is new. Never raises."""
        try:
            now = self._show.clock()
            self._look(now)
            self._do(now, self.charge.tick(now))
            self._listen_for_quiet(now)
            if self.charge.in_charge:
                self._say_rig()  # to the machines that lend, too
                if self.charge.other is not None:
                    self._say_all(now)
        except Exception as fault:  # it costs this turn, not the show
            self._show.own_fault("following the other engine", fault)

    def _look(self, now: int) -> None:
        charge, far = self.charge, self._far
        if self._show.engine.rig is not self._rig:
            self._rig = self._show.engine.rig
            self._do(now, charge.owned(owners(self._rig)))
        alive, before = set(far.alive), self._alive
        self._alive = alive
        for machine in alive ^ before:
            self._do(now, self._seen(now, machine, machine in alive))
        for _ in range(len(self._words)):
            self._take(now, *self._words.popleft())
        for machine, lease in [*far.leases.items()]:
            if self._leases.get(machine) != lease:
                self._leases[machine] = lease
                self._do(now, charge.leased(now, machine, lease.epoch, lease.holder, lease.given_to))

    def _seen(self, now: int, machine: str, there: bool) -> list[Act]:
        if machine == self.charge.other:
            self._said.clear()  # it may have missed what was said
            self._show.tell("network", f"{machine} {'is there' if there else 'is gone'}")
            return self.charge.alive(now, there)
        return self.charge.owner_there(now, machine, there)

    def _do(self, now: int, acts: Iterable[Act]) -> None:
        far, acts = self._far, [*acts]
        for act in acts:
            match act:
                case Ask(owner):
                    self.apart(partial(far.claim, owner), partial(self._answered, owner))
                case Give(owner, epoch, to):
                    far.give(owner, epoch, to)
                case Lead():
                    self._lead()
                case Follow(machine):
                    self._follow(machine)
                case Play(owner, epoch, since, fresh):
                    self._show.pump()  # what has arrived is part of what should sound
                    far.play(now, owner, epoch, None if since is None else since - _APART, self._exact)
                    self._show.restore(self._at(owner) if fresh else ())
                case _:
                    far.lost(act.owner, f"{act.owner} lets another machine play, or is gone")
        if any(isinstance(act, Follow) for act in acts):  # what we had has been given by now
            self._keep(now, SHOW, {"machine": self.charge.leader, **self._show_word(), **self._given})
            self._given = {}
            far.link.keep(far.names.state(RIG), b"")

    def _at(self, owner: str) -> list[str]:
        """The outputs of a machine."""
        home = self._far.network.home
        return [name for name, port in self._rig.outputs.items() if home(port.machine) == owner]

    def _answered(self, owner: str, answer: Grant | ClaimRefused | None) -> None:
        now, charge = self._show.clock(), self.charge
        if isinstance(answer, Grant):
            self._do(now, charge.granted(now, owner, answer.epoch))
        elif isinstance(answer, ClaimRefused):
            self._do(now, charge.refused(now, owner, answer.holder))
        else:
            charge.unanswered(now, owner)

    def _lead(self) -> None:
        self._far.leading = True
        self._show.led_by(None)
        self._said.clear()
        if self.charge.other is not None:
            self._show.tell("network", f"{self.charge.me} is in charge")

    def _follow(self, machine: str) -> None:
        self._show.pump()
        self._far.follow()
        self._show.led_by(machine)
        self._show.step_aside()
        self._show.tell("network", f"{machine} is in charge; {self.charge.me} follows")

    # What the one in charge says

    def _say_all(self, now: int) -> None:
        show = self._show
        self._say(now, SHOW, {"machine": self.charge.me, **self._show_word()})
        time = time_word(show.engine, now)
        before = self._said.get(TIME)
        # the position moves all the time; who knows when it began can tell it
        if before is None or now - before[0] >= _SAY_AGAIN or _standing_of(time) != _standing_of(before[1]):
            self._keep(now, TIME, time)

    def _say_rig(self) -> None:
        text = self._workshop.text
        if self._said.get(RIG) != (0, text):
            self._said[RIG] = 0, text
            self._far.link.keep(self._far.names.state(RIG), text.encode())

    def _show_word(self) -> Word:
        return {"term": self.charge.term, **show_word(self._show.engine)}

    def _say(self, now: int, what: str, word: Word) -> None:
        before = self._said.get(what)
        if before is None or before[1] != word or now - before[0] >= _SAY_AGAIN:
            self._keep(now, what, word)

    def _keep(self, now: int, what: str, word: Word) -> None:
        self._said[what] = now, word
        packed = json.dumps({"from": self.charge.me, **word}).encode()
        self._far.link.keep(self._far.names.state(what), packed)

    # What a follower makes of it

    def _take(self, now: int, what: str, payload: bytes) -> None:
        if what == HANDOVER:
            self.give_away(now)
            return
        if what == RIG:
            if payload and not self.charge.in_charge:
                self.rig_told = payload.decode()
            return
        word = json.loads(payload)
        speaker = word["from"]
        if speaker != self.charge.other:
            return
        if what == SHOW:
            self._hear_show(now, speaker, word)
            self._heard_of = self.charge.term if word["machine"] == speaker else self._heard_of
        if self.charge.in_charge or self.charge.leader != speaker:
            return
        try:
            if what == SHOW:
                self._show.follow(word)
            else:
                age = now - self._far.to_here(speaker, int(word["at"]))
                self._show.follow_time(word, age if 0 <= age < _AGE else 0)
        except ValueError as fault:
            self._show.tell("network", f"{speaker} is not followed: {fault}")

    def _hear_show(self, now: int, speaker: str, word: Word) -> None:
        since = None
        if "given" in word:
            age = now - self._far.to_here(speaker, int(word["given"]))
            since = now - (age if 0 <= age < _AGE else 0)
            self._exact = word["quiet"] is True
        self._do(now, self.charge.told(now, int(word["term"]), str(word["machine"]), since))

    async def play_rig(self) -> None:
        """The one in charge plays this rig; it is played here, too, and is not in the file until somebody saves."""
        text, self.rig_told = self.rig_told, None
        if text is not None and not self.charge.in_charge and text != self._workshop.text:
            fault = await self._workshop.follow(text)
            leader = self.charge.leader
            self._show.tell(
                "network",
                f"the rig of {leader} cannot be played here: {fault}" if fault else f"plays the rig of {leader}",
            )

    # By hand

    async def hand_over(self) -> Answer:
        """The other engine is to be in charge. Asked of the one that follows, it takes the show; the answer."""
        charge = self.charge
        if charge.other is None:
            return refused(AnswerCode.NOT_IN_RIG, "this rig has no standby; name one in [network]")
        if not charge.in_charge:
            return await self._take_show()
        if not charge.other_alive:
            return refused(AnswerCode.NOT_POSSIBLE, f"{charge.other} is not there; nothing changed")
        self.give_away(self._show.clock())
        if await until(lambda: self._heard_of == charge.term and not charge.in_charge, _PATIENCE):
            return done(f"{charge.other} is in charge")
        text = f"{charge.other} may be in charge, but has not confirmed it within {_PATIENCE:.0f} s"
        return refused(AnswerCode.NO_ANSWER, text)

    async def _take_show(self) -> Answer:
        charge = self.charge
        if charge.other_alive and charge.leader == charge.other:
            key = self._far.names.command(charge.other or "", HANDOVER)
            await to_its_end(self._far.link.ask, key, b"{}")
        else:
            now = self._show.clock()
            self._do(now, charge.take(now))
        if await until(lambda: charge.in_charge, _PATIENCE):
            return done(f"{charge.me} is in charge")
        text = f"no machine with outputs lets {charge.me} play; {charge.leader or 'nobody'} is in charge"
        return refused(AnswerCode.NOT_POSSIBLE, text)

    def give_away(self, now: int) -> None:
        """The other engine is to have the show in the next quiet moment, or when none has come for too long."""
        if self._give_by is None and self.charge.in_charge and self.charge.other_alive:
            self._give_by = now + _QUIET

    def _listen_for_quiet(self, now: int) -> None:
        if self._give_by is None:
            return
        show, charge = self._show, self.charge
        show.pump()
        heard = show.messages_heard()
        if heard != self._heard[0]:
            self._heard = heard, now
        quiet = now - self._heard[1] >= _STILL and not show.engine.waiting and between_ticks(show.engine, now)
        if quiet or now >= self._give_by or not charge.other_alive:
            self._give_by = None
            if charge.in_charge and charge.other_alive:
                self._say_all(now)
                self._given = {"given": now, "quiet": quiet}
                self._do(now, charge.hand_over(now))


def _standing_of(word: Word) -> tuple[object, ...]:
    """What of clock and time code does not move by itself."""
    clock, code = word["clock"], word["timecode"]
    moves = clock is not None and clock[2] is not None
    return clock and (clock[0], moves, None if moves else clock[1]), code and (code[0], code[1] is not None)


def _nowhere(call: Callable[[], Any], then: Then) -> None:
    """Before the show and after it nobody is asked anything."""


def _apart(nursery: trio.Nursery, show: Show, call: Callable[[], Any], then: Then) -> None:
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
