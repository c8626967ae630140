"""Lights and displays at a machine that lends its outputs: whoever leads, they show what the status says."""

from collections.abc import Callable
from functools import partial
from random import Random
from typing import Any, Final

import pytest

from engine.core.commands import MuteRoute, NextScene, PlayerCommand, PreviousScene, Resend, Transpose, UnmuteRoute
from engine.live.socket.status import status
from tests.live.test_standby_players import players_rig
from tests.support.foot_controller import FootController
from tests.support.standby_world import World

LIGHTS: Final = """
[[tallies]]
to = "brass"
when = { player = "anna", scene = 22 }
on = "B0 14 7F"
off = "B0 14 00"
[[tallies]]
to = "brass"
when = { route = "strings" }
on = "B0 15 7F"
off = "B0 15 00"
[[displays]]
to = "brass"
player = "anna"
show = "F0 7D 01 {scene.name:8}{next.name:8} F7"
"""
PLAYERS: Final = ("", "anna", "ben")


class _Stage:
    """The world, and the gear at `brass`; `agrees` compares it with the status of whoever leads."""

    def __init__(self, rng: Random) -> None:
        self.world, self.rng = World(players_rig() + LIGHTS), rng
        self.gear, self._heard = FootController(), 0
        for player in PLAYERS:
            self._command(NextScene(player=player))
        self.hear()

    def _leader(self) -> str:
        (name,) = self.world.leaders()
        return name

    def _command(self, command: PlayerCommand) -> None:
        self.world.engines[self._leader()].show.apply(command, "shell")
        self.world.run(70)

    def command(self) -> None:
        """Somebody's."""
        of = partial(self.rng.choice, PLAYERS)
        made: list[Callable[[], PlayerCommand]] = [
            *(lambda: NextScene(player=of()), lambda: PreviousScene(player=of()), lambda: Resend(player=of())),
            *(lambda: Transpose(self.rng.choice((1, -1)), player=of()), lambda: MuteRoute("strings")),
            lambda: UnmuteRoute("strings"),
        ]
        self._command(self.rng.choice(made)())

    def take_over(self) -> None:
        """The leader gives the show away, or dies and is started again. The gear may be told everything again."""
        name = self._leader()
        self.hear()
        self.gear.things.clear()
        if self.rng.random() < 0.5:
            self.world.engines[name].standby.give_away(self.world.now)
            self.world.run(400)
        else:
            self.world.kill(name)
            self.world.run(300)
            self.world.start(name)
            self.world.run(1500)

    def hear(self) -> None:
        """What has reached the gear."""
        sent = self.world.owner.sent
        self.gear.take(message for _, output, message in sent[self._heard :] if output == "brass")
        self._heard = len(sent)

    def agrees(self) -> None:
        """It shows what the status says, and was told nothing twice."""
        self.hear()
        assert self.gear.things == _expected(status(self.world.engines[self._leader()].show))
        assert self.gear.again == []


def _expected(said: dict[str, Any]) -> dict[object, bytes]:
    anna = said["players"]["anna"]
    lit = said["scene"]["number"] == 1 and "strings" not in said["muted_routes"]
    coming = anna["next"]["name"] if anna["next"] is not None else ""
    text = f"{anna['scene']['name'][:8]:8}{coming[:8]:8}"
    return {
        b"\xb0\x14": bytes((0xB0, 0x14, 0x7F * (anna["scene"]["number"] == 22))),
        b"\xb0\x15": bytes((0xB0, 0x15, 0x7F * lit)),
        b"\xf0\x7d\x01": b"\xf0\x7d\x01" + text.encode() + b"\xf7",
    }


@pytest.mark.slow
def test_lights_agree_with_the_status_after_commands_and_takeovers() -> None:
    """After each random command of any player, hand-over and death of the engine in charge."""
    rng = Random(1913)
    stage = _Stage(rng)
    for number in range(60):
        if number % 8 == 7:
            stage.take_over()
        else:
            stage.command()
        stage.agrees()
