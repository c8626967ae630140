"""The whole router as a state machine: messages, recalls and time go in; deliveries come out.

Here commands are told from music: those of controls and of [remote]. `scenes` has what commands do, `router` the way of
a message. `due` says when `tick` is wanted.
"""

from engine.core.cable.output_cable import Delivery
from engine.core.control.controls import Command
from engine.core.control.remote_commands import carry_out
from engine.core.control.scenes import Scenes
from engine.midi.kinds import SYSEX
from engine.midi.message_words import describe


class Engine(Scenes):
    """A rig that routes and is commanded. Loop only."""

    def receive(self, now: int, source: int, message: bytes) -> list[Delivery]:
        """One whole message of input `source`."""
        out: list[Delivery] = []
        if self._hear(now, source, message, out):
            return out
        if self.sync.cues.recalls:
            self._recall_cues(now, out)
        board = self.boards[source]
        if board is not None and (taken := board.take(now, message, self.scene)) is not None:
            # a key whose press was routed, in another scene maybe, must not hang
            if taken.passes or self.ledger.is_down(source, message):
                self._route(now, source, message, out)
            for asked in taken.commands:
                self._obey_control(now, source, asked, describe(message), out)
            return out
        if source in self.remote_inputs and (request := self.remote.read(source, message)) is not None:
            if self.led_by is None:
                carry_out(self, now, source, request, message, out)
            return out
        if message[0] != SYSEX or source not in self.kept_back:
            self._route(now, source, message, out)
        return out

    def tick(self, now: int) -> list[Delivery]:
        """What has waited for this time."""
        out = super().tick(now)
        if self.sync.cues.recalls:
            self._recall_cues(now, out)
        for source, board in enumerate(self.boards):
            if board is not None and board.due is not None and board.due <= now:
                for asked in board.tick(now, self.scene):
                    self._obey_control(now, source, asked, "", out)
        return out

    def _obey_control(self, now: int, source: int, asked: Command, heard: str, out: list[Delivery]) -> None:
        """`heard`: the message that was heard last, in words."""
        if self.led_by is None:  # who leads has the same controls
            self.outcomes.append(self.obey(now, asked, f"{self.inputs[source]}, {asked.pressed or heard}", out))

    def _let_go(self, now: int, source: int) -> list[Delivery]:
        board = self.boards[source]
        if board is not None:
            board.forget()
        self._begin_anew(lambda at, path: at == source)
        return super()._let_go(now, source)

    def _dues(self) -> list[int]:
        dues = super()._dues()
        for board in self.boards:
            if board is not None and board.due is not None:
                dues.append(board.due)
        return dues
