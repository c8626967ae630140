"""Carries out what another machine commands by MIDI; what needs files or threads is left for the show."""

from typing import Final

from engine.core.cable.output_cable import Delivery
from engine.core.command_result import CommandResult
from engine.core.commands import ControlTimecode, NextScene, Panic, PlayerCommand, PreviousScene, RecallScene
from engine.core.control.command_execution import CommandExecution
from engine.core.control.remote_messages import RemoteRequest, answer_reply, read_own, routing_reply, scene_reply
from engine.core.control.request_budget import RequestBudget
from engine.core.control.show_commands import SHOW_COMMANDS, ShowCommands
from engine.core.control.whose_stack import asked_of
from engine.core.routing.outputs import Outputs
from engine.core.state import State
from engine.rig.lowering.lowered_scene import Lowering

MOST_WAITING: Final = 4096  # requests that wait for the show, of all inputs; a large rig has a hundred blocks
REQUESTS_A_SECOND: Final = 300  # of one input, blocks aside: a DIN cable carries no more of our own
REQUESTS_AT_ONCE: Final = 64
_COMPLAIN: Final = 1_000_000_000  # ns between two sentences about it
_SHARE: Final = 2  # replies take one half of a paced cable
_REPLIES_AHEAD: Final = 2_000_000_000  # ns of such a cable's time that replies may be ahead
_FREE: Final = frozenset(("bank", "block"))  # these cost no more than any message

_TIME: Final = {"play": "start", "halt": "stop", "locate": "locate"}
_PLAIN: Final[dict[str, PlayerCommand]] = {"next": NextScene(), "back": PreviousScene(), "panic": Panic()}


class RemoteCommands:
    """Times in nanoseconds; what is to be handed to the drivers now is appended to `out`."""

    def __init__(self, state: State, outputs: Outputs, players: CommandExecution) -> None:
        self._state, self._outputs, self._players = state, outputs, players
        self._show = ShowCommands(state, players)
        self._budgets: dict[tuple[int, bool], RequestBudget] = {}  # by input; a panic is counted apart
        self._complained_at: dict[int, int] = {}  # ns, by input
        self._replied_until: dict[int, int] = {}  # ns, by output

    def take(self, now: int, source: int, message: bytes, out: list[Delivery]) -> bool:
        """Carry out what this message asks for; False if it asks for nothing.

        The answer goes to the outputs of [remote], the result to the reports.
        """
        state = self._state
        request = state.remote.read(source, message)
        if request is None:
            return False
        if state.led_by is None and self._may_ask(now, source, request.do):
            outcomes = self._outcomes(now, source, request, out)
            state.reports.outcomes += outcomes
            own = read_own(message)
            for outcome in outcomes if own is not None else ():
                assert own is not None
                reply = answer_reply(state.compiled.remote.device, own.command, outcome.done, outcome.text)
                self._reply(now, reply, out)
        return True

    def _outcomes(self, now: int, source: int, request: RemoteRequest, out: list[Delivery]) -> list[CommandResult]:
        state, do = self._state, request.do
        name, device, stack = state.compiled.inputs[source], state.compiled.remote.device, state.stack_of[source]
        command = _PLAIN.get(do)
        if do == "scene" and request.scene is not None:
            command = RecallScene(request.scene)
        elif do in _TIME:
            command = ControlTimecode(_TIME[do], _text(request))
        if command is not None:
            return [self._players.obey(now, asked_of(state.compiled, command, stack.name), name, out)]
        if do in SHOW_COMMANDS:
            return self._show.obey(now, do, _text(request), name, stack, out)
        scene = stack.in_force
        if do == "ask scene":
            self._reply(now, scene_reply(device, *(scene or (None, ""))), out)
        elif do == "ask routing":
            self._reply(now, routing_reply(device, scene[0] if scene else None, self._pairs()), out)
        elif do != "bank":
            if len(state.reports.requests) < MOST_WAITING:
                state.reports.requests.append((source, request))
            else:
                self._complain(now, source, f"more than {MOST_WAITING} requests wait; what comes now is ignored")
        return []

    def _may_ask(self, now: int, source: int, do: str) -> bool:
        """Whether this input has not asked for too much lately: each request may cost a scene change."""
        if do in _FREE:
            return True
        asker = source, do == "panic"
        if asker not in self._budgets:
            self._budgets[asker] = RequestBudget(REQUESTS_A_SECOND, REQUESTS_AT_ONCE)
        if self._budgets[asker].admits(now):
            return True
        self._complain(now, source, f"more than {REQUESTS_A_SECOND} requests per second; some are ignored")
        return False

    def _complain(self, now: int, source: int, text: str) -> None:
        if now - self._complained_at.get(source, now - _COMPLAIN) >= _COMPLAIN:
            self._complained_at[source] = now
            self._state.reports.news.append((self._state.compiled.inputs[source], text))

    def _reply(self, now: int, message: bytes, out: list[Delivery]) -> None:
        reply_to = self._state.compiled.remote.reply_to
        self._outputs.put(now, ((output, message) for output in reply_to if self._may_reply(now, output, message)), out)

    def _may_reply(self, now: int, output: int, message: bytes) -> bool:
        """Whether a reply keeps to its share of a paced cable, so that music is never behind a long row of them."""
        speed = self._state.cables[output].speed
        if speed is None:
            return True
        paid = max(self._replied_until.get(output, now), now)
        if paid - now > _REPLIES_AHEAD:
            return False
        self._replied_until[output] = paid + _SHARE * speed.cost(message)
        return True

    def _pairs(self) -> list[tuple[int, int]]:
        """Inputs and outputs that routes of the scenes in force connect, by their places in the rig file from 1."""
        state, rig = self._state, self._state.compiled.rig
        inputs, outputs = list(rig.inputs), list(rig.outputs)
        lowering = Lowering(rig)
        scenes = [whole for _, scene in state.scenes_in_force() if (whole := rig.scene(scene.number)) is not None]
        of_scenes = (route for scene in scenes for route in lowering.lowered(scene).routes)
        routes = (*lowering.routes(rig.routes, "route"), *of_scenes)
        found = {
            (inputs.index(source) + 1, outputs.index(target) + 1)
            for route in routes
            if state.muted.isdisjoint((route.name, route.group))
            for source in route.source
            for target in route.to
        }
        return sorted(found)


def _text(request: RemoteRequest) -> str | None:
    return request.data if isinstance(request.data, str) else None
