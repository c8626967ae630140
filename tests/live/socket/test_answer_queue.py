"""Costly answers of an engine's socket: one at a time, and with rests. (Our own protocol; no outside source.)"""

import json

import pytest
import trio
import trio.testing

from engine.live.socket.answer_queue import AnswerQueue
from engine.protocol import Answer, ExplainRequest, Request, WrittenJson, done

ASKED = ExplainRequest(scene=1, input="keys", message="90 3C 40")


class SlowHandler:
    """Answers after `takes` seconds, and notes when it began, and how many it has in work."""

    def __init__(self, takes: float) -> None:
        self.takes = takes
        self.began: list[float] = []
        self.at_once = self.most_at_once = 0

    async def __call__(self, request: Request) -> Answer:
        self.began.append(trio.current_time())
        self.at_once += 1
        self.most_at_once = max(self.at_once, self.most_at_once)
        await trio.sleep(self.takes)
        self.at_once -= 1
        return done("done")


@pytest.mark.parametrize("paced", [False, True])
async def test_one_answer_is_made_at_a_time(autojump_clock: trio.testing.MockClock, paced: bool) -> None:
    """Of thirty that ask at once, paced or not, one after another is served."""
    queue, slow = AnswerQueue(), SlowHandler(0.1)
    async with trio.open_nursery() as nursery:
        for _ in range(15):
            nursery.start_soon(queue.answer, slow, ASKED, paced)
            nursery.start_soon(queue.answer, slow, ASKED, False)
    assert len(slow.began) == 30
    assert slow.most_at_once == 1


async def test_paced_answers_take_a_hundredth_of_the_time(autojump_clock: trio.testing.MockClock) -> None:
    """After an answer of 5 ms the next paced one waits 495 ms, after one of a minute 10 s; others do not wait."""
    queue, handler = AnswerQueue(), SlowHandler(0.005)
    start = trio.current_time()
    for takes in (0.005, 60.0, 0.005):
        handler.takes = takes
        await queue.answer(handler, ASKED, paced=True)
    assert [began - start for began in handler.began] == pytest.approx([0.0, 0.5, 70.5])
    await queue.answer(handler, ASKED, paced=False)
    assert handler.began[-1] - start == pytest.approx(70.505)


async def test_too_many_are_refused(autojump_clock: trio.testing.MockClock) -> None:
    """Of a hundred that ask at once, 32 are served and the others answered with "too-many"."""
    queue, handler, codes = AnswerQueue(), SlowHandler(0.01), []

    async def ask() -> None:
        codes.append(json.loads(await queue.answer(handler, ASKED, paced=True))["code"])

    async with trio.open_nursery() as nursery:
        for _ in range(100):
            nursery.start_soon(ask)
    assert (codes.count("done"), codes.count("too-many")) == (32, 68)
    assert len(handler.began) == 32


async def test_a_fault_leaves_the_queue_as_it_was(autojump_clock: trio.testing.MockClock) -> None:
    """A handler that raises ends its own request; those behind it are served."""
    queue, handler = AnswerQueue(), SlowHandler(0.01)

    async def fail(request: Request) -> Answer:
        raise RuntimeError("a mistake")

    for paced in (True, False):
        for _ in range(40):
            with pytest.raises(RuntimeError):
                await queue.answer(fail, ASKED, paced)
        assert json.loads(await queue.answer(handler, ASKED, paced))["done"]


async def test_written_json_is_passed_on_as_it_is() -> None:
    """What is JSON already becomes part of the answer, at any of its upper levels."""

    class Given(Answer):
        parts: dict[str, object]

    async def given(request: Request) -> Answer:
        return Given(text="é", parts={"a": WrittenJson('[1, {"b": 2}]'), "c": [WrittenJson("null"), "null"]})

    line = await AnswerQueue().answer(given, ASKED, paced=False)
    assert line.endswith(b"\n")
    assert json.loads(line)["parts"] == {"a": [1, {"b": 2}], "c": [None, "null"]}
