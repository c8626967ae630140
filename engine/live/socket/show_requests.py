"""Requests about the show itself: scenes and set lists, panic, mutes, clock and time code, status, keeping."""

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Final

import trio

from engine.core.commands import (
    ChooseSetlist,
    ChooseSong,
    ControlClock,
    ControlTimecode,
    FirstScene,
    GoToEntry,
    MuteRoute,
    NextScene,
    NextSong,
    Panic,
    PlayerCommand,
    PreviousScene,
    PreviousSong,
    RecallScene,
    Resend,
    TapTempo,
    Transpose,
    UnmuteRoute,
)
from engine.live.cluster_session import ClusterSession, hand_over
from engine.live.process.worker_threads import in_a_thread
from engine.live.recording_files import RecordingFileError
from engine.live.recording_writer import keep
from engine.live.show import Show
from engine.live.socket.status import status
from engine.protocol import (
    Answer,
    AnswerCode,
    BackRequest,
    BackSongRequest,
    ClockRequest,
    CommandAnswer,
    EntryRequest,
    FirstRequest,
    Handler,
    HandoverRequest,
    KeepAtHomeRequest,
    KeepRequest,
    MuteRequest,
    NextRequest,
    NextSongRequest,
    PanicRequest,
    RecallRequest,
    Request,
    ResendRequest,
    SetlistRequest,
    SongRequest,
    StatusAnswer,
    StatusRequest,
    TapRequest,
    TimecodeRequest,
    TransposeRequest,
    UnmuteRequest,
    done,
    refused,
)

_PATIENCE: Final = 1.0  # seconds that an answer waits for the disk
_WHO: Final = "shell"


class ShowRequests:
    """Handlers for one show."""

    def __init__(
        self,
        show: Show,
        written: Callable[[], Awaitable[None]],
        cluster: ClusterSession | None,
    ) -> None:
        """`written` waits until the last change of scene is on disk, so that a player who is answered can rely on it.

        `cluster`: of a rig with a network.
        """
        self._show = show
        self._written = written
        self._cluster = cluster
        self.handlers: dict[type[Request], Handler] = {
            RecallRequest: lambda asked: self._apply(RecallScene(asked.scene, player=asked.player)),
            NextRequest: lambda asked: self._apply(NextScene(player=asked.player)),
            BackRequest: lambda asked: self._apply(PreviousScene(player=asked.player)),
            FirstRequest: lambda asked: self._apply(FirstScene(player=asked.player)),
            EntryRequest: lambda asked: self._apply(GoToEntry(asked.entry, player=asked.player)),
            NextSongRequest: lambda asked: self._apply(NextSong(player=asked.player)),
            BackSongRequest: lambda asked: self._apply(PreviousSong(player=asked.player)),
            SongRequest: lambda asked: self._apply(ChooseSong(asked.song, player=asked.player)),
            TransposeRequest: lambda asked: self._apply(Transpose(asked.step, player=asked.player)),
            SetlistRequest: lambda asked: self._apply(ChooseSetlist(asked.setlist, player=asked.player)),
            PanicRequest: lambda asked: self._apply(Panic(asked.instrument)),
            ResendRequest: lambda asked: self._apply(Resend(player=asked.player)),
            TapRequest: lambda _: self._apply(TapTempo()),
            ClockRequest: lambda asked: self._apply(ControlClock(asked.what, asked.value)),
            TimecodeRequest: lambda asked: self._apply(ControlTimecode(asked.what, asked.value)),
            MuteRequest: lambda asked: self._apply(MuteRoute(asked.route)),
            UnmuteRequest: lambda asked: self._apply(UnmuteRoute(asked.route)),
            HandoverRequest: lambda _: hand_over(cluster),
            StatusRequest: self._status,
            KeepRequest: lambda asked: self._keep(Path(asked.file), asked.last_s),
            KeepAtHomeRequest: lambda asked: self._keep(Path.home() / asked.file, asked.last_s),
        }

    async def _apply(self, command: PlayerCommand) -> Answer:
        result = self._show.apply(command, _WHO)
        if result.scene is not None:
            with trio.move_on_after(_PATIENCE):
                await self._written()
        shown = {name: getattr(result, name) for name in CommandAnswer.model_fields}
        return CommandAnswer(**{**shown, "text": result.sentence})

    async def _status(self, request: StatusRequest) -> Answer:
        network = {"network": self._cluster.status()} if self._cluster is not None else {}
        shown = {**status(self._show), **network}
        return StatusAnswer(text="the state of the show", status=shown)

    async def _keep(self, file: Path, last_s: float) -> Answer:
        show = self._show
        kept, name = show.recorder.last(show.clock(), last_s), show.engine.rig.rig.name
        try:
            return done(await in_a_thread(keep, kept, file, show.inputs, show.outputs, name))
        except RecordingFileError as fault:
            return refused(AnswerCode.FILE_FAILED, str(fault))
