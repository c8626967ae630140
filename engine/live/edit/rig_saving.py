"""Saving the current rig to its file with proof, choosing when the file was edited meanwhile, and earlier versions."""

from pathlib import Path
from typing import Final

import trio

from engine.live.edit.rig_file_store import RigFileStore
from engine.live.edit.rig_session import WAITS, Plan, RigSession
from engine.live.edit.rig_texts import edited
from engine.live.process.worker_process import WorkGivenUp
from engine.live.process.worker_threads import to_its_end
from engine.plurals import counted
from engine.protocol import Answer, AnswerCode, VersionsAnswer, done, refused, unchanged
from engine.rig.edit.versions import SaveError
from engine.rig.read.load import RigError

_SUFFIX: Final = ".toml"
_KEEPS_PLAYING = "the current rig keeps playing"


class RigSaver:
    """Saves one session's rig. Loop only; files are read and written in worker threads."""

    def __init__(self, session: RigSession) -> None:
        self._session = session

    async def edit_and_save(self, plan: Plan) -> Answer:
        """Adopt a planned change, and save it unless other edits are unsaved: the player decides about those."""
        session = self._session
        async with session.lock:
            alone = not session.unsaved
            edited = await session.carry_out(plan)
            if not edited.done:
                return edited
            if not alone:
                return done(f"{edited.text}; not saved yet (bayleaf save)")
            saved = await self._save(None)
            return saved.model_copy(update={"text": f"{edited.text}; {saved.text}"})

    async def save(self, choice: str | None = None) -> Answer:
        """Write the current text to the file and read it back.

        If the file was edited meanwhile, `choice` says which text is kept: "playing" or "file".
        """
        async with self._session.lock:
            return await self._save(choice)

    async def save_as(self, name: str) -> Answer:
        """Write the current text to a new file, which is the rig's file from then on."""
        session = self._session
        path = _path(name)
        if path.suffix != _SUFFIX or not path.stem.strip():
            return refused(AnswerCode.NOT_POSSIBLE, f"give a name that ends in {_SUFFIX}, such as pit{_SUFFIX}")
        async with session.lock:
            store = RigFileStore(path, session.elsewhere)
            try:
                read = await session.elsewhere(edited, session.text, session.text, str(path))
                if isinstance(read, Answer):
                    return read  # what it includes is not there
                if (now := await store.present()) not in (None, session.text):
                    return refused(AnswerCode.CONFLICT, f"{path} is there already; choose another name")
                await store.write(session.text, now)
            except (SaveError, WorkGivenUp) as fault:
                return refused(AnswerCode.FILE_FAILED, str(fault))
            draft = session.file if session.draft else None
            session.move_to(store)
            session.saved()
            if draft is not None:
                await to_its_end(draft.unlink, True)
        return done(f"saved as {path}")

    async def _save(self, choice: str | None) -> Answer:
        session = self._session
        try:
            now = await self._session.store.present()
        except SaveError as fault:
            return refused(AnswerCode.FILE_FAILED, f"{fault}; nothing was saved, and {_KEEPS_PLAYING}")
        if session.text == now:
            session.saved()
            return unchanged(f"{self._session.file} already holds the current rig; nothing to save")
        if choice == "file" and now is not None:
            return await self._take_file()
        if choice == "file" or (now != session.on_disk and choice is None):
            return await self._conflict(now)
        return await self._write(now)

    async def _conflict(self, now: str | None) -> Answer:
        if now is None:
            return _missing(f"{self._session.file} no longer exists, so nothing was saved")
        shown = await self._session.store.lines(now, self._session.text, str(self._session.file), "current rig")
        choices = "bayleaf save --playing (the file gets the current rig)"
        if self._session.show.refused in (None, WAITS):
            choices += " or bayleaf save --file (the file's rig plays)"
        else:
            choices += f", or correct the file, whose rig was rejected (bayleaf check {self._session.file})"
        text = (
            f"{self._session.file} has changed on disk since it was read, so nothing was saved. Choose {choices}. "
            f"The other text is kept as a version. They differ in:\n{shown}"
        )
        return refused(AnswerCode.CONFLICT, text)

    async def undo_save(self, version: int | None = None) -> Answer:
        """Play and save a version: this one, or else the one before the current text."""
        session = self._session
        async with session.lock:
            before = session.text
            try:
                now = await self._session.store.present()
                if now != session.on_disk:
                    return await self._conflict(now)
                text = await self._session.store.former(version)
            except SaveError as fault:
                return refused(AnswerCode.FILE_FAILED, f"{fault}; nothing was changed")
            name = "the previous version" if version is None else f"version {version}"
            refusal = await session.play(text)
            if refusal is not None:
                another = "choose one of bayleaf save --history with bayleaf save --undo --version"
                return refused(
                    refusal.code, f"{name} cannot be played, and nothing was changed ({refusal.text}); {another}"
                )
            session.remember(before, f"{name} plays")
            return await self._write(now)

    async def history(self) -> Answer:
        """The versions, newest first."""
        try:
            listed = await self._session.store.listed()
        except SaveError as fault:
            return refused(AnswerCode.FILE_FAILED, str(fault))
        return VersionsAnswer(text=counted(len(listed), "saved version", zero="no"), versions=listed)

    async def unsaved_difference(self, version: int | None = None) -> Answer:
        """What the current rig has and the file has not, or this version, line by line."""
        name = str(self._session.file) if version is None else f"version {version}"
        try:
            held = await (self._session.store.present() if version is None else self._session.store.former(version))
        except SaveError as fault:
            return refused(AnswerCode.FILE_FAILED, str(fault))
        if held is None:
            return _missing(f"{self._session.file} no longer exists")
        shown = await self._session.store.lines(held, self._session.text, name, "current rig")
        return done(shown or f"{name} holds the current rig")

    async def _write(self, expected: str | None) -> Answer:
        session = self._session
        try:
            changes = await self._session.store.write(session.text, expected)
        except (SaveError, RigError) as fault:
            return refused(AnswerCode.FILE_FAILED, str(fault))
        session.saved()
        listed = "".join(f"\n  {each}" for each in changes)
        return done(f"saved to {self._session.file}, and read back: it holds the current rig. Changes:{listed}")

    async def _take_file(self) -> Answer:
        session, kept = self._session, ""
        before = session.text
        try:
            text = await self._session.store.proper()
            if session.unsaved:
                number = await self._session.store.keep(before)
                kept = f"; the rig before it is kept as version {number}, and bayleaf scenes undo brings it back"
        except (SaveError, RigError) as fault:
            return refused(AnswerCode.FILE_FAILED, f"{fault}; {_KEEPS_PLAYING}")
        refusal = await session.play(text)
        if refusal is not None:
            return refused(refusal.code, f"{refusal.text}; {_KEEPS_PLAYING}")
        session.remember(before, f"{self._session.file.name} plays as it is on disk")
        session.saved()
        return done(f"{self._session.file} plays as it is on disk{kept}")

    async def leave(self) -> None:
        """At the end of the show: unsaved edits are kept as a version, and reported."""
        session = self._session
        if not session.unsaved:
            return
        unsaved = "edits were not saved"
        try:
            if session.draft:
                await session.store.write(session.text, session.on_disk)
                session.show.tell("rig file", "the rig has no file yet; it is kept, and bayleaf goes on with it")
                return
            number = await self._session.store.keep(session.text)
        except SaveError as fault:
            session.show.tell("rig file", f"{unsaved} and are lost: {fault}")
            return
        except trio.Cancelled:
            session.show.tell("rig file", f"{unsaved} and may be lost: the disk did not answer in time")
            raise
        back = f"bayleaf save --undo --version {number} brings them back when the rig plays again"
        session.show.tell("rig file", f"{unsaved}; they are kept as version {number} of {self._session.file}: {back}")


def _path(name: str) -> Path:
    """The file that a player means; a bare name is in the home folder."""
    return Path.home() / Path(name).expanduser()


def _missing(text: str) -> Answer:
    return refused(
        AnswerCode.FILE_MISSING,
        f"{text}. Put it back, or write it again with the current rig: bayleaf save --playing",
    )
