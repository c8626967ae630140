"""Dumps in one request and one answer, as a page asks for them. (Our own protocol; no outside source.)"""

from typing import Any

import trio
import trio.testing

from engine.live.gear.dump_requests import DumpRequests
from tests.support.answered import answered
from tests.support.sysex_stand import DUMP, ORGAN, SysexStand, playing


async def asked(stand: SysexStand, what: str, **more: object) -> dict[str, Any]:
    return await answered(DumpRequests(stand.gear).handlers, {"do": "dump", "what": what, **more})


async def test_a_dump_comes_in_one_answer(autojump_clock: trio.testing.MockClock) -> None:
    """All of its messages, once the gear is silent."""
    async with playing() as stand, trio.open_nursery() as nursery:

        async def play() -> None:
            for message in DUMP:
                await trio.sleep(1.5)  # a pause in the dump, shorter than the 2 s of silence that end it
                stand.bench.reader.put(ORGAN, message.hex())

        nursery.start_soon(play)
        answer = await asked(stand, "receive", input="organ")
        assert answer["done"], answer["text"]
        assert [bytes.fromhex(each) for each in answer["messages"]] == DUMP


async def test_what_is_too_long_is_for_the_terminal(autojump_clock: trio.testing.MockClock) -> None:
    """A dump without an end, or of more than 128 kB, is refused, and nothing of it is answered; so is silence."""
    for size, pause in ((10, 1.0), (60_000, 0.1)):
        async with playing() as stand, trio.open_nursery() as nursery:

            async def play(stand: SysexStand = stand, size: int = size, pause: float = pause) -> None:
                while True:
                    await trio.sleep(pause)
                    stand.bench.reader.put(ORGAN, bytes((0xF0, 0x7D, *[1] * size, 0xF7)).hex())

            nursery.start_soon(play)
            answer = await asked(stand, "receive", input="organ")
            assert (answer["code"], "messages" in answer) == ("not-possible", False)
            nursery.cancel_scope.cancel()
    async with playing() as stand:
        assert "nothing came from organ within 15 seconds" in (await asked(stand, "receive", input="organ"))["text"]


async def test_a_dump_is_sent(autojump_clock: trio.testing.MockClock) -> None:
    """Whole; of one that takes too long, the answer says how much has gone out."""
    async with playing() as stand:
        answer = await asked(stand, "send", output="organ", messages=[message.hex() for message in DUMP])
        assert answer["done"], answer["text"]
        assert [message for _, message in stand.cable] == DUMP
        long = [bytes((0xF0, 0x7D, *[2] * 1000, 0xF7)).hex()] * 100  # 32 s on a MIDI cable
        part = await asked(stand, "send", output="organ", messages=long)
        assert not part["done"]
        assert 60 < part["messages"] < 90
