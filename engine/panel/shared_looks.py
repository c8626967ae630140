"""What browsers ask to look at, asked of the engine once for all of them.

An answer serves every browser until the rig or a mute changes, or for a second. What the engine must be asked goes
there at one pace, and one request of a kind at a time, however many browsers look.
"""

import contextlib
import json
from collections.abc import AsyncIterator, Callable
from typing import Final, NamedTuple

import trio

from engine.panel.engine_socket import ask
from engine.panel.frame_merging import Facts
from engine.panel.paired_browsers import Role
from engine.protocol import AnswerCode, Row, refused

_PATIENCE: Final = 30.0  # seconds that an answer may take
_PACE: Final = 0.05  # seconds between an answer and the next request
_LARGE: Final = 1 << 16  # characters of an answer that is handed out in turn
_FLOW: Final = 5e6  # characters per second of these: packing them is the panel's largest work
_SECOND: Final = 1.0
_LONGEST: Final = 8000  # characters of a request
_MOST_KEPT: Final = 16 << 20  # characters of all answers that are kept
_BACK: Final = 4  # revisions; a browser that is further behind gets the whole rig


class LookTurns:
    """Turns of browsers. One that operates waits for one that looks at the most; each waits here once at a time."""

    def __init__(self) -> None:
        self._lookers = trio.Lock()
        self._turn = trio.Lock()
        self._free_at = 0.0

    @contextlib.asynccontextmanager
    async def turn(self, role: Role) -> AsyncIterator[None]:
        """For the time of the block."""
        async with self._lookers if role != "operate" else contextlib.nullcontext(), self._turn:
            yield

    async def rested(self) -> None:
        """Until the rest that was last asked for is over. In one's turn."""
        await trio.sleep_until(self._free_at)

    def rest(self, seconds: float) -> None:
        """From now on."""
        self._free_at = trio.current_time() + seconds


class KeptAnswer(NamedTuple):
    """An answer, the situation that it holds in, and when it was asked for."""

    text: str
    situation: Facts
    at: float


class SharedLooks:
    """Answers that serve every browser of a panel."""

    def __init__(self, engine: str, situation: Callable[[], Facts]) -> None:
        """`engine`: its name; `situation`: the revision and what else answers depend on, empty if it is not known."""
        self._engine = engine
        self._situation = situation
        self._turns: dict[str, LookTurns] = {}
        self._large = LookTurns()
        self._kept: dict[str, KeptAnswer] = {}  # the oldest first

    async def answer(self, request: Facts, row: Row, role: Role) -> str:
        """The engine's answer, one JSON object. Raises EngineUnanswered."""
        answer = await self._shared(self._bounded(request), row, role)
        if len(answer) > _LARGE:
            async with self._large.turn(role):
                await self._large.rested()
                self._large.rest(len(answer) / _FLOW)
        return answer

    async def _shared(self, request: Facts, row: Row, role: Role) -> str:
        wanted = json.dumps(request, sort_keys=True)
        if len(wanted) > _LONGEST:
            sentence = f"a request to look at something has at most {_LONGEST:,} characters; nothing was done"
            return json.dumps(refused(AnswerCode.BAD_REQUEST, sentence).plain())
        # what may hang, or rest in the engine for seconds, has turns of its own: it holds up no rig
        own = row.serves == "second" or row.cost == "paced"
        turns = self._turns.setdefault(request["do"] if own else "", LookTurns())
        if (known := self._known(wanted, row)) is not None:
            return known
        async with turns.turn(role):
            if (known := self._known(wanted, row)) is not None:  # another browser has asked meanwhile
                return known
            await turns.rested()
            situation, now = self._situation(), trio.current_time()
            try:
                answer = await ask(self._engine, request, _PATIENCE)
            finally:
                turns.rest(_PACE)
            if _is_done(answer):
                self._keep(wanted, KeptAnswer(answer, situation, now))
            return answer

    def _bounded(self, request: Facts) -> Facts:
        """A browser that is far behind asks for the whole rig, so that few answers serve all."""
        since, now = request.get("since"), self._situation().get("revision")
        if request["do"] != "rig" or now is None or (type(since) is int and 0 <= now - since <= _BACK):
            return request
        return {key: value for key, value in request.items() if key != "since"}

    def _known(self, wanted: str, row: Row) -> str | None:
        kept = self._kept.get(wanted)
        if kept is None:
            return None
        if row.serves == "revision":
            holds = bool(kept.situation) and kept.situation == self._situation()
        else:
            holds = trio.current_time() - kept.at < _SECOND
        return kept.text if holds else None

    def _keep(self, wanted: str, answer: KeptAnswer) -> None:
        """And drop what was kept in another situation, and the oldest if there is too much."""
        others = (item for item in self._kept.items() if item[0] != wanted)
        kept = {text: each for text, each in others if each.situation == answer.situation}
        kept[wanted] = answer
        size = sum(len(text) + len(each.text) for text, each in kept.items())
        while size > _MOST_KEPT:
            oldest = next(iter(kept))
            size -= len(oldest) + len(kept.pop(oldest).text)
        self._kept = kept


def _is_done(answer: str) -> bool:
    try:
        said = json.loads(answer)
    except ValueError:
        return False
    return isinstance(said, dict) and said.get("done") is True
