"""Follows the rig file while the show runs: a valid edit is adopted at once, a faulty one is told and left alone."""

import os
from pathlib import Path
from typing import Final

import trio

from engine.core.bay import Bay
from engine.live.show import Show
from engine.rig.load import RigError, load
from engine.rig.models import Rig
from filters.registry import FilterFault

_ROUND: Final = 0.25  # seconds between looks at the file

_Stamp = tuple[int, int, int]


class Edits:
    """Watches one show's rig file."""

    def __init__(self, show: Show, file: Path) -> None:
        """The show plays what `file` holds now."""
        self._show = show
        self._file = file
        self._read = self._stamp()

    async def run(self) -> None:
        """Look again and again, until cancelled. An edit is read once the file has kept still for a round."""
        seen = self._read
        while True:
            await trio.sleep(_ROUND)
            before, seen = seen, self._stamp()
            # a file that is not there is about to be replaced; what was read plays on
            if seen is not None and seen == before and seen != self._read:
                self._read = seen
                try:
                    await self._reload()
                except Exception as fault:  # it costs this edit, not the show
                    self._refuse(self._show.own_fault(fault))

    async def _reload(self) -> None:
        show = self._show
        try:
            rig = await trio.to_thread.run_sync(load, self._file)
            if rig == show.bay.rig:
                show.refused = None
                return
            speeds = {name: wire.speed for name, wire in zip(show.outputs, show.bay.wires, strict=True)}
            bay = await trio.to_thread.run_sync(Bay, rig, speeds, None, (show.inputs, show.outputs))
        except (RigError, FilterFault) as fault:
            self._refuse(str(fault))
            return
        adopt(show, bay)
        scene = bay.scene
        gone = f"; scene {scene[0]} is no longer in it and plays on" if scene and scene[0] not in bay.plans else ""
        show.tell("rig file", f"was edited and is adopted: {len(rig.scenes)} scenes{gone}")

    def _refuse(self, reason: str) -> None:
        self._show.refused = reason
        self._show.tell("rig file", f"was refused, and what plays plays on: {reason}")

    def _stamp(self) -> _Stamp | None:
        try:
            facts = os.stat(self._file)
        except OSError:
            return None
        return facts.st_mtime_ns, facts.st_size, facts.st_ino


def adopt(show: Show, bay: Bay) -> None:
    """Go on with an edited rig, in one step; ports that it wants no more, or wants elsewhere, are let go of."""
    before = show.bay.rig
    show.succeed(bay)
    for source, name in enumerate(show.inputs):
        if name in before.inputs and before.inputs[name] != bay.rig.inputs.get(name):
            show.let_go_of_input(source)
    for output, name in enumerate(show.outputs):
        if name in before.outputs and _place(before, name) != _place(bay.rig, name):
            show.let_go_of_output(output)
    show.refused = None


def _place(rig: Rig, name: str) -> tuple[str | None, str | None] | None:
    """Which port of the system an output of a rig is."""
    port = rig.outputs.get(name)
    return (port.port, port.device) if port is not None else None
