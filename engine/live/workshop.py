"""The rig that plays, as its author's text: edited, played at once, and saved with proof.

Every edit is a function from text to text. What comes out is read, compiled off the loop and adopted in one step, so a
live edit and an edit of the file on the disk are the same thing. An edit of the file that meets unsaved live edits is
announced; neither side is lost until the player has chosen.
"""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import trio

from engine.core.bay import Bay
from engine.live.adopting import adopt
from engine.live.show import Show
from engine.rig import difference
from engine.rig.load import RigError, read, text_of
from engine.rig.models import Rig
from engine.rig.rewrite import EditFault
from engine.rig.versions import SaveFault, Versions
from filters.registry import FilterFault

_ROUND: Final = 0.25  # seconds between looks at the file
_UNDO: Final = 100  # live edits that can be taken back

_Stamp = tuple[int, int, int]
Answer = dict[str, Any]
Change = Callable[[str], str]


class Workshop:
    """One show's rig file. Loop only; files and compiling go through threads, one thing at a time."""

    def __init__(self, show: Show, file: Path, text: str) -> None:
        """`text` is what plays and what `file` held when it was read."""
        self.text = text
        self._show = show
        self._file = file
        self._on_disk = text  # what the file held when it was last read or written here
        self._before: list[tuple[str, str]] = []  # (text, what was done to it), the newest last
        self._versions = Versions(file)
        self._lock = trio.Lock()
        self._seen = self._stamp()

    @property
    def unsaved(self) -> bool:
        """Whether something plays that is not in the file."""
        return self.text != self._on_disk

    # Live edits

    async def edit(self, change: Change, done: str) -> Answer:
        """Play what `change` makes of the text; `done` says what that was."""
        async with self._lock:
            before = self.text
            fault = await self._play(change)
            if fault is not None:
                return {"done": False, "text": fault}
            self._before = [*self._before[1 - _UNDO :], (before, done)]
            return {"done": True, "text": f"{done}; not in the file yet (bayleaf save)"}

    async def take_back(self) -> Answer:
        """Play what played before the last live edit."""
        async with self._lock:
            if not self._before:
                return {"done": False, "text": "there is no live edit to take back"}
            text, done = self._before.pop()
            fault = await self._play(lambda _: text)
            if fault is not None:
                return {"done": False, "text": fault}
            return {"done": True, "text": f"taken back: {done}"}

    async def _play(self, change: Change) -> str | None:
        """Why the changed text cannot be played, or None: it plays."""
        show = self._show
        try:
            text = await trio.to_thread.run_sync(change, self.text)
            rig = await trio.to_thread.run_sync(read, text, str(self._file))
            speeds = {name: wire.speed for name, wire in zip(show.outputs, show.bay.wires, strict=True)}
            bay = await trio.to_thread.run_sync(Bay, rig, speeds, None, (show.inputs, show.outputs))
        except (EditFault, RigError, FilterFault) as fault:
            return str(fault)
        if rig != show.bay.rig:
            adopt(show, bay)
        self.text = text
        return None

    # The file

    async def save(self, choice: str | None = None) -> Answer:
        """Write what plays into the file and prove it; `choice` is "playing" or "file" if the file has changed."""
        async with self._lock:
            now = await trio.to_thread.run_sync(self._file_text)
            if now is None:
                return {"done": False, "text": f"{self._file} cannot be read; nothing was saved"}
            if now != self._on_disk and self.unsaved and choice is None:
                shown = difference.text(now, self.text, str(self._file), "what plays")
                told = f"{self._file} has changed on the disk since it was loaded, so nothing was saved. Choose"
                ways = "save --playing (what plays goes into the file) or save --file (what it holds plays)"
                return {"done": False, "text": f"{told}: {ways}\n{shown}"}
            if choice == "file":
                return await self._take_file(now)
            if self.text == now:
                return {"done": True, "text": f"{self._file} holds what plays already; nothing to save"}
            return await self._write(now)

    async def undo_save(self) -> Answer:
        """Play and save the version before the present one."""
        async with self._lock:
            try:
                text = await trio.to_thread.run_sync(self._versions.undo)
                now = await trio.to_thread.run_sync(self._file_text)
            except SaveFault as fault:
                return {"done": False, "text": str(fault)}
            fault_text = await self._play(lambda _: text)
            if fault_text is not None:
                return {"done": False, "text": fault_text}
            return await self._write(now or "")

    async def history(self) -> Answer:
        """The versions that are kept, newest first."""
        versions = await trio.to_thread.run_sync(self._versions.list)
        listed = [{"number": each.number, "time": each.time, "bytes": each.size} for each in versions]
        return {"done": True, "text": f"{len(listed)} versions are kept", "versions": listed}

    async def unsaved_difference(self) -> Answer:
        """What plays and is not in the file, line by line."""
        shown = difference.text(self._on_disk, self.text, str(self._file), "what plays")
        return {"done": True, "text": shown or "what plays is what the file holds"}

    async def _write(self, expected: str) -> Answer:
        try:
            await trio.to_thread.run_sync(self._versions.save, self.text, expected)
            saved = await trio.to_thread.run_sync(self._read_back)
        except (SaveFault, RigError) as fault:
            return {"done": False, "text": str(fault)}
        changes = await trio.to_thread.run_sync(self._changes, expected, saved)
        self._on_disk, self._seen = self.text, self._stamp()
        self._show.refused = None
        if saved != self._show.bay.rig:
            return {"done": False, "text": f"{self._file} was saved, but what it holds is not what plays"}
        listed = "".join(f"\n  {each}" for each in changes)
        return {"done": True, "text": f"saved in {self._file}, read back: it is what plays{listed}"}

    async def _take_file(self, theirs: str) -> Answer:
        fault = await self._play(lambda _: theirs)
        if fault is not None:
            return {"done": False, "text": fault}
        self._on_disk, self._seen = theirs, self._stamp()
        return {"done": True, "text": f"what {self._file} holds plays; the live edits can be had back: scenes undo"}

    def _read_back(self) -> Rig:  # worker thread
        return read(self._file_text() or "", str(self._file))

    def _changes(self, before: str, rig: Rig) -> list[str]:  # worker thread
        try:
            return difference.rigs(read(before, str(self._file)), rig)
        except RigError:
            return []

    def _file_text(self) -> str | None:  # worker thread
        try:
            return text_of(self._file)
        except RigError:
            return None

    # Edits of the file on the disk

    async def run(self) -> None:
        """Look at the file again and again, until cancelled. An edit is read once it has kept still for a round."""
        handled = seen = self._seen
        while True:
            await trio.sleep(_ROUND)
            before, seen = seen, self._stamp()
            # a file that is not there is about to be replaced; what was read plays on
            if seen is not None and seen == before and seen not in (handled, self._seen):
                handled = seen
                try:
                    await self._reload()
                except Exception as fault:  # it costs this edit, not the show
                    self._refuse(self._show.own_fault(fault))

    async def _reload(self) -> None:
        async with self._lock:
            text = await trio.to_thread.run_sync(self._file_text)
            if text is None:
                self._refuse(f"{self._file} cannot be read as UTF-8 text")
            elif self.unsaved:
                self._refuse("it was edited while live edits are unsaved; bayleaf save shows the difference")
            elif text != self._on_disk:
                await self._follow(text)
            else:
                self._show.refused = None

    async def _follow(self, text: str) -> None:
        show = self._show
        before = show.bay
        fault = await self._play(lambda _: text)
        if fault is not None:
            self._refuse(fault)
            return
        self._on_disk = text
        show.refused = None
        if show.bay is before:
            return
        scene, plans = show.bay.scene, show.bay.plans
        gone = f"; scene {scene[0]} is no longer in it and plays on" if scene and scene[0] not in plans else ""
        show.tell("rig file", f"was edited and is adopted: {len(plans)} scenes{gone}")

    def _refuse(self, reason: str) -> None:
        self._show.refused = reason
        self._show.tell("rig file", f"was refused, and what plays plays on: {reason}")

    def _stamp(self) -> _Stamp | None:
        try:
            facts = os.stat(self._file)
        except OSError:
            return None
        return facts.st_mtime_ns, facts.st_size, facts.st_ino
