"""Rehearsals that browsers ask for: a song through the rig's file, in a child process, one at a time."""

import json
import subprocess
import sys
from collections.abc import Callable
from typing import Any, Final

import trio
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from engine.panel.frame_merging import Facts
from engine.panel.paired_browsers import Role
from engine.protocol import REHEARSE, Answer, AnswerCode, RehearseAnswer, refused

_TIME: Final = 25  # seconds
_PATIENCE: Final = _TIME + 3.0
_COMMAND: Final = [sys.executable, "-P", "-m", "engine.offline.rehearsal_process", str(_TIME)]


class RehearsalRequest(BaseModel):
    """A song (`song`, in base 64) called `name`; `input` plays all of it, or "" as its tracks say; `scene` begins."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: str = Field(max_length=200)
    song: str = Field(max_length=1 << 18)
    input: str = Field("", max_length=200)
    scene: int | None = None


class Rehearsals:
    """Those of one panel. `rig`: the file of the engine's rig and whether it has all edits, None if it has no file."""

    def __init__(self, rig: Callable[[], tuple[str, bool] | None]) -> None:
        self._rig = rig
        self._busy = False

    async def answer(self, request: Facts, role: Role) -> Answer:
        """Of browsers that may do everything."""
        if role != "operate":
            return refused(AnswerCode.NOT_ALLOWED, "only a browser that may do everything can rehearse a song")
        try:
            asked = RehearsalRequest.model_validate({key: value for key, value in request.items() if key != "do"})
        except ValidationError:
            return refused(AnswerCode.BAD_REQUEST, f"{REHEARSE} takes a name, a song in base 64, an input and a scene")
        rig = self._rig()
        if rig is None:
            return refused(AnswerCode.NOT_POSSIBLE, "the rig has no file yet: save it, and then rehearse")
        if not rig[1]:
            return refused(AnswerCode.NOT_POSSIBLE, "the file is rehearsed, and it does not have all edits yet: save")
        if self._busy:
            return refused(AnswerCode.BUSY, "another song is being rehearsed; try again when it is through")
        self._busy = True
        try:
            return await _rehearsed(rig[0], asked)
        finally:
            self._busy = False


async def _rehearsed(file: str, asked: RehearsalRequest) -> Answer:
    given = {"file": file, "name": asked.name, "song": asked.song, "wanted": asked.input, "scene": asked.scene}
    found: dict[str, Any] | None = None
    with trio.move_on_after(_PATIENCE):
        done = await trio.run_process(
            _COMMAND, stdin=json.dumps(given).encode(), capture_stdout=True, stderr=subprocess.DEVNULL, check=False
        )
        found = json.loads(done.stdout) if done.returncode == 0 else None
    if found is None:
        text = f"{asked.name} takes more than {_TIME} seconds or 1 GB of memory: rehearse it with bayleaf rehearse"
        return refused(AnswerCode.NOT_POSSIBLE, text)
    if "wrong" in found:
        return refused(AnswerCode.NOT_POSSIBLE, found["wrong"])
    return RehearseAnswer(**found)
