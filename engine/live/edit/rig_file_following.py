"""Edits of the rig file and its sound lists on disk, adopted while the rig plays."""

from functools import partial
from pathlib import Path
from typing import Final

from engine.live.edit.rig_session import WAITS, RigSession
from engine.live.edit.rig_texts import replaced_by_file
from engine.live.edit.sound_list_files import Facts, SoundLists, facts
from engine.live.port_reopening import Apart
from engine.live.process.worker_process import WorkGivenUp
from engine.live.process.worker_threads import in_a_thread, to_its_end
from engine.live.rounds import next_round
from engine.plurals import counted
from engine.rig.models.rig import Rig
from engine.rig.read.load import RigError
from engine.user_error import shortened

_ROUNDS: Final = 2  # from one look at the file to the next


class RigFileFollower:
    """Follows one session's file. An edit that meets unsaved live edits is reported; the player chooses."""

    def __init__(self, session: RigSession, apart: Apart = in_a_thread) -> None:
        """`apart` runs what a disk may hold up."""
        self._session = session
        self._apart = apart
        self._show = session.show
        self._file = session.file
        self._lists = SoundLists(session.file.parent)
        self._reread_lists = False  # one was edited, or rejected last time
        self._handled: Facts | None = None  # the file as it was when it was last looked into
        self._undone = 0  # undos and redos by then

    async def run(self) -> None:
        """Look again and again, until cancelled. An edit is read once it has not changed for a round."""
        session = self._session
        seen = await self._apart(partial(facts, session.file))
        while True:
            await next_round(_ROUNDS)
            if session.file != self._file:
                self._file, self._lists, seen = session.file, SoundLists(session.file.parent), None
            before, look = seen, partial(self._looked_at, session.file, self._show.engine.rig)
            seen, edited = await self._apart(look)
            self._reread_lists |= edited
            # a file that is missing is about to be replaced; the rig that was read keeps playing
            handled = seen == self._handled and session.undone == self._undone
            if seen is not None and seen == before and (edited or not handled):
                self._handled, self._undone = seen, session.undone
                try:
                    await self._reload()
                except Exception as fault:  # it costs this edit, not the show
                    self._reject(self._show.own_fault(f"adopting {session.file}", fault))

    def _looked_at(self, file: Path, rig: Rig) -> tuple[Facts | None, bool]:
        """The file as it is, and whether one that it names was edited. A disk that hangs, hangs this thread."""
        return facts(file), self._lists.edited(rig)

    async def _reload(self) -> None:
        session = self._session
        async with session.lock:
            try:
                found = await session.store.look(session.on_disk, session.text)
            except RigError as fault:
                self._reject(str(fault))
                return
            except WorkGivenUp as fault:
                self._reject(f"reading the rig was given up: {fault}")
                return
            await to_its_end(self._lists.watch, found.lists)
            if found.as_read and self._reread_lists:
                await self._read_lists()
            elif found.as_read:
                self._show.refused = None
            elif found.as_played:
                session.saved()
            elif session.unsaved:
                self._reject(WAITS)
            else:
                await self._follow()

    async def _read_lists(self) -> None:
        """Adopt the same text with its lists as they are now."""
        before = self._show.revision
        refusal = await self._session.play(self._session.text)
        self._reread_lists = refusal is not None
        if refusal is not None:
            self._reject(refusal.text)
            return
        self._show.refused = None
        if self._show.revision != before:
            self._show.tell("rig file", "a file that it names changed; now playing with the new one")

    async def _follow(self) -> None:
        show, session = self._show, self._session
        before, played = show.revision, session.text
        refusal = await session.play(partial(replaced_by_file, file=session.file))
        if refusal is not None:
            self._reject(refusal.text)
            return
        session.remember(played, f"the edit of {session.file.name}")
        session.saved()
        if show.revision == before:
            return
        scene, scenes = show.engine.scene, show.engine.state.compiled.scenes
        gone = ""
        if scene and scene[0] not in scenes:
            gone = f"; scene {scene[0]} is no longer in it and keeps playing until another is recalled"
        show.tell("rig file", f"changed; now playing the new version ({counted(len(scenes), 'scene')}){gone}")

    def _reject(self, reason: str) -> None:
        self._show.refused = reason
        shown = shortened(reason, f"bayleaf check {self._session.file} lists them")
        self._show.tell("rig file", f"rejected; the current rig keeps playing: {shown}")
