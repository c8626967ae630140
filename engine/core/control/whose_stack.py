"""On whose stack a command acts: that of the player who is named, or the one that what it asks for belongs to."""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from engine.answer_codes import AnswerCode
from engine.core.commands import ChooseSetlist, ChooseSong, PlayerCommand, RecallScene, StackCommand
from engine.core.compiled import CompiledRig
from engine.rig.read.raw_data import no_such


class Refusal(NamedTuple):
    """Why a command cannot be carried out."""

    code: AnswerCode
    text: str


def whose_stack(compiled: CompiledRig, command: StackCommand) -> str | Refusal:
    """The player, "" for the rest of the rig; or why nobody can play this."""
    players, named = compiled.players, command.player
    if named and named not in players.setlists:
        text = f"{no_such('player', named, players.setlists)}; nothing changed"
        return Refusal(AnswerCode.UNKNOWN_PLAYER, text)
    if not players.setlists:
        return ""
    whose = players.whose(_asked(compiled, command))
    if not named or whose in (None, named):
        return named or whose or ""
    whose = f"plays inputs of {whose}" if whose else "plays inputs that are no player's"
    return Refusal(AnswerCode.NOT_POSSIBLE, f"{_what(command)} {whose}, not of {named}; nothing changed")


def for_players(compiled: CompiledRig, command: PlayerCommand, players: Sequence[str]) -> list[PlayerCommand]:
    """The command of a control that is for these players, one for each stack that it acts on.

    Of several players, what is one player's own is asked for that player alone.
    """
    if not isinstance(command, StackCommand):
        return [command]
    whose = compiled.players.whose(_asked(compiled, command)) if len(players) > 1 else None
    chosen = players if whose is None or whose not in players else (whose,)
    return [replace(command, player=each) for each in chosen]


def asked_of(compiled: CompiledRig, command: PlayerCommand, player: str) -> PlayerCommand:
    """The command of another machine whose input is this player's.

    It acts on the player's stack, as a control there does; but what is another player's is recalled for that one.
    """
    if not isinstance(command, StackCommand) or compiled.players.whose(_asked(compiled, command)) is not None:
        return command
    return replace(command, player=player)


def _asked(compiled: CompiledRig, command: StackCommand) -> Sequence[int]:
    """The scenes that a command asks for, if it names any that the rig has."""
    match command:
        case RecallScene(scene):
            number = compiled.find(scene)
            return () if number is None else (number,)
        case ChooseSong(song):
            return compiled.songs[song].numbers if song in compiled.songs else ()
        case ChooseSetlist(setlist):
            return compiled.setlists[setlist].numbers if setlist in compiled.setlists else ()
    return ()


def _what(command: StackCommand) -> str:
    match command:
        case RecallScene(scene):
            return f"scene {scene}"
        case ChooseSong(song):
            return f"song {song}"
        case ChooseSetlist(setlist):
            return f"set list {setlist}"
    return command.word
