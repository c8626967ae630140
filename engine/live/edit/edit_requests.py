"""Requests to edit, learn, save, back up and restore the current rig."""

from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any

from engine.core import scene_snapshot
from engine.live.edit.listed_sounds import count_sounds
from engine.live.edit.part_requests import (
    add_scene_plan,
    move_plan,
    remove_plan,
    rename_plan,
    sounds_plan,
    values_plan,
)
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_saving import RigSaver
from engine.live.edit.rig_session import RigSession
from engine.live.edit.rig_texts import Change
from engine.live.edit.route_edits import burst_plan, chain_plan, connection_plan, facts_plan, lines_plan, split_plan
from engine.live.process.worker_process import WorkGivenUp
from engine.live.show import Show
from engine.plurals import counted
from engine.protocol import (
    AddSceneRequest,
    Answer,
    AnswerCode,
    BackupAnswer,
    BackupRequest,
    BurstRequest,
    ChainRequest,
    CopySceneRequest,
    DeleteSceneRequest,
    FactsRequest,
    Handler,
    HistoryRequest,
    JoinRequest,
    LearnRequest,
    LinesRequest,
    ListScenesRequest,
    MovePartRequest,
    MoveSceneRequest,
    PartRequest,
    PutValuesRequest,
    RedoRequest,
    RemovePartRequest,
    RenamePartRequest,
    RenameSceneRequest,
    RenumberSceneRequest,
    ReplaceRigRequest,
    Request,
    RestoreRequest,
    SaveAsRequest,
    SaveRequest,
    ScenesAnswer,
    SoundsRequest,
    SplitRequest,
    StoreSceneRequest,
    UndoRequest,
    UndoSaveRequest,
    UnsavedRequest,
    done,
    refused,
)
from engine.rig.edit import scene_edits, scene_references
from engine.rig.read.raw_data import no_such


class EditRequests:
    """Handlers for one show."""

    def __init__(self, show: Show, session: RigSession, saver: RigSaver, remote_work: RemoteWork) -> None:
        self._show = show
        self._session = session
        self._saver = saver
        self._remote_work = remote_work
        self.handlers: dict[type[Request], Handler] = {
            ListScenesRequest: self._list,
            CopySceneRequest: self._edit(_copy),
            RenameSceneRequest: self._edit(_rename),
            RenumberSceneRequest: self._edit(_renumber),
            MoveSceneRequest: self._edit(_move),
            DeleteSceneRequest: self._edit(_delete),
            StoreSceneRequest: self._edit(_store),
            JoinRequest: self._edit(partial(connection_plan, on=True)),
            PartRequest: self._edit(partial(connection_plan, on=False)),
            ChainRequest: self._edit(chain_plan),
            SplitRequest: self._edit(split_plan),
            BurstRequest: self._edit(burst_plan),
            LinesRequest: self._edit(lines_plan),
            FactsRequest: self._edit(facts_plan),
            PutValuesRequest: self._edit(values_plan),
            RenamePartRequest: self._edit(rename_plan),
            RemovePartRequest: self._edit(remove_plan),
            MovePartRequest: self._edit(move_plan),
            AddSceneRequest: self._edit(add_scene_plan),
            SoundsRequest: self._put_sounds,
            UndoRequest: lambda _: session.undo(),
            RedoRequest: lambda _: session.redo(),
            LearnRequest: self._learn,
            SaveRequest: lambda asked: saver.save(asked.choice),
            SaveAsRequest: lambda asked: saver.save_as(asked.file),
            UndoSaveRequest: lambda asked: saver.undo_save(asked.version),
            HistoryRequest: lambda _: saver.history(),
            UnsavedRequest: lambda asked: saver.unsaved_difference(asked.version),
            BackupRequest: self._backup,
            ReplaceRigRequest: lambda asked: remote_work.replace(asked.text, asked.where),
            RestoreRequest: lambda asked: remote_work.restore(asked.text, asked.where),
        }

    def _edit(self, plan: Callable[[Show, Any], tuple[Change, str] | Answer]) -> Handler:
        """The plan of an edit is made when no other edit is under way."""

        def edited(request: Request) -> Awaitable[Answer]:
            return self._session.edit(partial(plan, self._show, request))

        return edited

    async def _list(self, request: ListScenesRequest) -> Answer:
        engine = self._show.engine
        now = {scene.number for _, scene in engine.state.scenes_in_force()}
        scenes = [
            {
                "number": scene.number,
                "name": scene.name,
                "cue": scene.cue,
                "at": scene.at,
                "now": scene.number in now,
            }
            for scene in engine.rig.scenes
        ]
        return ScenesAnswer(text=counted(len(scenes), "scene"), scenes=scenes)

    async def _learn(self, request: LearnRequest) -> Answer:
        change = partial(scene_edits.add_control, control=request.control)
        return await self._saver.edit_and_save(lambda: (change, "the control works"))

    async def _put_sounds(self, request: SoundsRequest) -> Answer:
        try:
            count = await self._session.elsewhere(count_sounds, request.csv)
        except WorkGivenUp as fault:
            return refused(AnswerCode.NOT_POSSIBLE, f"reading the list was given up: {fault}; nothing was changed")
        if isinstance(count, Answer):
            return count
        return await self._session.edit(lambda: sounds_plan(self._show, request, count))

    async def _backup(self, request: BackupRequest) -> Answer:
        show, output = self._show, request.output
        if output is None:
            text, device = self._session.text, show.engine.state.compiled.remote.device
            return BackupAnswer(text="", rig=text, device=device)
        outputs = show.engine.rig.outputs
        if output not in outputs:
            return refused(AnswerCode.UNKNOWN_OUTPUT, no_such("output", output, outputs))
        try:
            blocks = await self._remote_work.send_backup((show.outputs.index(output),))
        except (ValueError, WorkGivenUp) as fault:
            return refused(AnswerCode.NOT_POSSIBLE, f"no backup was sent: {fault}")
        return done(f"the rig is being sent to {output} in {counted(len(blocks), 'block')}")


def _copy(show: Show, asked: CopySceneRequest) -> tuple[Change, str]:
    change = partial(scene_edits.copy_scene, number=asked.number, new=asked.new, name=asked.name)
    return change, f"scene {asked.number} copied to {asked.new}"


def _rename(show: Show, asked: RenameSceneRequest) -> tuple[Change, str]:
    following = scene_references.following_name(show.engine.rig, asked.number)
    change = partial(scene_edits.rename_scene, number=asked.number, name=asked.name)
    return change, f'scene {asked.number} renamed to "{asked.name}"{following}'


def _renumber(show: Show, asked: RenumberSceneRequest) -> tuple[Change, str]:
    following = scene_references.following_number(show.engine.rig, asked.number, asked.new)
    change = partial(scene_edits.renumber_scene, number=asked.number, new=asked.new)
    return change, f"scene {asked.number} renumbered to {asked.new}{following}"


def _move(show: Show, asked: MoveSceneRequest) -> tuple[Change, str]:
    place = f"before {asked.new}" if asked.new is not None else "to the end"
    change = partial(scene_edits.move_scene, number=asked.number, before=asked.new)
    return change, f"scene {asked.number} moved {place}"


def _delete(show: Show, asked: DeleteSceneRequest) -> tuple[Change, str]:
    left = scene_references.left(show.engine.rig, asked.number)
    return partial(scene_edits.delete_scene, number=asked.number), f"scene {asked.number} deleted{left}"


def _store(show: Show, asked: StoreSceneRequest) -> tuple[Change, str] | Answer:
    players = show.engine.state.compiled.players
    player = asked.player or players.scenes.get(asked.number, "")
    if player and player not in players.setlists:
        return refused(AnswerCode.UNKNOWN_PLAYER, f"{no_such('player', player, players.setlists)}; nothing changed")
    scene = show.engine.rig.scene(asked.number)
    following = scene_references.followers(show.engine.rig, asked.number)
    name = asked.name or (scene.name if scene is not None else f"Scene {asked.number}")
    played = scene_snapshot.played(show.engine, scene, player)
    lines, routes = (len(played[key]) for key in ("play", "routes"))
    sounds = sum("program" in step or "sound" in step for step in (*played["burst"], *played["play"]))
    change = partial(scene_edits.put_scene, number=asked.number, name=name, played=played)
    playing = [counted(lines, "line")] * bool(lines) + [counted(routes, "route", zero="no")] * bool(routes or not lines)
    stored = ", ".join((*playing, counted(sounds, "sound", zero="no")))
    return change, f"scene {asked.number} {name} stored: {stored}{following}"
