"""What the actions of a control command: each becomes a command of plain values."""

from collections.abc import Mapping
from typing import Final

from engine.core.commands import (
    ChooseSetlist,
    ChooseSong,
    ControlClock,
    ControlTimecode,
    FirstScene,
    MuteRoute,
    NextScene,
    NextSong,
    Panic,
    PlayerCommand,
    PreviousScene,
    PreviousSong,
    RecallScene,
    Resend,
    SendPreset,
    TapTempo,
    ToggleRoute,
    Transpose,
    UnmuteRoute,
)
from engine.core.control.control_matching import Contact
from engine.core.control.worded_actions import Sendings
from engine.rig.models.actions import ActionTable
from engine.rig.models.control import Control

#: the commands of words that need nothing more
_PLAIN: Final[Mapping[str, PlayerCommand]] = {
    each.word: each
    for each in (
        *(NextScene(), PreviousScene(), FirstScene(), NextSong(), PreviousSong()),
        *(Panic(), Resend(), TapTempo()),
    )
}


def commands_of(control: Control, contact: Contact, sendings: Sendings) -> list[PlayerCommand]:
    """What a control commands, in its order, when it is pressed by this contact."""
    return [
        _of_word(control, each, contact) if isinstance(each, str) else _of_table(each, sendings)
        for each in control.actions
    ]


def _of_word(control: Control, word: str, contact: Contact) -> PlayerCommand:
    """A scene that the control does not name is the one of the number that the message carries."""
    if word == "scene" and control.scene is None:
        assert isinstance(contact.number, int), "only programs and songs carry a number"
        return RecallScene(contact.number + 1)  # programs and songs count from 1
    if word == "scene" and control.scene is not None:
        return RecallScene(control.scene)
    if word in ("mute", "unmute") and control.route is not None:
        return (MuteRoute if word == "mute" else UnmuteRoute)(control.route)
    if word == "send" and control.output is not None:
        return SendPreset(control.output, control.messages)
    part, _, what = word.partition(" ")
    if part in ("clock", "timecode"):
        return (ControlClock if part == "clock" else ControlTimecode)(what)
    return _PLAIN[word]


def _of_table(action: ActionTable, sendings: Sendings) -> PlayerCommand:
    if action.send:
        return SendPreset(*sendings[action])
    if action.scene is not None:
        return RecallScene(action.scene)
    if action.song is not None:
        return ChooseSong(action.song)
    if action.transpose is not None:
        return Transpose(action.transpose)
    if action.setlist is not None:
        return ChooseSetlist(action.setlist)
    if action.tempo is not None:
        return ControlClock("tempo", action.tempo)
    for kind, route in ((MuteRoute, action.mute), (UnmuteRoute, action.unmute), (ToggleRoute, action.toggle)):
        if route is not None:
            return kind(route)
    raise TypeError(f"there is no command for {action}")
