"""Open Sound Control: scenes, songs, set lists and mutes over the network, and answers for control surfaces.

Off unless the rig has [osc]. Only senders in its list are obeyed. Whatever they send, its cost is bounded: how much is
read, how much is obeyed, how much waits for its time, and how much is answered.
"""

import heapq
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from ipaddress import ip_address
from itertools import count, islice
from typing import Any, Final

import trio

from engine.core.commands import (
    ChooseSetlist,
    ChooseSong,
    FirstScene,
    MuteRoute,
    NextScene,
    NextSong,
    Panic,
    PlayerCommand,
    PreviousScene,
    PreviousSong,
    RecallScene,
    Resend,
    StackCommand,
    TapTempo,
    ToggleRoute,
    Transpose,
    UnmuteRoute,
)
from engine.core.control.request_budget import RequestBudget
from engine.core.control.setlist import LAST_STEP
from engine.core.control.stack import Stack
from engine.core.control.whose_stack import whose_stack
from engine.live.rounds import SELDOM, next_round
from engine.live.show import Show
from engine.live.socket.osc_facts import everything, osc_now
from engine.live.socket.osc_packets import LARGEST, OscAsked, Value, osc_message, read_packet, seconds_until
from engine.rig.models.control import Osc as OscSettings

Sender = tuple[Any, ...]  # address and port; those of IPv6 have two parts more

COMMANDS_A_SECOND: Final = 300  # that are obeyed; a panic is counted apart
COMMANDS_AT_ONCE: Final = 64
FURTHEST: Final = 60  # seconds that a bundle's time may be ahead
MOST_WAITING: Final = 64  # messages that wait for their times

_BUTTONS: Final[dict[str, PlayerCommand]] = {
    "next": NextScene(),
    "back": PreviousScene(),
    "first": FirstScene(),
    "next_song": NextSong(),
    "back_song": PreviousSong(),
    "transpose_off": Transpose(0),
    "panic": Panic(),
    "resend": Resend(),
    "tap": TapTempo(),
}
#: commands that take one name
_NAMED: Final[dict[str, Callable[[str], PlayerCommand]]] = {
    "song": ChooseSong,
    "setlist": ChooseSetlist,
    "mute": MuteRoute,
    "unmute": UnmuteRoute,
    "toggle": ToggleRoute,
    "panic": Panic,
}
_QUERIES: Final = ("state", "all")
#: what we answer and tell: answering that would never end
_REPLIES: Final = frozenset(
    (
        *("answer", "now", "coming", "tempo", "song_now", "transposed", "cue", "text", "running"),
        *("order", "listed", "song_listed", "route", "complete"),
    )
)
_ROUND: Final = 0.5  # seconds between looks at the rig
_PACE: Final = 0.001  # seconds from one message to the next; what a flood sends beyond that, the system drops
_RETRY: Final = 5.0  # seconds until an unavailable port is tried again
_COMPLAIN: Final = 1_000_000_000  # ns between two sentences about too many commands
_DRAWING: Final = 16  # senders that are being answered at length
_IN_A_ROW: Final = 2  # of such answers


class OscServer:
    """The OSC port of one show. It follows the rig: an edit of [osc] opens, moves or closes it."""

    def __init__(self, show: Show, wall: Callable[[], float] = time.time) -> None:
        """`wall`: the time of day in seconds since 1970, which the time tags of bundles mean."""
        self._show, self._wall = show, wall
        self._reported = ""
        self._budgets = {panic: RequestBudget(COMMANDS_A_SECOND, COMMANDS_AT_ONCE) for panic in (False, True)}
        self._complained_at: int | None = None
        self._waiting: list[tuple[int, int, list[OscAsked], Sender]] = []  # a heap by time (ns of the show's clock)
        self._order = count()
        self._long: dict[Sender, Iterator[bytes]] = {}  # what is still to be answered at length

    async def run(self) -> None:
        """Listen while the rig has [osc], until cancelled."""
        while True:
            settings = self._show.engine.rig.osc
            if settings is None:
                await next_round(SELDOM)
                continue
            try:
                await self._listen(settings)
            except OSError as fault:
                self._report_once(f"port {settings.port} of {settings.listen} is not available: {fault.strerror}")
                await trio.sleep(_RETRY)

    def _report_once(self, text: str) -> None:
        if text != self._reported:
            self._show.tell("osc", text)
        self._reported = text

    async def _listen(self, settings: OscSettings) -> None:
        """Until the rig has other settings; what waited for its time is then forgotten."""
        self._waiting, self._long = [], {}
        family = trio.socket.AF_INET if ip_address(settings.listen).version == 4 else trio.socket.AF_INET6
        with trio.socket.socket(family, trio.socket.SOCK_DGRAM) as listener:
            await listener.bind((settings.listen, settings.port))
            self._report_once(f"listens on port {settings.port} of {settings.listen}")
            while self._show.engine.rig.osc == settings:
                heard = None
                with trio.move_on_after(self._patience()):
                    heard = await listener.recvfrom(LARGEST + 1)
                with trio.CancelScope(shield=True):  # what is carried out is answered
                    taken = await self._hear(listener, *heard) if heard is not None else 0
                    taken += await self._go_on(listener)
                await trio.sleep(_PACE * taken)

    def _patience(self) -> float:
        """Seconds to wait for a datagram."""
        if self._long:
            return _PACE
        due = self._waiting[0][0] - self._show.clock() if self._waiting else _ROUND * 1e9
        return min(max(due / 1e9, 0.0), _ROUND)

    async def _hear(self, listener: trio.socket.SocketType, data: bytes, sender: Sender) -> int:
        """Carry out a datagram, and answer it; for how many messages that counts."""
        replies = self.take(data, sender)
        await _send(listener, replies, sender)
        return max(1, len(replies) // 2)  # a command has two

    async def _go_on(self, listener: trio.socket.SocketType) -> int:
        """Carry out what is due, and go on with long answers; for how many messages that counts."""
        took = 0
        for replies, sender in self.take_due():
            await _send(listener, replies, sender)
            took += max(1, len(replies) // 2)
        for sender, rest in [*self._long.items()][:1]:
            del self._long[sender]
            replies = [*islice(rest, _IN_A_ROW)]
            if replies:
                self._long[sender] = rest  # behind the others
            await _send(listener, replies, sender)
        return took

    def take(self, data: bytes, sender: Sender) -> list[bytes]:
        """Carry out one datagram of this address, or keep it for its time; the replies.

        A datagram with any fault is ignored.
        """
        if not self._is_allowed(sender):
            return []
        try:
            asked = read_packet(data)
        except ValueError:
            return []
        wall = self._wall()
        ahead = {tag: seconds_until(tag, wall) for tag in dict.fromkeys(each.tag for each in asked)}
        replies = self._carry_out([each for each in asked if ahead[each.tag] <= 0], sender)
        for tag, seconds in ahead.items():
            if seconds > 0:
                replies += self._keep(seconds, [each for each in asked if each.tag == tag], sender)
        return replies

    def take_due(self) -> Iterator[tuple[list[bytes], Sender]]:
        """Carry out what has waited for this time; the replies to each sender."""
        while self._waiting and self._waiting[0][0] <= self._show.clock():
            _, _, asked, sender = heapq.heappop(self._waiting)
            if self._is_allowed(sender):
                yield self._carry_out(asked, sender), sender

    def _is_allowed(self, sender: Sender) -> bool:
        settings = self._show.engine.rig.osc
        return settings is not None and sender[0] in settings.allow

    def _keep(self, ahead: float, asked: list[OscAsked], sender: Sender) -> list[bytes]:
        """Keep messages until their time."""
        if ahead > FURTHEST:
            return [osc_message("answer", f"a time more than {FURTHEST} s ahead is not kept; nothing changed")]
        if sum(len(waiting) for _, _, waiting, _ in self._waiting) + len(asked) > MOST_WAITING:
            return [osc_message("answer", f"more than {MOST_WAITING} messages would wait; nothing changed")]
        at = self._show.clock() + round(ahead * 1e9)
        heapq.heappush(self._waiting, (at, next(self._order), asked, sender))
        return []

    def _carry_out(self, asked: list[OscAsked], sender: Sender) -> list[bytes]:
        replies: list[bytes] = []
        for _, do, values in asked:
            try:
                replies += self._obey(do, values, sender)
            except Exception as fault:  # it costs this message, not the show
                self._show.own_fault(f"obeying {do} by OSC from {sender[0]}", fault)
        return replies

    def _obey(self, do: str, values: tuple[Value, ...], sender: Sender) -> list[bytes]:
        player, _, word = do.rpartition("/")
        if word in _REPLIES:
            return []
        stack = self._show.engine.state.stacks.get(player)
        if stack is None:
            return [osc_message("answer", f"/bayleaf/{do}: there is no player {player}; nothing changed")]
        pressed = _is_pressed(values)
        if word in _BUTTONS or word in _QUERIES or word == "transpose":
            if pressed is False:  # the button's release
                return []
            if word in _QUERIES and pressed:
                return self._answer_query(word, stack, sender)
        command = _for_player(_command(word, values), player)
        if command is None:
            return [osc_message("answer", f"/bayleaf/{do} is not a command, or takes other values; nothing changed")]
        if not self._admits(word == "panic"):
            return []
        return [osc_message("answer", self._apply(command, f"osc {sender[0]}")), osc_now(self._acted(command, stack))]

    def _acted(self, command: PlayerCommand, asked: Stack) -> Stack:
        """The stack that a command is for: a scene that is a player's is recalled for them, whoever asks."""
        state = self._show.engine.state
        whose = whose_stack(state.compiled, command) if isinstance(command, StackCommand) else asked.name
        return state.stacks[whose] if isinstance(whose, str) else asked

    def _answer_query(self, word: str, stack: Stack, sender: Sender) -> list[bytes]:
        if word == "state":
            return [osc_now(stack)]
        if sender in self._long or len(self._long) < _DRAWING:
            self._long[sender] = everything(self._show, stack)
        return []

    def _admits(self, panic: bool) -> bool:
        """Whether not too much was asked lately: each command may cost a scene change."""
        now = self._show.clock()
        if self._budgets[panic].admits(now):
            return True
        if self._complained_at is None or now - self._complained_at >= _COMPLAIN:
            self._complained_at = now
            self._show.tell("osc", f"more than {COMMANDS_A_SECOND} commands per second; some are ignored")
        return False

    def _apply(self, command: PlayerCommand, who: str) -> str:
        """What became of it, in a sentence."""
        unknown = self._unknown(command)
        if unknown is not None:
            # not left to the engine, which would look for names like it: in a large rig that takes milliseconds
            text = f"there is no {unknown}; nothing changed"
            self._show.tell(who, text)
            return text
        return self._show.apply(command, who).text

    def _unknown(self, command: PlayerCommand) -> str | None:
        """The scene or song of a command, in words, if the rig does not have it."""
        compiled = self._show.engine.state.compiled
        if isinstance(command, RecallScene) and compiled.find(command.scene) is None:
            return f"scene {command.scene}"
        if isinstance(command, ChooseSong) and command.song not in compiled.songs:
            return f"song {command.song}"
        return None


async def _send(listener: trio.socket.SocketType, replies: list[bytes], sender: Sender) -> None:
    for reply in replies:
        try:
            await listener.sendto(reply, sender)
        except OSError:  # the sender has gone
            return


def _is_pressed(values: tuple[Value, ...]) -> bool | None:
    """Whether these values press a button or release it; None if they are not those of a button."""
    if not values:
        return True
    value = values[0]
    if len(values) > 1 or isinstance(value, str) or value not in (0, 1):
        return None
    return bool(value)


def _for_player(command: PlayerCommand | None, player: str) -> PlayerCommand | None:
    """The same command for one player; None if it concerns the whole rig."""
    if not player:
        return command
    return replace(command, player=player) if isinstance(command, StackCommand) else None


def _command(do: str, values: tuple[Value, ...]) -> PlayerCommand | None:
    """The command that a message gives; None if it gives none."""
    value = values[0] if len(values) == 1 else None
    if do in _NAMED and isinstance(value, str):
        return _NAMED[do](value)
    if do in _BUTTONS:
        return _BUTTONS[do] if _is_pressed(values) else None
    number = (
        int(value) if isinstance(value, int | float) and not isinstance(value, bool) and value == value // 1 else None
    )
    if do == "scene" and isinstance(value, str):
        return RecallScene(value)
    if do == "scene" and number is not None:
        return RecallScene(number)
    if do == "transpose" and number is not None and abs(number) <= LAST_STEP:
        return Transpose(number)
    return None
