"""The pace of the socket, in virtual time. (Our own limits; no outside source.)"""

import trio
import trio.testing

from engine.live.socket.pace import ServicePace


async def test_a_few_are_served_at_once(autojump_clock: trio.testing.MockClock) -> None:
    """Who asks now and then never waits, however long ago the last request was."""
    pace = ServicePace(3, 10)
    for rest in (0.0, 0.0, 100.0, 0.0, 0.0):
        begin = trio.current_time()
        await pace.turn()
        assert trio.current_time() == begin
        await trio.sleep(rest)


async def test_many_are_served_at_a_limited_pace(autojump_clock: trio.testing.MockClock) -> None:
    """A hundred at once: three without a wait, the others ten per second, in their order."""
    pace, served = ServicePace(3, 10), []

    async def ask(number: int) -> None:
        await pace.turn()
        served.append((number, trio.current_time()))

    begin = trio.current_time()
    async with trio.open_nursery() as nursery:
        for number in range(100):
            nursery.start_soon(ask, number)
            await trio.lowlevel.checkpoint()
    assert [number for number, _ in served] == list(range(100))
    assert sum(at - begin < 0.05 for _, at in served) == 3
    assert round(served[-1][1] - begin, 6) == 9.7
