"""The rig that plays, as its author's text: edited, played at once, and saved with proof.

Every edit is a function from text to text. What comes out is read, compiled off the loop and adopted in one step, so a
live edit and an edit of the file on the disk are the same thing. An edit of the file that meets unsaved live edits is
announced; neither side is lost until the player has chosen.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import trio

from engine.core.cable.remote_cable import far_outputs
from engine.core.compiled import compile_rig
from engine.live.edit.rig_adoption import adopt, read_here
from engine.live.edit.rig_file_store import RigFileStore, lines
from engine.live.edit.sound_list_files import Facts, SoundLists, facts
from engine.live.process.worker_threads import to_its_end
from engine.live.show import Show
from engine.plurals import counted
from engine.rig.edit.scene_edits import EditError
from engine.rig.edit.versions import SaveError, plain
from engine.rig.read.load import RigError
from filters.registry import FilterFault

_ROUND: Final = 0.25  # seconds between looks at the file
_UNDO: Final = 100  # live edits that can be taken back

Answer = dict[str, Any]
Change = Callable[[str], str]
#: a change and the sentence for it, or the answer if there is nothing to do; called under the lock
Plan = Callable[[], tuple[Change, str] | Answer]


class RigSession:
    """One show's rig file. Loop only; files and compiling go through threads, one thing at a time."""

    def __init__(self, show: Show, file: Path, text: str) -> None:
        """`text` is what plays and what `file` held when it was read."""
        self.text = text
        self._show = show
        self.file = file
        self._on_disk = text  # what the file held when it was last read or written here
        self._before: list[tuple[str, str]] = []  # (text, what was done to it), the newest last
        self._after: list[tuple[str, str]] = []  # (text, what made it), taken back and to be had again, the next last
        self._shelf = RigFileStore(file)
        self._lists = SoundLists(file.parent)
        self._reread_lists = False  # one was edited, or refused the last time
        show.recorder.did(show.clock(), "rig file", text)
        self._lock = trio.Lock()
        self._handled: Facts | None = None  # the file as it was when it was last looked into

    @property
    def unsaved(self) -> bool:
        """Whether something plays that is not in the file."""
        return self.text != self._on_disk

    # Live edits

    async def edit(self, plan: Plan, save: bool = False) -> Answer:
        """Play what the planned change makes of the text; and save it, unless other live edits wait to be saved.

        The plan is made when no other edit is under way, so it may look at what plays.
        """
        async with self._lock:
            alone = not self.unsaved
            planned = plan()
            if isinstance(planned, dict):
                return planned
            change, done = planned
            before = self.text
            fault = await self._play(change)
            if fault is not None:
                return {"done": False, "text": fault}
            self._remember(before, done)
            if save and alone:
                saved = await self._saved(None)
                return {**saved, "text": f"{done}; {saved['text']}"}
            return {"done": True, "text": done + self._plays_on() + self._standing()}

    async def take_back(self) -> Answer:
        """Play what played before the last live edit."""
        return await self._step(self._before, self._after, "taken back", "there is no live edit to take back")

    async def redo(self) -> Answer:
        """Play again what was taken back last."""
        return await self._step(self._after, self._before, "done again", "nothing was taken back that could be redone")

    async def _step(self, here: list[tuple[str, str]], there: list[tuple[str, str]], word: str, none: str) -> Answer:
        async with self._lock:
            if not here:
                return {"done": False, "text": none}
            text, done = here[-1]
            before = self.text
            fault = await self._play(lambda _: text)
            if fault is not None:
                return {"done": False, "text": fault}
            here.pop()
            there.append((before, done))
            self._handled = None  # the file may have been edited meanwhile, and can be followed now
            return {"done": True, "text": f"{word}: {done}{self._standing()}"}

    def _remember(self, before: str, done: str) -> None:
        if self.text != before:
            self._before.append((before, done))
            del self._before[:-_UNDO], self._after[:]

    def _plays_on(self) -> str:
        scene = self._show.engine.scene
        gone = scene is not None and scene[0] not in self._show.engine.state.compiled.scenes
        return "; it plays on until another is recalled" if gone else ""

    def _standing(self) -> str:
        return "; not in the file yet (bayleaf save)" if self.unsaved else "; the file holds this"

    async def follow(self, text: str) -> str | None:
        """The one in charge plays this, so it plays here, too: why not, or None."""
        async with self._lock:
            return await self._play(lambda _: text, led=True)

    async def _play(self, change: Change, led: bool = False) -> str | None:
        """Why the changed text cannot be played, or None: it plays."""
        show = self._show
        if show.engine.state.led_by is not None and not led:
            return f"{show.engine.state.led_by} is in charge; a rig that is edited there plays here, too"
        try:
            text = plain(await to_its_end(change, self.text))
            rig = await to_its_end(read_here, text, str(self.file), show.engine.rig)
            if rig == show.engine.rig:
                self.text = text
                return None
            now = show.engine.state.compiled
            compiled = await to_its_end(compile_rig, rig, None, now, far_outputs(rig))
        except (EditError, RigError, FilterFault) as fault:
            return str(fault)
        adopt(show, compiled, text)
        self.text = text
        return None

    # The file

    async def save(self, choice: str | None = None) -> Answer:
        """Write what plays into the file and prove it; `choice` is "playing" or "file" if the file has changed."""
        async with self._lock:
            return await self._saved(choice)

    async def _saved(self, choice: str | None) -> Answer:
        try:
            now = await self._shelf.present()
        except SaveError as fault:
            return _refusal(f"{fault}; nothing was saved, and what plays plays on")
        if self.text == now:
            self._agrees()
            return {"done": True, "text": f"{self.file} holds what plays already; nothing to save"}
        if choice == "file" and now is not None:
            return await self._take_file()
        if choice == "file" or (now != self._on_disk and choice is None):
            return self._differs(now)
        return await self._write(now)

    def _differs(self, now: str | None) -> Answer:
        if now is None:
            return _refusal(
                f"{self.file} is no longer there, so nothing was saved. "
                "Put it back, or make it again of what plays: bayleaf save --playing"
            )
        shown = lines(now, self.text, str(self.file), "what plays")
        told = f"{self.file} has changed on the disk since it was loaded, so nothing was saved. Choose"
        ways = "bayleaf save --playing (what plays goes into the file) or bayleaf save --file (what it holds plays)"
        return _refusal(f"{told} {ways}; the other text is kept as a version. They differ in:\n{shown}")

    async def undo_save(self, version: int | None = None) -> Answer:
        """Play and save a version: the one before the present text, or this one."""
        async with self._lock:
            before = self.text
            try:
                now = await self._shelf.present()
                if now != self._on_disk:
                    return self._differs(now)
                text = await self._shelf.former(version)
            except SaveError as fault:
                return _refusal(f"{fault}; nothing was changed")
            which = "the version before" if version is None else f"version {version}"
            refusal = await self._play(lambda _: text)
            if refusal is not None:
                another = "choose another of bayleaf save --history with bayleaf save --undo --version"
                return _refusal(f"{which} cannot be played, and nothing was changed ({refusal}); {another}")
            self._remember(before, f"{which} plays")
            return await self._write(now)

    async def history(self) -> Answer:
        """The versions that are kept, newest first."""
        try:
            listed = await self._shelf.listed()
        except SaveError as fault:
            return _refusal(str(fault))
        return {"done": True, "text": _kept(len(listed)), "versions": listed}

    async def unsaved_difference(self, version: int | None = None) -> Answer:
        """What plays and is not in the file, or not in this version, line by line."""
        named = str(self.file) if version is None else f"version {version}"
        try:
            held = await (self._shelf.present() if version is None else self._shelf.former(version))
        except SaveError as fault:
            return _refusal(str(fault))
        if held is None:
            return _refusal(f"{self.file} is no longer there; bayleaf save --playing makes it again of what plays")
        shown = lines(held, self.text, named, "what plays")
        return {"done": True, "text": shown or f"what plays is what {named} holds"}

    async def _write(self, expected: str | None) -> Answer:
        try:
            saved = await self._shelf.write(self.text, expected)
        except (SaveError, RigError) as fault:
            return _refusal(str(fault))
        self._agrees()
        if saved.rig != self._show.engine.rig:
            return _refusal(f"{self.file} was saved, but what it holds is not what plays")
        listed = "".join(f"\n  {each}" for each in saved.changes)
        return {"done": True, "text": f"saved in {self.file}, read back: it is what plays. What changed:{listed}"}

    async def _take_file(self) -> Answer:
        before, kept = self.text, ""
        try:
            text = await self._shelf.proper()
            if self.unsaved:
                number = await self._shelf.keep(before)
                kept = f"; what played is kept as version {number}, and scenes undo brings it back"
        except (SaveError, RigError) as fault:
            return _refusal(f"{fault}; what plays plays on")
        refusal = await self._play(lambda _: text)
        if refusal is not None:
            return _refusal(f"{refusal}; what plays plays on")
        self._remember(before, f"what {self.file.name} holds plays")
        self._agrees()
        return {"done": True, "text": f"what {self.file} holds plays{kept}"}

    def _agrees(self) -> None:
        """The file holds what plays; the scene to begin with the next time has the number it has there."""
        self._on_disk = self.text
        self._show.refused = None
        self._show.keep_place()

    async def leave(self) -> None:
        """At the end of the show: live edits that were not saved are kept as a version, and that is told."""
        if not self.unsaved:
            return
        told = "live edits were not saved"
        try:
            number = await self._shelf.keep(self.text)
        except SaveError as fault:
            self._show.tell("rig file", f"{told} and are lost, for {fault}")
            return
        back = f"bayleaf save --undo --version {number} brings them back when the rig plays again"
        self._show.tell("rig file", f"{told}; they are kept as version {number} of {self.file}: {back}")

    # Edits of the file on the disk

    async def run(self) -> None:
        """Look at the file and its sound lists again and again, until cancelled.

        An edit is read once it has kept still for a round.
        """
        seen = self._stamp()
        while True:
            await trio.sleep(_ROUND)
            before, seen = seen, self._stamp()
            # a file that is not there is about to be replaced; what was read plays on
            edited = self._lists.edited(self._show.engine.rig)
            self._reread_lists |= edited
            if seen is not None and seen == before and (edited or seen != self._handled):
                self._handled = seen
                try:
                    await self._reload()
                except Exception as fault:  # it costs this edit, not the show
                    self._refuse(self._show.own_fault(f"adopting {self._shelf.file}", fault))

    async def _reload(self) -> None:
        async with self._lock:
            try:
                text = await self._shelf.proper()
            except RigError as fault:
                self._refuse(str(fault))
                return
            await to_its_end(self._lists.want, text)
            if text == self._on_disk and self._reread_lists:
                await self._read_lists()
            elif text == self._on_disk:
                self._show.refused = None
            elif text == self.text:
                self._agrees()
            elif self.unsaved:
                self._refuse("it was edited while live edits are unsaved; bayleaf save shows the difference")
            else:
                await self._follow(text)

    async def _read_lists(self) -> None:
        """Play the same text with its lists as they are now."""
        before = self._show.revision
        fault = await self._play(lambda text: text)
        self._reread_lists = fault is not None
        if fault is not None:
            self._refuse(fault)
            return
        self._show.refused = None
        if self._show.revision != before:
            self._show.tell("rig file", "a sound list was edited and is adopted")

    async def _follow(self, text: str) -> None:
        show = self._show
        before, played = show.revision, self.text
        fault = await self._play(lambda _: text)
        if fault is not None:
            self._refuse(fault)
            return
        self._remember(played, f"the edit of {self.file.name}")
        self._agrees()
        if show.revision == before:
            return
        scene, scenes = show.engine.scene, show.engine.state.compiled.scenes
        gone = f"; scene {scene[0]} is no longer in it and plays on" if scene and scene[0] not in scenes else ""
        show.tell("rig file", f"was edited and is adopted: {len(scenes)} scenes{gone}")

    def _refuse(self, reason: str) -> None:
        self._show.refused = reason
        self._show.tell("rig file", f"was refused, and what plays plays on: {reason}")

    def _stamp(self) -> Facts | None:
        return facts(self.file)


def _refusal(text: str) -> Answer:
    return {"done": False, "text": text}


def _kept(versions: int) -> str:
    return f"{counted(versions, 'version', zero='no')} {'is' if versions == 1 else 'are'} kept"
