"""Which connection gives way when there are too many: no stranger can lock out who has paired, nor the player."""

from collections.abc import Iterator
from contextlib import AsyncExitStack, ExitStack
from pathlib import Path

import pytest
import trio
from trio.testing import MockClock

from engine.panel import connections
from engine.panel.paired_browsers import Role
from engine.panel.places import Place, Places
from tests.support.panel_ends import DEADLINE, Ends, end_on_network, panel


@pytest.fixture
def network(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Connections from 127.0.0.2 and up seem to come from other machines."""
    monkeypatch.setattr(connections, "end_of", end_on_network)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))


class Room:
    """Places, and who has taken some."""

    def __init__(self) -> None:
        self.places = Places()
        self.taken = ExitStack()

    def come(self, address: str, role: Role | None = None, here: bool = False) -> Place:
        """A connection is made; its first request shows `role`. Each comes 10 ms after the last."""
        self._clock().jump(0.01)
        place = self.taken.enter_context(self.places.taken(address, here))
        if role is not None:
            self.places.show(place, role)
        return place

    def _clock(self) -> MockClock:
        clock = trio.lowlevel.current_clock()
        assert isinstance(clock, MockClock)
        return clock


@pytest.fixture
def room() -> Iterator[Room]:
    """An empty one."""
    made = Room()
    with made.taken:
        yield made


def _stays(places: list[Place]) -> int:
    return sum(not place.scope.cancel_called for place in places)


async def test_an_address_has_eight(mock_clock: MockClock, room: Room) -> None:
    """A ninth connection takes the place of the one that has been silent longest; this machine may have more."""
    first, second, *others = [room.come("192.0.2.7") for _ in range(8)]
    first.heard()
    ninth = room.come("192.0.2.7")
    assert second.scope.cancel_called
    assert _stays([first, *others, ninth]) == 8
    assert _stays([room.come("127.0.0.1", here=True) for _ in range(20)]) == 20


async def test_of_an_address_those_that_are_not_paired_give_way_first(mock_clock: MockClock, room: Room) -> None:
    """A live socket behind a shared address is not pushed out by whoever else is there, however silent it is."""
    live = room.come("192.0.2.7", "operate")
    strangers = [room.come("192.0.2.7") for _ in range(50)]
    assert not live.scope.cancel_called
    assert _stays(strangers) == 7


async def test_of_an_address_those_between_two_requests_give_way_at_once(mock_clock: MockClock, room: Room) -> None:
    """A browser with two windows keeps its idle connections for a while: they give way to its third window."""
    windows = [room.come("192.0.2.7", "operate") for _ in range(2)]
    for window in windows:
        window.stay()
    used = [room.come("192.0.2.7", "operate") for _ in range(6)]
    for connection in used:
        connection.rest()
    third = room.come("192.0.2.7")
    assert _stays(windows) == 2
    assert _stays(used) == 5
    assert not third.scope.cancel_called


async def test_strangers_take_places_from_strangers_alone(mock_clock: MockClock, room: Room) -> None:
    """Forty connections are open to those that are not paired; those of the greediest address give way first, so a
    newcomer with one of its own keeps it. Whoever has paired is not touched."""
    player, guest = room.come("192.0.2.1", "operate"), room.come("192.0.2.2", "view")
    here = room.come("127.0.0.1", here=True)
    attack = [room.come(f"198.51.100.{machine}") for machine in range(12) for _ in range(8)]
    phone = room.come("192.0.2.3")
    attack += [room.come(f"198.51.100.{machine}") for machine in range(12) for _ in range(8)]
    assert _stays(attack) == 39
    assert _stays([player, guest, here, phone]) == 4


async def test_guests_take_no_place_of_those_who_operate(mock_clock: MockClock, room: Room) -> None:
    """Twenty connections are open to paired browsers that may only look."""
    player = room.come("192.0.2.1", "operate")
    guests = [room.come(f"198.51.100.{machine}", "view") for machine in range(12) for _ in range(4)]
    assert _stays(guests) == 20
    assert not player.scope.cancel_called


async def _closed(stream: trio.SocketStream) -> bool:
    with trio.fail_after(DEADLINE):
        try:
            return await stream.receive_some(1) == b""
        except trio.BrokenResourceError:
            return True


def _unfinished(ends: Ends) -> bytes:
    head = f"POST /pair HTTP/1.1\r\nHost: {ends.host}\r\nOrigin: http://{ends.host}\r\nContent-Length: 99\r\n\r\n"
    return head.encode() + b"code="


@pytest.mark.slow
@pytest.mark.usefixtures("network")
async def test_unfinished_requests_lock_nobody_out(tmp_path: Path) -> None:
    """One machine with 80 forms that never end keeps eight of them, for ten seconds; meanwhile a phone pairs, gets the
    page and a live socket, and so does the player."""
    async with panel(tmp_path) as player, AsyncExitStack() as opened:
        attacker, ends = player.as_phone(2), player.as_phone(3)
        held = [await opened.enter_async_context(await attacker.stream()) for _ in range(80)]
        for stream in held[-8:]:
            await stream.send_all(_unfinished(attacker))
        for stream in held[:-8]:
            assert await _closed(stream)
        async with ends.live(await ends.paired("operate")) as phone, player.live() as own:
            assert await phone.hear() == await own.hear() == {"role": "operate"}
        began = trio.current_time()
        for stream in held[-8:]:
            while trio.current_time() < began + DEADLINE:
                try:  # a byte now and then, as if the form were still coming
                    await stream.send_all(b"A")
                except trio.BrokenResourceError:
                    break
                await trio.sleep(0.5)
        assert [await _closed(stream) for stream in held[-8:]] == [True] * 8


@pytest.mark.usefixtures("network")
async def test_http_2_is_not_spoken(tmp_path: Path) -> None:
    """HTTP/2 would carry any number of requests on one connection (RFC 9113): such a connection ends unanswered."""
    async with panel(tmp_path) as player, await (ends := player.as_phone(2)).stream() as stream:
        # the preface (section 3.4), empty settings, and the headers of GET / by the static table (RFC 7541, A)
        headers = bytes.fromhex("82 84 86 41") + bytes((len(ends.host),)) + ends.host.encode()
        frame = len(headers).to_bytes(3, "big") + bytes.fromhex("01 05 00 00 00 01") + headers
        await stream.send_all(b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + bytes.fromhex("00 00 00 04 00 00 00 00 00") + frame)
        raw = b""
        with trio.fail_after(DEADLINE):
            while piece := await stream.receive_some():
                raw += piece
        assert b"Bayleaf" not in raw
        assert b":status" not in raw
        # no frame of the server is a HEADERS frame, which an answer begins with
        kinds = []
        while raw:
            kinds.append(raw[3])
            raw = raw[9 + int.from_bytes(raw[:3], "big") :]
        assert 1 not in kinds
