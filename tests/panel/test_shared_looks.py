"""What browsers ask to look at: the engine is asked once for all, at one pace. (Our own; no outside source.)"""

import json
from collections.abc import Callable
from functools import partial
from itertools import pairwise
from typing import Any

import pytest
import trio
from trio.testing import MockClock

from engine.panel import shared_looks
from engine.panel.engine_socket import EngineUnanswered
from engine.panel.paired_browsers import Role
from engine.panel.shared_looks import SharedLooks
from engine.protocol import row_of

Facts = dict[str, Any]


class Looks:
    """Shared looks at an engine that answers each request after `takes` seconds."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.asked: list[Facts] = []
        self.at: list[float] = []
        self.at_once = self.most_at_once = 0
        self.takes = 0.001
        self.answered: Callable[[Facts], str] = lambda request: json.dumps({"done": True, "of": request})
        self.situation: Facts = {"revision": 100, "unsaved": False, "muted_routes": []}
        self.shared = SharedLooks("pit", lambda: dict(self.situation))
        monkeypatch.setattr(shared_looks, "ask", self._ask)

    async def _ask(self, engine: str, request: Facts, patience: float) -> str:
        self.asked.append(request)
        self.at.append(trio.current_time())
        self.at_once += 1
        self.most_at_once = max(self.at_once, self.most_at_once)
        try:
            await trio.sleep(self.takes)
        finally:
            self.at_once -= 1
        return self.answered(request)

    async def ask(self, role: Role = "view", **request: Any) -> Any:
        return json.loads(await self.shared.answer(request, row_of(request), role))


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch) -> Looks:
    """Looks at an engine of the test's own."""
    return Looks(monkeypatch)


async def test_one_answer_serves_all_browsers(autojump_clock: MockClock, looks: Looks) -> None:
    """Of three hundred requests for the rig one reaches the engine, and every browser gets the answer."""
    got: list[Any] = []

    async def look() -> None:
        for _ in range(10):
            got.append(await looks.ask(do="rig"))

    async with trio.open_nursery() as nursery:
        for _ in range(30):
            nursery.start_soon(look)
    assert looks.asked == [{"do": "rig"}]
    assert got == [{"done": True, "of": {"do": "rig"}}] * 300


@pytest.mark.parametrize("changed", [{"revision": 101}, {"unsaved": True}, {"muted_routes": ["brass"]}])
async def test_an_answer_holds_until_the_rig_changes(autojump_clock: MockClock, looks: Looks, changed: Facts) -> None:
    """Another revision, a save or a mute, and the engine is asked again, once."""
    for _ in range(3):
        await looks.ask(do="explain", scene=1, input="keys", message="90 3C 40")
    looks.situation |= changed
    for _ in range(3):
        await looks.ask(do="explain", scene=1, input="keys", message="90 3C 40")
    assert len(looks.asked) == 2


async def test_no_answer_is_kept_while_the_revision_is_unknown(autojump_clock: MockClock, looks: Looks) -> None:
    """While the engine is not followed, an answer may be out of date, so the engine is asked, at the pace."""
    looks.situation = {}
    for _ in range(3):
        await looks.ask(do="rig")
    assert len(looks.asked) == 3


async def test_state_and_ports_are_asked_once_a_second(autojump_clock: MockClock, looks: Looks) -> None:
    """`status` and `ports` serve every browser for a second, whatever the rig does."""
    for _ in range(20):
        await looks.ask(do="ports")
        await looks.ask(do="status")
        await trio.sleep(0.1)
        looks.situation["revision"] += 1
    assert len(looks.asked) in (4, 6)


async def test_requests_that_are_all_different_go_at_one_pace(autojump_clock: MockClock, looks: Looks) -> None:
    """Thirty browsers that ask 300 different things: one at a time reaches the engine, and twenty per second."""

    async def look(browser: int) -> None:
        for number in range(10):
            await looks.ask(do="differences", first=browser, second=number)

    async with trio.open_nursery() as nursery:
        for browser in range(30):
            nursery.start_soon(look, browser)
    assert looks.most_at_once == 1
    assert len(looks.asked) == 300
    assert all(later - at >= 0.05 for at, later in pairwise(looks.at))
    first_turns = [asked["first"] for asked in looks.asked[:30]]
    assert len(set(first_turns)) == 30, "each browser has one turn before any has two"


async def test_refused_requests_go_at_the_same_pace(autojump_clock: MockClock, looks: Looks) -> None:
    """What the engine refuses is not kept, and is asked no faster than the rest."""
    looks.answered = lambda _: json.dumps({"done": False, "text": "there is no scene 99"})
    async with trio.open_nursery() as nursery:
        for number in range(10):
            nursery.start_soon(lambda: looks.ask(do="explain", scene=99))
            nursery.start_soon(partial(looks.ask, do="explain", scene=100 + number))
    assert len(looks.at) == 20
    assert looks.at[-1] - looks.at[0] >= 19 * 0.05


async def test_who_operates_goes_before_who_looks(autojump_clock: MockClock, looks: Looks) -> None:
    """A browser that operates waits for one look at the most, however many others wait."""
    order: list[str] = []

    async def look(role: Role, number: int) -> None:
        await looks.ask(role, do="differences", first=number, second=1)
        order.append(role)

    async with trio.open_nursery() as nursery:
        for number in range(20):
            nursery.start_soon(look, "view", number)
        await trio.sleep(0.06)
        done = len(order)
        nursery.start_soon(look, "operate", 100)
    assert order.index("operate") - done <= 2


async def test_ports_that_hang_hold_up_nothing_else(autojump_clock: MockClock, looks: Looks) -> None:
    """While the list of ports takes half a minute, the rig is answered."""
    looks.takes = 20.0
    async with trio.open_nursery() as nursery:
        nursery.start_soon(lambda: looks.ask(do="ports"))
        await trio.sleep(1.0)
        looks.takes = 0.001
        started = trio.current_time()
        await looks.ask(do="rig")
        assert trio.current_time() - started < 1.0


@pytest.mark.parametrize(("since", "asked"), [(99, 99), (96, 96), (95, None), (101, None), ("99", None), (-5, None)])
async def test_few_differences_are_asked_for(
    autojump_clock: MockClock, looks: Looks, since: object, asked: int | None
) -> None:
    """A browser up to four revisions behind gets the difference, any other the whole rig."""
    await looks.ask(do="rig", since=since)
    assert looks.asked == [{"do": "rig"} if asked is None else {"do": "rig", "since": asked}]


async def test_a_long_request_is_refused_here(autojump_clock: MockClock, looks: Looks) -> None:
    """A request of more than 8,000 characters does not reach the engine."""
    answer = await looks.ask(do="explain", scene=1, input="keys", message="9" * 9000)
    assert (answer["done"], answer["code"]) == (False, "bad-request")
    assert looks.asked == []


async def test_what_is_kept_has_a_limit(
    autojump_clock: MockClock, looks: Looks, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The oldest answers go when there are too many, and with another revision all that were kept before."""
    monkeypatch.setattr(shared_looks, "_MOST_KEPT", 1000)
    for number in range(100):
        await looks.ask(do="differences", first=number, second=1)
    assert 0 < sum(len(each.text) for each in looks.shared._kept.values()) < 1000
    looks.situation["revision"] += 1
    await looks.ask(do="differences", first=1, second=1)
    assert len(looks.shared._kept) == 1


async def test_an_engine_that_does_not_answer_leaves_the_turns(autojump_clock: MockClock, looks: Looks) -> None:
    """Whoever asks after a failure asks again, and is answered."""

    def fail(_: Facts) -> str:
        raise EngineUnanswered("no engine")

    looks.answered, usual = fail, looks.answered
    for role in ("view", "operate"):
        with pytest.raises(EngineUnanswered):
            await looks.ask(role, do="rig")
    looks.answered = usual
    assert (await looks.ask(do="rig"))["done"]


async def test_what_is_no_json_is_not_kept(autojump_clock: MockClock, looks: Looks) -> None:
    """A program in the engine's place that answers nonsense is asked again."""
    looks.answered = lambda _: "hello"
    for _ in range(2):
        assert await looks.shared.answer({"do": "rig"}, row_of({"do": "rig"}), "view") == "hello"
    assert len(looks.asked) == 2


async def test_large_answers_are_handed_out_at_one_pace(autojump_clock: MockClock, looks: Looks) -> None:
    """Thirty browsers get a whole rig of a megabyte one after another, five per second; small answers do not wait."""
    looks.answered = lambda request: json.dumps({"done": True, "rig": "x" * 1_000_000 * (request["do"] == "rig")})
    got: list[float] = []

    async def look() -> None:
        await looks.ask(do="rig")
        got.append(trio.current_time())

    async with trio.open_nursery() as nursery:
        for _ in range(30):
            nursery.start_soon(look)
        await trio.sleep(1.0)
        started = trio.current_time()
        await looks.ask(do="differences", first=1, second=2)
        assert trio.current_time() - started < 0.1
    assert len(looks.asked) == 2
    assert all(later - at > 0.19 for at, later in pairwise(got))


async def test_a_trace_that_has_to_rest_holds_up_no_rig(autojump_clock: MockClock, looks: Looks) -> None:
    """While the engine rests before it traces a guest's message, the rig after an edit comes at once."""
    looks.takes = 10.0
    async with trio.open_nursery() as nursery:
        nursery.start_soon(partial(looks.ask, do="explain", scene=1, input="keys", message="90 3C 40"))
        await trio.sleep(0.1)
        looks.takes = 0.001
        began = trio.current_time()
        await looks.ask("operate", do="rig")
        assert trio.current_time() - began < 0.1
