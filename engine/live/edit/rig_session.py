"""The current rig as its author's text: edits of it, undo and redo, and adoption by the running show.

An edit is a function from text to text, or a new text. It is made and read in the worker process, compiled in a thread
and adopted in one step, so a live edit and an edit of the file on disk are the same thing. Saving is in `rig_saving`,
edits on disk in `rig_file_following`; both share this session's lock, so that one thing happens at a time.
"""

import sys
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, Final, NamedTuple

import trio

from engine.live.edit.rig_adoption import adopt, made_ready, on_our_machine
from engine.live.edit.rig_file_store import RigFileStore
from engine.live.edit.rig_texts import Change, RigParts, edited
from engine.live.process.worker_process import WorkGivenUp
from engine.live.process.worker_threads import to_its_end
from engine.live.show import Show
from engine.protocol import Answer, AnswerCode, done, refused
from engine.rig.edit.toml_edits import EditError
from engine.rig.models.rig import Rig
from filters.registry import FilterFault

#: why a changed file waits, though nothing is wrong with its rig
WAITS: Final = "it was edited while live edits are unsaved; bayleaf save shows the difference"
_UNDO: Final = 100  # edits that can be undone
_UNDO_BYTES: Final = 16 << 20  # of memory for their texts

#: runs a call elsewhere, so that the music need not wait for it: in the worker process
Elsewhere = Callable[..., Awaitable[Any]]
#: a change and its sentence, or the answer if there is nothing to change; called under the lock
Plan = Callable[[], tuple[Change, str] | Answer]


class PastEdit(NamedTuple):
    """A text to go back to, and what was done to it or made it."""

    text: str
    words: str


class RigSession:
    """The text of one show's rig. Loop only. `lock` is held while the text changes or is compared with the file."""

    def __init__(
        self,
        show: Show,
        file: Path,
        text: str,
        elsewhere: Elsewhere,
        draft: bool = False,
        moved: Callable[[Path], None] = lambda file: None,
    ) -> None:
        """`text` is current, and is what `file` held when it was read.

        `draft`: the file is our own, until the player gives the rig another; `moved` is called with that one.
        """
        self.show = show
        self.file = file
        self.draft = draft
        self._moved = moved
        self.elsewhere = elsewhere
        self.store = RigFileStore(file, elsewhere)
        self.text = text
        self.on_disk: str | None = text  # what the file held when it was last read or written here
        self.lock = trio.Lock()
        self.undone = 0  # counts undos and redos: after one, an edit on disk that had to wait can be followed
        self._parts = RigParts()
        self._before: list[PastEdit] = []  # the newest last
        self._after: list[PastEdit] = []  # undone, the next to redo last
        show.recorder.did(show.clock(), "rig file", text)

    @property
    def unsaved(self) -> bool:
        """Whether the current text is not in the file."""
        return self.text != self.on_disk

    @property
    def undoable(self) -> str | None:
        """What an undo would undo, in words."""
        return self._before[-1].words if self._before else None

    @property
    def redoable(self) -> str | None:
        """What a redo would do again."""
        return self._after[-1].words if self._after else None

    def move_to(self, store: RigFileStore) -> None:
        """From now on this is the rig's file."""
        self.file, self.store, self.draft = store.file, store, False
        self._moved(store.file)

    async def edit(self, plan: Plan) -> Answer:
        """Adopt what the planned change makes of the text.

        The plan is made when no other edit is under way, so it may look at the show.
        """
        async with self.lock:
            answer = await self.carry_out(plan)
            if answer.code is not AnswerCode.DONE:
                return answer
            return done(answer.text + self._whether_saved())

    async def carry_out(self, plan: Plan) -> Answer:
        """As `edit`, for who holds the lock; the sentence does not say whether the file holds it."""
        planned = plan()
        if isinstance(planned, Answer):
            return planned
        change, words = planned
        before = self.text
        refusal = await self.play(change)
        if refusal is not None:
            return refusal
        self.remember(before, words)
        return done(words + self._deleted_scene())

    async def undo(self) -> Answer:
        """Go back to the text before the last edit."""
        nothing = refused(AnswerCode.NOTHING_TO_UNDO, "there is no edit to undo")
        return await self._step(self._before, self._after, "undone", nothing)

    async def redo(self) -> Answer:
        """Go back to the text that was undone last."""
        nothing = refused(AnswerCode.NOTHING_TO_REDO, "there is no undone edit to redo")
        return await self._step(self._after, self._before, "redone", nothing)

    async def _step(self, here: list[PastEdit], there: list[PastEdit], word: str, nothing: Answer) -> Answer:
        async with self.lock:
            if not here:
                return nothing
            past, before = here[-1], self.text
            refusal = await self.play(past.text)
            if refusal is not None:
                return refusal
            here.pop()
            there.append(PastEdit(before, past.words))
            self.undone += 1
            return done(f"{word}: {past.words}{self._whether_saved()}")

    def remember(self, before: str, words: str) -> None:
        """What was done to the text `before` can be undone."""
        if self.text != before:
            self._before.append(PastEdit(before, words))
            del self._before[:-_UNDO], self._after[:]
            while len(self._before) > 1 and sum(sys.getsizeof(past.text) for past in self._before) > _UNDO_BYTES:
                del self._before[0]

    def _deleted_scene(self) -> str:
        state = self.show.engine.state
        gone = any(scene.number not in state.compiled.scenes for _, scene in state.scenes_in_force())
        return "; it keeps playing until another is recalled" if gone else ""

    def _whether_saved(self) -> str:
        return "; not saved yet (bayleaf save)" if self.unsaved else "; nothing left to save"

    async def follow(self, text: str) -> str | None:
        """The engine in charge plays this, so it plays here, too: why it cannot, or None."""
        async with self.lock:
            refusal = await self.play(text, led=True)
            return refusal.text if refusal is not None else None

    async def play(self, change: Change, led: bool = False) -> Answer | None:
        """Adopt the changed text. The answer if it cannot be adopted, else None. For who holds the lock."""
        show = self.show
        if show.engine.state.led_by is not None and not led:
            text = f"{show.engine.state.led_by} is in charge; edit the rig there, and this engine follows"
            return refused(AnswerCode.NOT_LEADER, text)
        try:
            found = await self.elsewhere(edited, change, self.text, str(self.file))
            if isinstance(found, Answer):
                return found
            rig = on_our_machine(await to_its_end(self._parts.unpacked, found.rig, show.engine.rig), show.engine.rig)
            if _differs(rig, show.engine.rig):
                adopt(show, await to_its_end(made_ready, rig, show.engine.state.compiled), found.text)
        except EditError as fault:
            return refused(AnswerCode.NOT_POSSIBLE, str(fault))
        except FilterFault as fault:
            return refused(AnswerCode.INVALID_RIG, str(fault))
        except WorkGivenUp as fault:
            return refused(AnswerCode.INVALID_RIG, f"reading the rig was given up: {fault}")
        self.text = found.text
        return None

    def saved(self) -> None:
        """The file holds the current text. The scene to start with next time has the number that it has there."""
        self.on_disk = self.text
        self.show.refused = None
        self.show.keep_place()


def _differs(rig: Rig, playing: Rig) -> bool:
    """Whether a rig put together after the playing one differs from it, be it in the order of ports or instruments."""
    tables = ("inputs", "outputs", "instruments")
    return rig != playing or any(getattr(rig, each) is not getattr(playing, each) for each in tables)
