"""The messages of those actions of controls that send in words, made ready when the rig is compiled."""

from collections.abc import Mapping

from engine.core.cable.program_burst import receiver
from engine.midi.setup_words import set_up
from engine.rig.models.actions import ActionTable
from engine.rig.models.rig import Rig

#: by action, the output and what it is sent
Sendings = Mapping[ActionTable, tuple[str, tuple[bytes, ...]]]


def sendings(rig: Rig) -> Sendings:
    """The messages of all actions of a rig that send in words."""
    tables = (each for control in rig.controls for each in control.actions if isinstance(each, ActionTable))
    return {table: _sending(rig, table) for table in tables if table.send}


def _sending(rig: Rig, table: ActionTable) -> tuple[str, tuple[bytes, ...]]:
    output, to = receiver(rig, table.on, table.to)
    return output, tuple(message for line in table.send for message in set_up(line, to).messages)
