"""Open Sound Control, from outside with python-osc. Sources: OSC 1.0 specification; the commands are our own."""

import random
import re
import socket
import struct
import time
from collections.abc import AsyncIterator
from functools import partial
from itertools import pairwise
from typing import Any

import pytest
import trio
import trio.testing
from pythonosc.osc_bundle import OscBundle
from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder
from pythonosc.udp_client import SimpleUDPClient

from engine.core.command_codec import decode
from engine.core.commands import Command, FirstScene, RecallScene
from engine.core.compiled import compile_rig
from engine.live.show import Show
from engine.live.socket.osc import COMMANDS_A_SECOND, COMMANDS_AT_ONCE, FURTHEST, MOST_WAITING, OscServer, Sender
from engine.live.socket.osc_facts import everything
from engine.rig.models.control import Osc
from tests.support.players_rig import PLAYERS
from tests.support.small_show import MS, RIG, Bench
from tests.support.waiting import eventually

HERE = "127.0.0.1"
WALL = 1_795_000_000.0  # seconds since 1970
SINCE_1900 = 2_208_988_800  # seconds: RFC 868
NAMED = RIG.replace('{ from = "keys", to = "strings" }', '{ from = "keys", to = "strings", name = "pads" }')


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind((HERE, 0))
        return int(probe.getsockname()[1])


def bench(more: str = "port = 9310") -> Bench:
    """A show in scene 1 with [osc]."""
    made = Bench(f"{NAMED}\n[osc]\n{more}\n")
    made.show.apply(RecallScene(1), "shell")
    made.heard("strings")
    made.told()
    return made


def _osc(made: Bench) -> Osc:
    assert made.show.engine.rig.osc is not None
    return made.show.engine.rig.osc


def message(address: str, *values: str | bool | int | float) -> bytes:
    builder = OscMessageBuilder(address=address)
    for value in values:
        builder.add_arg(value)
    return builder.build().dgram


def bundle(*contents: bytes, at: int = IMMEDIATELY) -> bytes:
    builder = OscBundleBuilder(at)
    for content in contents:
        builder.add_content(OscMessage(content))
    return builder.build().dgram


def tag(seconds: float) -> int:
    """The time tag of so many seconds after WALL (OSC 1.0: seconds since 1900, and a fraction of 32 bits)."""
    return round((WALL + SINCE_1900 + seconds) * 2**32)


def bundle_at(when: int, *contents: bytes) -> bytes:
    """A bundle with this time tag."""
    return b"#bundle\0" + struct.pack(">Q", when) + b"".join(struct.pack(">i", len(each)) + each for each in contents)


def server_of(made: Bench) -> OscServer:
    """Its wall clock is at WALL."""
    return OscServer(made.show, lambda: WALL)


def take(server: OscServer, data: bytes, host: str = HERE) -> list[bytes]:
    """The replies to a datagram of this host."""
    return server.take(data, (host, 5000))


def said(replies: list[bytes]) -> list[tuple[object, ...]]:
    return [(OscMessage(reply).address, *OscMessage(reply).params) for reply in replies]


# From outside


class Far:
    """A python-osc client in the show's own trio run; its blocking calls run in threads."""

    def __init__(self, client: SimpleUDPClient) -> None:
        self._client = client

    async def send(self, data: OscBundle) -> None:
        """Send a bundle."""
        await trio.to_thread.run_sync(self._client.send, data)

    async def ask(self, address: str, *values: object, until: str = "/bayleaf/now") -> list[tuple[object, ...]]:
        """Send, and wait for the reply that gives the scene, or for another one."""
        await trio.to_thread.run_sync(self._client.send_message, address, list(values))
        found: list[tuple[object, ...]] = []
        with trio.fail_after(20):
            while not found or found[-1][0] != until:
                data = await trio.to_thread.run_sync(partial(self._client.receive, 20))
                found += said([data])
        return found


async def listening(made: Bench) -> None:
    """Wait until the show has reported that the port is open."""
    await eventually(lambda: any(name == "osc" for name, _ in made.told()))


@pytest.fixture
async def served(nursery: trio.Nursery) -> AsyncIterator[Any]:
    """The show and a client connected to it."""
    port = free_port()
    made = bench(f"port = {port}")
    nursery.start_soon(OscServer(made.show).run)
    await listening(made)
    client = SimpleUDPClient(HERE, port)
    with client:
        yield made, Far(client)


async def test_a_client_from_outside_is_obeyed_and_answered(served: tuple[Bench, Far]) -> None:
    """Recall, next, back, mute, panic and state work over a socket, and each gets a reply with its result."""
    made, far = served
    assert await far.ask("/bayleaf/state") == [("/bayleaf/now", 1, "Overture")]
    assert await far.ask("/bayleaf/scene", 3) == [("/bayleaf/answer", "scene 3 Finale"), ("/bayleaf/now", 3, "Finale")]
    assert (await far.ask("/bayleaf/scene", "March"))[1] == ("/bayleaf/now", 2, "March")
    assert (await far.ask("/bayleaf/next"))[1] == ("/bayleaf/now", 3, "Finale")
    assert "the end of" in str((await far.ask("/bayleaf/next"))[0][1])
    assert (await far.ask("/bayleaf/back"))[1] == ("/bayleaf/now", 2, "March")
    assert (await far.ask("/bayleaf/mute", "pads"))[0] == ("/bayleaf/answer", "pads muted")
    assert made.show.engine.state.muted == {"pads"}
    assert (await far.ask("/bayleaf/unmute", "pads"))[0] == ("/bayleaf/answer", "pads plays again")
    for said in ("pads muted", "pads plays again"):
        assert (await far.ask("/bayleaf/toggle", "pads"))[0] == ("/bayleaf/answer", said)
    assert str((await far.ask("/bayleaf/panic"))[0][1]).startswith("panic:")
    assert "there is no instrument" in str((await far.ask("/bayleaf/panic", "organ"))[0][1])
    assert made.show.engine.scene == (2, "March")


async def test_commands_are_reported_with_their_source(served: tuple[Bench, Far]) -> None:
    """Each command is reported with the address that it came from."""
    made, far = served
    made.told()
    await far.ask("/bayleaf/scene", 3)
    assert any(f"osc {HERE}" in f"{name} {text}" and "Finale" in text for name, text in made.told())


async def test_noise_on_the_socket_leaves_it_open(served: tuple[Bench, Far]) -> None:
    """After meaningless datagrams, the next command is still carried out."""
    made, far = served
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        for data in (b"", b"\x00" * 9000, NEGATIVE, b"/bayleaf/next"):
            other.sendto(data, (HERE, _osc(made).port))
    assert (await far.ask("/bayleaf/state")) == [("/bayleaf/now", 1, "Overture")]


async def test_a_flood_of_datagrams_is_read_at_a_pace(
    served: tuple[Bench, Far], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a hundred datagrams at once, whoever sent them, each is looked at a millisecond after the one before."""
    made, far = served
    looked_at: list[float] = []

    def take(self: OscServer, data: bytes, sender: Sender) -> list[bytes]:
        looked_at.append(trio.current_time())
        return usual(self, data, sender)

    usual = OscServer.take
    monkeypatch.setattr(OscServer, "take", take)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        for _ in range(100):
            other.sendto(b"noise", (HERE, _osc(made).port))
    assert await far.ask("/bayleaf/state") == [("/bayleaf/now", 1, "Overture")]
    assert len(looked_at) > 1
    assert all(later - at >= 0.001 for at, later in pairwise(looked_at))


async def test_a_port_that_is_taken_is_reported_once_and_costs_nothing(
    nursery: trio.Nursery, autojump_clock: trio.testing.MockClock
) -> None:
    """If another program has the port, that is reported once, and the show plays on."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind((HERE, 0))
        made = bench(f"port = {other.getsockname()[1]}")
        nursery.start_soon(OscServer(made.show).run)
        await trio.sleep(60)
    assert [text for name, text in made.told() if name == "osc" and "is not available" in text] != []
    assert made.show.apply(RecallScene(2), "shell").done
    nursery.cancel_scope.cancel()


# Which datagrams are carried out


def test_off_by_default() -> None:
    """A rig without [osc] opens no OSC port; with it, only this machine can send to it."""
    plain = Bench(NAMED)
    assert plain.show.engine.rig.osc is None
    assert take(OscServer(plain.show), message("/bayleaf/next")) == []
    osc = bench().rig.osc
    assert osc is not None
    assert (osc.listen, osc.allow) == (HERE, (HERE,))


def test_only_addresses_on_the_list() -> None:
    """An address that is not on the list gets no answer and changes nothing; one on the list is obeyed."""
    made = bench('port = 9310\nlisten = "0.0.0.0"\nallow = ["192.0.2.7", "2001:DB8::0007"]')
    server = OscServer(made.show)
    for stranger in (HERE, "192.0.2.8", "2001:db8::8", ""):
        assert take(server, message("/bayleaf/scene", 3), stranger) == []
        assert made.show.engine.scene == (1, "Overture")
    for friend in ("192.0.2.7", "2001:db8::7"):
        assert said(take(server, message("/bayleaf/state"), friend)) == [("/bayleaf/now", 1, "Overture")]


@pytest.mark.parametrize("when", [0, 1, tag(-0.001), tag(-3600), tag(0)])
def test_bundles_are_carried_out_in_order(when: int) -> None:
    """The messages of a bundle without a time, or with one that is past, are carried out in order and at once, nested
    ones too (OSC 1.0, Bundles)."""
    made = bench()
    data = bundle_at(when, message("/bayleaf/scene", 3), bundle_at(1, message("/bayleaf/back")))
    for each in (data, bundle_at(1, data)):
        replies = said(take(server_of(made), each))
        assert [reply[1:] for reply in replies if reply[0] == "/bayleaf/now"] == [(3, "Finale"), (2, "March")]


def due(server: OscServer) -> list[tuple[object, ...]]:
    """What is answered to what was due."""
    return [reply for replies, _ in server.take_due() for reply in said(replies)]


def test_a_bundle_is_carried_out_at_its_time() -> None:
    """A bundle with a time tag is carried out then and not before; one within it never before it (OSC 1.0)."""
    made = bench()
    server = server_of(made)
    inner = bundle_at(tag(1), message("/bayleaf/scene", 2))
    data = bundle_at(tag(2.5), message("/bayleaf/scene", 3), inner)
    assert take(server, bundle_at(tag(1.5), message("/bayleaf/scene", 2))) == []
    assert take(server, data) == []
    for now, scene in ((1499, 1), (1500, 2), (2499, 2), (2500, 2)):
        made.now = now * MS
        answers = due(server)
        assert made.show.engine.scene is not None
        assert made.show.engine.scene[0] == scene
    assert [each[1] for each in answers if each[0] == "/bayleaf/now"] == [3, 2]


def test_time_tags_go_on_after_2036() -> None:
    """Time tags begin again at 0 in February 2036; a bundle of then is kept for its time (RFC 5905, 6)."""
    made, wall = bench(), 2**32 - SINCE_1900 - 1.0
    server = OscServer(made.show, lambda: wall)
    assert take(server, bundle_at(2**32, message("/bayleaf/scene", 3))) == []
    made.now = 1999 * MS
    assert due(server) == []
    made.now = 2000 * MS
    assert due(server)[1] == ("/bayleaf/now", 3, "Finale")


def test_what_waits_is_bounded() -> None:
    """A bundle too far ahead, or one message too many, is refused in words; all that waits already is carried out."""
    made = bench()
    server = server_of(made)
    ((_, text),) = said(take(server, bundle_at(tag(FURTHEST + 1), message("/bayleaf/scene", 3))))
    assert text == "a time more than 60 s ahead is not kept; nothing changed"
    for at in range(MOST_WAITING):
        assert take(server, bundle_at(tag(1 + at / 1000), message("/bayleaf/scene", 2 + at % 2))) == []
    ((_, text),) = said(take(server, bundle_at(tag(1), message("/bayleaf/scene", 3))))
    assert text == "more than 64 messages would wait; nothing changed"
    made.now = 2000 * MS
    assert len(due(server)) == 2 * MOST_WAITING


def test_an_address_that_is_no_longer_allowed_is_not_obeyed_later() -> None:
    """What waits for its time is not carried out if its sender is taken off the list meanwhile."""
    made = bench('port = 9310\nallow = ["192.0.2.7"]')
    server = server_of(made)
    assert take(server, bundle_at(tag(1), message("/bayleaf/scene", 3)), "192.0.2.7") == []
    made.show.adopt(compile_rig(bench().rig, after=made.show.engine.state.compiled), "")
    made.now = 2000 * MS
    assert due(server) == []
    assert made.show.engine.scene == (1, "Overture")


# Buttons and values


@pytest.mark.parametrize("values", [(), (1,), (1.0,), (True,)])
def test_a_button_acts_when_it_is_pressed(values: tuple[bool | int | float, ...]) -> None:
    """Without a value, and with 1, 1.0 or true, a command acts."""
    made = bench()
    assert said(take(server_of(made), message("/bayleaf/next", *values)))[1] == ("/bayleaf/now", 2, "March")


@pytest.mark.parametrize("value", [0, 0.0, -0.0, False])
def test_a_button_does_nothing_when_it_is_released(value: bool | int | float) -> None:
    """0, 0.0 and false are the button's release: nothing changes, and nothing is answered."""
    made = bench()
    for do in ("next", "back", "first", "panic", "resend", "tap", "state", "all"):
        assert take(server_of(made), message(f"/bayleaf/{do}", value)) == []
    assert made.show.engine.scene == (1, "Overture")
    assert made.told() == []


def test_scene_numbers_come_as_any_number() -> None:
    """A scene number may be an int32 or a float32; a name is a string."""
    made = bench()
    for value, scene in ((3.0, 3), (2, 2), ("Finale", 3), ("2", 2)):
        assert said(take(server_of(made), message("/bayleaf/scene", value)))[1][1] == scene


def test_songs_set_lists_and_transposition() -> None:
    """A surface moves through the songs, chooses one or a set list, and transposes; a button's release does nothing."""
    songs = "".join(
        f'[[songs]]\nname = "{name}"\nscenes = [{scene}]\n' for name, scene in (("Market", 2), ("Night", 3))
    )
    lists = (
        '[[setlists]]\nname = "Friday"\nsongs = ["Market", "Night"]\n[[setlists]]\nname = "Saturday"\nscenes = [3, 1]\n'
    )
    made = Bench(f"{NAMED.replace('format = 1', 'format = 2')}\n{songs}{lists}[osc]\nport = 9310\n")
    made.show.apply(RecallScene(1), "shell")
    server, engine = server_of(made), made.show.engine
    for word, values, scene in (
        ("song", ("Night",), 3),
        ("back_song", (1.0,), 2),
        ("back_song", (0.0,), 2),
        ("next_song", (), 3),
    ):
        take(server, message(f"/bayleaf/{word}", *values))
        assert engine.state.main.scene is not None
        assert engine.state.main.scene.number == scene
    for word, values, step in (
        ("transpose", (2,), 2),
        ("transpose", (0,), 2),
        ("transpose", (-1.0,), 1),
        ("transpose_off", (True,), 0),
    ):
        take(server, message(f"/bayleaf/{word}", *values))
        assert engine.state.main.step == step
    take(server, message("/bayleaf/setlist", "Saturday"))
    assert engine.state.main.setlist.name == "Saturday"
    listed = [
        each
        for each in said([*everything(made.show, made.show.engine.state.main)])
        if each[0] in ("/bayleaf/song_now", "/bayleaf/song_listed")
    ]
    assert listed == [
        ("/bayleaf/song_now", "Night"),
        ("/bayleaf/song_listed", "Market"),
        ("/bayleaf/song_listed", "Night"),
    ]


def test_a_query_answers_all_that_a_surface_draws() -> None:
    """`all` is answered with the scene in force, what comes next, tempo and clock, the set list with its scenes, and
    the named routes with their mutes; the last message says that it is complete."""
    made = bench()
    server = server_of(made)
    assert take(server, message("/bayleaf/mute", "pads")) != []
    assert said([*everything(made.show, made.show.engine.state.main)]) == [
        ("/bayleaf/now", 1, "Overture"),
        ("/bayleaf/coming", 2, "March"),
        ("/bayleaf/tempo", 0.0),
        ("/bayleaf/song_now", ""),
        ("/bayleaf/transposed", 0),
        ("/bayleaf/cue", ""),
        ("/bayleaf/text", ""),
        ("/bayleaf/running", False),
        ("/bayleaf/order", "", 1, 3),
        ("/bayleaf/listed", 1, 1, "Overture"),
        ("/bayleaf/listed", 2, 2, "March"),
        ("/bayleaf/listed", 3, 3, "Finale"),
        ("/bayleaf/route", "pads", True),
        ("/bayleaf/complete",),
    ]


async def test_a_surface_draws_itself(served: tuple[Bench, Far]) -> None:
    """A client from outside gets the whole answer to `all`, and a command between is obeyed."""
    _, far = served
    found = await far.ask("/bayleaf/all", 1.0, until="/bayleaf/complete")
    assert [each[0] for each in found][-2:] == ["/bayleaf/route", "/bayleaf/complete"]
    assert ("/bayleaf/listed", 3, 3, "Finale") in found


async def test_a_bundle_from_outside_waits_for_its_time(served: tuple[Bench, Far]) -> None:
    """A bundle that python-osc builds with a time is carried out at that time, and not before."""
    made, far = served
    builder = OscBundleBuilder(round(time.time()) + 30)
    builder.add_content(OscMessage(message("/bayleaf/scene", 3)))
    await far.send(builder.build())
    assert await far.ask("/bayleaf/state") == [("/bayleaf/now", 1, "Overture")]
    made.now += 31_000 * MS
    with trio.fail_after(20):
        while await far.ask("/bayleaf/state") != [("/bayleaf/now", 3, "Finale")]:
            pass


# Too much


def test_a_flood_of_commands_is_cut() -> None:
    """Of 1,000 commands per second 64 at once and then 300 per second are carried out; the player reads it once per
    second; a panic in the flood is carried out."""
    made = bench()
    server = server_of(made)
    obeyed = 0
    for at in range(4000):
        made.now = at * MS
        obeyed += bool(take(server, message("/bayleaf/scene", 2 + at % 2)))
    assert obeyed in range(COMMANDS_AT_ONCE + 4 * COMMANDS_A_SECOND - 3, COMMANDS_AT_ONCE + 4 * COMMANDS_A_SECOND + 3)
    texts = [text for name, text in made.told() if name == "osc"]
    assert set(texts) == {"more than 300 commands per second; some are ignored"}
    assert len(texts) <= 4
    assert str(said(take(server, message("/bayleaf/panic")))[0][1]).startswith("panic:")


def test_a_datagram_has_at_most_64_messages() -> None:
    """A datagram with more messages is ignored as a whole."""
    made = bench()
    next_one = message("/bayleaf/first")
    assert take(server_of(made), bundle_at(1, *[next_one] * 65)) == []
    assert len(take(server_of(made), bundle_at(1, *[next_one] * 64))) == 128


SOUND = message("/bayleaf/scene", 3)
NEGATIVE = b"#bundle\0" + struct.pack(">Qi", 1, -4)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"/",
        b"#bundle\0",
        b"#bundle\0" + bytes(7),
        NEGATIVE,
        b"#bundle\0" + struct.pack(">Qi", 1, 0),
        b"#bundle\0" + struct.pack(">Qi", 1, len(SOUND) + 4) + SOUND,
        b"#bundle\0" + struct.pack(">Qi", 1, len(SOUND)) + SOUND + b"\0\0",
        b"#bundle\0" + struct.pack(">Qi", 1, len(SOUND)) + SOUND + struct.pack(">i", 4) + b"oops",
        SOUND[:-1],
        SOUND + bytes(4),
        SOUND[:-8] + b",x\0\0" + SOUND[-4:],
        b"/bayleaf/next\0\0\0,x\0\0",
        b"/bayleaf/next\0\0\0",
        b"/bayleaf/next\0\0\1,\0\0\0",
        message("/elsewhere/next"),
        message("/bayleaf/*"),
        message("/bayleaf/scene", 3.0)[:-1],
        message("/bayleaf/scene")[:-4] + b",I\0\0",
        message("/bayleaf/scene")[:-4] + b",N\0\0",
        message("/bayleaf/scene", "3\x1b[2J"),
        message("/bayleaf/mute", "x" * 4096),
        b"\xff" * 64,
    ],
)
def test_what_is_not_wholly_in_order_asks_for_nothing(data: bytes) -> None:
    """No part of a malformed or foreign datagram is carried out, and it gets no answer."""
    made = bench()
    assert take(OscServer(made.show), data) == []
    assert made.show.engine.scene == (1, "Overture")
    assert made.show.own_faults == 0


def test_bundles_too_deep_ask_for_nothing() -> None:
    """A bundle nested deeper than is useful is ignored, not followed until the stack overflows."""
    data = SOUND
    while len(data) < 4000:
        data = b"#bundle\0" + struct.pack(">Qi", 1, len(data)) + data
    assert take(OscServer(bench().show), data) == []


@pytest.mark.parametrize(
    ("address", "values"),
    [
        ("scene", ()),
        ("scene", (1, 2)),
        ("scene", (2.5,)),
        ("scene", (float("inf"),)),
        ("scene", (float("nan"),)),
        ("scene", (True,)),
        ("next", (2,)),
        ("next", (0.5,)),
        ("next", ("1",)),
        ("next", (1, 1)),
        ("mute", (7,)),
        ("mute", (True,)),
        ("state", (2,)),
        ("transpose", (25,)),
        ("transpose", ("1",)),
        ("song", (1,)),
        ("nowhere", ()),
    ],
)
def test_wrong_values_are_answered_and_change_nothing(address: str, values: tuple[int, ...]) -> None:
    """An unknown command or one with the wrong values changes nothing, and the answer says so."""
    made = bench()
    ((where, text),) = said(take(OscServer(made.show), message(f"/bayleaf/{address}", *values)))
    assert where == "/bayleaf/answer"
    assert f"/bayleaf/{address} is not a command, or takes other values; nothing changed" == text
    assert made.told() == []


def test_unknown_scenes_and_routes() -> None:
    """A scene, song, set list or route that the rig does not have changes nothing, and the answer says so."""
    made = bench()
    named = [message(f"/bayleaf/{what}", "none") for what in ("scene", "song", "setlist", "mute", "unmute")]
    for data in (message("/bayleaf/scene", 99), *named):
        answer, now = said(take(OscServer(made.show), data))
        assert "there is no" in str(answer[1])
        assert now == ("/bayleaf/now", 1, "Overture")


def test_replies_are_not_answered() -> None:
    """A reply that comes back is ignored, so that two engines never answer each other for ever."""
    made = bench()
    server = OscServer(made.show)
    for data in (message("/bayleaf/scene", 2), message("/bayleaf/state"), message("/bayleaf/scene")):
        replies = [*take(server, data), *everything(made.show, made.show.engine.state.main)]
        assert len(replies) > 9
        assert [take(server, reply) for reply in replies] == [[]] * len(replies)


# Random datagrams


def understood(data: bytes, ahead: bool = False) -> list[tuple[str, list[object]]] | None:
    """The messages of a datagram, read from OSC 1.0 alone; None if it is malformed or not all ours.

    Of a bundle that is for later (`ahead`) the messages are called "later".
    """
    if not data.startswith(b"#bundle\0"):
        one = understood_one(data)
        return None if one is None else [("later", [])] if ahead else [one]
    found, rest = [], data[16:]
    if len(data) < 16:
        return None
    when = int.from_bytes(data[8:16])
    ahead = ahead or (when > 1 and 0 < (when - tag(0)) % 2**64 < 2**63)
    while rest:
        size = int.from_bytes(rest[:4], signed=True)
        if len(rest) < 4 or size <= 0 or size % 4 or size > len(rest) - 4:
            return None
        inner = understood(rest[4 : 4 + size], ahead)
        if inner is None:
            return None
        found += inner
        rest = rest[4 + size :]
    return found


def text(data: bytes) -> tuple[str, bytes]:
    """A text and the bytes after it; ValueError if it is not padded with zeros to a multiple of four."""
    end = data.index(0)
    size = end // 4 * 4 + 4
    if len(data) < size or any(data[end:size]):
        raise ValueError
    return data[:end].decode(), data[size:]


def understood_one(data: bytes) -> tuple[str, list[object]] | None:
    try:
        address, data = text(data)
        tags, data = text(data)
        values: list[object] = []
        if not tags.startswith(","):
            return None
        for each in tags[1:]:
            if each == "i" and len(data) >= 4:
                values.append(int.from_bytes(data[:4], signed=True))
                data = data[4:]
            elif each == "f" and len(data) >= 4:
                values += struct.unpack(">f", data[:4])
                data = data[4:]
            elif each in "TF":
                values.append(each == "T")
            elif each == "s":
                value, data = text(data)
                if not value.isprintable():
                    return None
                values.append(value)
            else:
                return None
    except ValueError:
        return None
    name = address.removeprefix("/bayleaf/")
    ours = address.startswith("/bayleaf/") and re.fullmatch("[a-z_]+", name) is not None
    return (name, values) if ours and not data else None


def asked_for(data: bytes) -> list[Command]:
    """The commands that a datagram should give to the show."""
    calls: list[Command] = []
    for name, values in understood(data) or []:
        if name in ("next", "back", "first", "panic", "resend", "tap") and values in ([], [1]):
            calls.append(decode(name, {}))
        elif name in ("next_song", "back_song") and values in ([], [1]):
            calls.append(decode(name.replace("_", " "), {}))
        elif name == "transpose_off" and values in ([], [1]):
            calls.append(decode("transpose", {"step": 0}))
        elif name == "transpose" and len(values) == 1 and type(values[0]) in (int, float):
            calls += [decode(name, {"step": step}) for step in range(-24, 25) if step and step == values[0]]
        elif name == "setlist" and len(values) == 1 and isinstance(values[0], str):
            calls.append(decode(name, {name: values[0]}))
        elif name == "scene" and len(values) == 1 and not isinstance(values[0], bool):
            scene = values[0]
            if isinstance(scene, float):
                if not scene.is_integer():
                    continue
                scene = int(scene)
            if scene in (1, 2, 3, "1", "2", "3", "Overture", "March", "Finale"):
                calls.append(decode(name, {name: scene}))
        elif name in ("mute", "unmute", "toggle") and len(values) == 1 and isinstance(values[0], str):
            calls.append(decode(name, {"route": values[0]}))
        elif name == "panic" and len(values) == 1 and isinstance(values[0], str):
            calls.append(decode(name, {"instrument": values[0]}))
    return calls


def noise(chance: random.Random, valid: list[bytes]) -> bytes:
    """Random bytes, or a valid datagram with a few bytes changed, lost, doubled or added."""
    if chance.random() < 0.2:
        return chance.choice((b"", b"/bayleaf/", b"#bundle\0", b"#bundle\0" + bytes(8))) + chance.randbytes(
            chance.randrange(24)
        )
    data = bytearray(chance.choice(valid))
    for _ in range(chance.randrange(4)):
        place = chance.randrange(len(data) + 1)
        put = chance.choice((bytes(4), chance.randbytes(1), chance.randbytes(4), data[:4], b"\xff\xff\xff\xfc"))
        data[place : place + chance.choice((0, 1, 4))] = put[: chance.choice((0, 1, 4))]
    return bytes(data)


def watch_calls(monkeypatch: pytest.MonkeyPatch, show: Show, calls: list[Command]) -> None:
    """Write down each command the show is given, and carry it out."""
    apply = show.apply

    def watched_apply(command: Command, who: str) -> object:
        calls.append(command)
        return apply(command, who)

    monkeypatch.setattr(show, "apply", watched_apply)


@pytest.mark.slow
def test_nothing_but_valid_datagrams_is_obeyed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 10,000 random and damaged datagrams exactly the valid ones are carried out; none causes a fault."""
    made = bench()
    show, server = made.show, server_of(made)
    calls: list[Command] = []
    watch_calls(monkeypatch, show, calls)
    valid = [message("/bayleaf/" + do) for do in ("next", "back", "first", "panic", "resend", "tap", "state")]
    songs = [message("/bayleaf/" + do) for do in ("next_song", "transpose_off")]
    songs += [
        message("/bayleaf/transpose", 2),
        message("/bayleaf/setlist", "Friday"),
        message("/bayleaf/song", "Market"),
    ]
    valid += [message("/bayleaf/scene", 2), message("/bayleaf/scene", "Finale")]
    valid += [message("/bayleaf/mute", "pads"), message("/bayleaf/unmute", "pads"), message("/bayleaf/scene", 1.0)]
    songs += [message("/bayleaf/toggle", "pads"), message("/bayleaf/panic", "piano")]
    valid += [bundle(*valid[:2]), bundle(valid[7], valid[9]), message("/bayleaf/answer", "done")]
    valid += [message("/bayleaf/next", 1.0), message("/bayleaf/next", True), message("/bayleaf/next", 0.0)]
    valid += [bundle_at(tag(0), valid[0]), bundle_at(tag(1), valid[1]), *songs]
    chance, obeyed = random.Random(1997), 0
    for _ in range(10_000):
        data = noise(chance, valid)
        made.now += 10 * MS
        before = (show.engine.scene, set(show.engine.state.muted), show.engine.state.main.setlist.place)
        take(server, data)
        expected = asked_for(data)
        assert calls == expected, data
        if not expected:
            assert (show.engine.scene, show.engine.state.muted, show.engine.state.main.setlist.place) == before
        obeyed += bool(expected)
        calls.clear()
        made.heard("strings")
        made.heard("brass")
    assert show.own_faults == 0
    assert 1_000 < obeyed < 9_000  # enough valid and enough invalid ones were tried


def test_a_players_surface_puts_their_name_first() -> None:
    """/bayleaf/anna/next acts on Anna's scenes alone, and is answered with them; panic and mutes have no player."""
    made = Bench(f"{PLAYERS}[osc]\nport = 9310\n")
    for player in ("", "anna", "ben"):
        made.show.apply(FirstScene(player=player), "shell")
    server = server_of(made)
    assert said(take(server, message("/bayleaf/anna/next"))) == [
        ("/bayleaf/answer", "anna: scene 22 Lament"),
        ("/bayleaf/anna/now", 22, "Lament"),
    ]
    assert said(take(server, message("/bayleaf/anna/scene", 31)))[0] == (
        "/bayleaf/answer",
        "scene 31 plays inputs of ben, not of anna; nothing changed",
    )
    assert said(take(server, message("/bayleaf/ben/state"))) == [("/bayleaf/ben/now", 31, "Tremolo")]
    assert said(take(server, message("/bayleaf/scene", 32)))[1] == ("/bayleaf/ben/now", 32, "Unison")
    assert said(take(server, message("/bayleaf/scene", 1)))[1] == ("/bayleaf/now", 1, "Overture")
    for wrong in ("carl/next", "anna/panic", "anna/mute"):
        reply = said(take(server, message(f"/bayleaf/{wrong}")))
        assert [each[0] for each in reply] == ["/bayleaf/answer"]
        assert str(reply[0][1]).endswith("nothing changed")
    assert take(server, message("/bayleaf/anna/next", 0)) == []
    assert take(server, message("/bayleaf/anna/now", 5, "echo")) == []
    assert take(server, message("/bayleaf/anna/ben/next")) == []
    assert made.show.engine.scene == (1, "Overture")


def test_a_players_surface_draws_itself() -> None:
    """All that it needs: the player's set list instead of the rest's."""
    show = Bench(PLAYERS).show
    show.apply(FirstScene(player="anna"), "shell")
    found = said([*everything(show, show.engine.state.stacks["anna"])])
    assert [each for each in found if "listed" in str(each[0]) or "order" in str(each[0])] == [
        ("/bayleaf/anna/order", "Anna, act 1", 1, 2),
        ("/bayleaf/anna/listed", 1, 21, "Fanfare"),
        ("/bayleaf/anna/listed", 2, 22, "Lament"),
    ]
