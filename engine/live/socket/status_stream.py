"""The frames that a follower is sent: what has changed, at most thirty times per second and at least once.

A frame is made of counters and of the notices since the last one. The messages that pass are kept only while a follower
asks for them, and only the newest. A follower that does not read in time is dropped.
"""

import contextlib
import json
from collections import deque
from typing import Final

import trio

from engine.core.control.stack import Stack
from engine.core.engine import Engine
from engine.core.scene_snapshot import channels
from engine.live.cable_load import CableLoad
from engine.live.cluster_session import ClusterSession
from engine.live.edit.rig_session import RigSession
from engine.live.health import health
from engine.live.show import Show, ShowEvent
from engine.live.socket.request_lines import RequestLines
from engine.live.socket.status import next_facts, scene_facts, song_facts, sync
from engine.midi.message_words import to_hex
from engine.midi.unit_words import UnitWords
from engine.protocol import AnswerCode, Facts, LongLine, refused
from engine.rig.gear_words import drum_struck
from engine.rig.models.rig import Rig

_FRAME: Final = 1 / 30  # seconds
_PATIENCE: Final = 1.0  # seconds a follower may take to read
_LONGEST: Final = 1.0  # seconds between two frames
_EVENTS: Final = 40  # of a frame
_NOTICES: Final = 100
_SHOWN: Final = 64  # bytes of a message; a dump may have millions
_SHORT: Final = 200  # bytes of a line that is read
_ELSEWHERE: Final = 'this connection follows and takes {"events": true} and {"events": false}; ask on another'


async def follow(stream: trio.SocketStream, lines: RequestLines, frames: "StatusFrames") -> None:
    """Send frames and heed the follower's lines until either end hangs up or the follower does not read."""
    try:
        async with trio.open_nursery() as nursery:
            nursery.start_soon(_heed, lines, frames, nursery.cancel_scope)
            with contextlib.suppress(trio.BrokenResourceError, trio.ClosedResourceError):
                await _send(stream, frames)
            nursery.cancel_scope.cancel()
    finally:
        frames.close()


async def _send(stream: trio.SocketStream, frames: "StatusFrames") -> None:
    while True:
        texts = frames.take(trio.current_time())
        if texts:
            with trio.move_on_after(_PATIENCE) as patience:
                await stream.send_all(b"".join(json.dumps(text).encode() + b"\n" for text in texts))
            if patience.cancelled_caught:
                return
        await trio.sleep(_FRAME)


async def _heed(lines: RequestLines, frames: "StatusFrames", scope: trio.CancelScope) -> None:
    with contextlib.suppress(trio.BrokenResourceError, trio.ClosedResourceError):
        async for line in lines:
            frames.heed(line)
    scope.cancel()


class StatusFrames:
    """The frames of one follower. Loop only."""

    def __init__(
        self, show: Show, session: RigSession, load: CableLoad, events: bool, cluster: ClusterSession | None = None
    ) -> None:
        """`events`: whether the frames hold the messages that pass; `cluster`: of a rig with a network."""
        self._show, self._session, self._load = show, session, load
        self._cluster = cluster
        self._notices = show.watch(messages=False, most=_NOTICES)
        self._passing: deque[ShowEvent] | None = None
        self._moved = True  # whether the next frame has the activity even if no message has passed
        self._want(events)
        self._counts = _counts(show)
        self._known: Facts = {}
        self._sent_at: float | None = None
        self._looks = 0
        self._health: list[str] = []
        self._answers: deque[Facts] = deque(maxlen=1)

    def close(self) -> None:
        """The follower has gone."""
        self._show.unwatch(self._notices)
        self._want(False)

    def heed(self, line: bytes | LongLine) -> None:
        """Take a line that the follower sent."""
        try:
            said = json.loads(line) if isinstance(line, bytes) and len(line) < _SHORT else None
        except (ValueError, RecursionError):
            said = None
        events = said.get("events") if isinstance(said, dict) else None
        if isinstance(events, bool):
            self._want(events)
        else:
            self._answers.append(refused(AnswerCode.BAD_REQUEST, _ELSEWHERE).plain())

    def take(self, now: float) -> list[Facts]:
        """What is to be sent now (seconds of any clock): a frame, if there is anything new or a second has passed, and
        the answer to the follower's last line."""
        texts = [self._answers.popleft() for _ in range(len(self._answers))]
        try:
            frame = self._frame(now)
        except Exception as fault:  # it costs this frame, not the show
            self._show.own_fault("making a frame", fault)
            return texts
        return [*texts, {"frame": frame}] if frame is not None else texts

    def _want(self, events: bool) -> None:
        if events == (self._passing is not None):
            return
        if self._passing is not None:
            self._show.unwatch(self._passing)
        self._passing = self._show.watch(told=False, most=_EVENTS) if events else None
        self._units = UnitWords()
        self._moved = True  # the next frame has them from now on

    def _frame(self, now: float) -> Facts | None:
        facts = self._lasting()
        new = {key: value for key, value in facts.items() if key not in self._known or self._known[key] != value}
        self._known = facts
        new |= self._passed()
        notices = [self._notices.popleft() for _ in range(len(self._notices))]
        if notices or self._sent_at is None:
            new["told"] = [{"at": each.at, "who": each.port, "text": each.text} for each in notices]
        if not new and self._sent_at is not None and now - self._sent_at < _LONGEST:
            return None
        self._sent_at = now
        if self._passing is not None:
            new.setdefault("events", [])  # so that whoever asked for them sees that they are watched
        return {"at": self._show.clock(), **new}

    def _lasting(self) -> Facts:
        """Facts that hold until they change."""
        show, load, engine = self._show, self._load, self._show.engine
        if load.looks != self._looks:
            self._looks, self._health = load.looks, health(show, load)
            if self._cluster is not None:
                self._health += self._cluster.problems()
        main, players = engine.state.main, engine.state.stacks.items()
        time = sync(show)
        del time["timecode_rate"]
        return {
            "revision": show.revision,
            "unsaved": self._session.unsaved,
            "file": str(self._session.file),
            "draft": self._session.draft,
            "undo": self._session.undoable,
            "redo": self._session.redoable,
            "inputs": show.inputs,
            "outputs": show.outputs,
            "scene": scene_facts(engine, engine.scene),
            "next": next_facts(engine, main),
            "song": song_facts(engine, main),
            "step": main.step,
            "loaded": main.setlist.loaded is not None,
            "setlist": _setlist(main),
            "players": {name: _player(engine, stack) for name, stack in players if name},
            **time,
            "load": load.loads,
            "peak": load.peaks,
            "health": self._health,
            "muted_routes": sorted(engine.state.muted),
            "channels": channels(engine),
            **({"network": self._cluster.status()} if self._cluster is not None else {}),
        }

    def _passed(self) -> Facts:
        """How many messages have passed since the last frame, and which, if the follower asks for them."""
        before, self._counts = self._counts, _counts(self._show)
        ways = [_since(then, now) for then, now in zip(before, self._counts, strict=True)]
        total = sum(map(sum, ways))
        moved, self._moved = self._moved, total > 0
        found: Facts = {"activity": dict(zip(("in", "out"), ways, strict=True))} if total or moved else {}
        if self._passing is not None and (self._passing or moved):
            events = [self._passing.popleft() for _ in range(len(self._passing))]
            found["left_out"] = max(0, total - len(events))
            if found["left_out"]:  # a selection may be among them
                self._units = UnitWords()
            self._units.middle_c = self._show.engine.rig.rig.middle_c
            lines = self._units.lines(((event.way, event.port), event.message or b"") for event in events)
            rig = self._show.engine.rig
            found["events"] = [
                _plain(event, line + _drum(rig, event))
                for event, line in zip(events, lines, strict=True)
                if line is not None
            ]
        return found


def _counts(show: Show) -> tuple[list[int], list[int]]:
    return [meter.messages for meter in show.ports.in_meters], [meter.messages for meter in show.ports.out_meters]


def _since(then: list[int], now: list[int]) -> list[int]:
    """A port that an edit has added starts at 0."""
    return [count - before for count, before in zip(now, then + [0] * (len(now) - len(then)), strict=True)]


def _player(engine: Engine, stack: Stack) -> Facts:
    """What the frame says of the rest of the rig, for one player."""
    return {
        "scene": scene_facts(engine, stack.in_force),
        "next": next_facts(engine, stack),
        "song": song_facts(engine, stack),
        "step": stack.step,
        "loaded": stack.setlist.loaded is not None,
        "setlist": _setlist(stack),
    }


def _setlist(stack: Stack) -> Facts:
    """Its name, None if the rig has none and the scenes follow their own order; the place counts from 1."""
    setlist = stack.setlist
    return {"name": setlist.name, "place": setlist.place + 1, "of": len(setlist.numbers)}


def _drum(rig: Rig, event: ShowEvent) -> str:
    """The drum that a message strikes, in brackets, or nothing."""
    struck = drum_struck(rig, event.port, event.message or b"") if event.way == "out" else None
    return f" ({struck})" if struck is not None else ""


def _plain(event: ShowEvent, words: str) -> Facts:
    message = event.message or b""
    more = " …" if len(message) > _SHOWN else ""
    return {
        "at": event.at,
        "way": event.way,
        "port": event.port,
        "message": to_hex(message[:_SHOWN]) + more,
        "words": words,
    }
