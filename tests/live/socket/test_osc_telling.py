"""What the addresses in `tell` of [osc] are sent."""

import socket
from contextlib import closing

import pytest
import trio
from pythonosc.osc_message import OscMessage

from engine.core.commands import ChooseSong, FirstScene, FollowLeader, NextScene, RecallScene, Transpose
from engine.core.compiled import compile_rig
from engine.live.socket.osc_telling import OscTelling
from tests.support.players_rig import PLAYERS
from tests.support.small_show import MS, RIG, Bench

HERE = "127.0.0.1"
CLOCK = '[sync.clock]\nfrom = "internal"\nto = ["brass"]\n'
FIRST, SECOND = "192.0.2.7:9000", "[2001:db8::7]:9001"


def bench(*tell: str, more: str = "") -> Bench:
    """A show in scene 1 that tells these addresses."""
    listed = ", ".join(f'"{each}"' for each in tell)
    made = Bench(f"{RIG.replace('format = 1', 'format = 2')}\n{CLOCK}[osc]\nport = 9310\ntell = [{listed}]\n{more}")
    made.show.apply(RecallScene(1), "shell")
    return made


def told(telling: OscTelling) -> list[tuple[object, ...]]:
    """What is to be sent now: (address, word, values)."""
    messages = [(address, OscMessage(message)) for address, message in telling.take()]
    return [(address, each.address.removeprefix("/bayleaf/"), *each.params) for address, each in messages]


def test_each_change_is_told_once() -> None:
    """At the start everything is told, and after that what has changed, to each address, and nothing twice."""
    made = bench(FIRST, SECOND)
    telling = OscTelling(made.show)
    begun = [("now", 1, "Overture"), ("coming", 2, "March"), ("tempo", 120.0), ("song_now", ""), ("transposed", 0)]
    assert told(telling) == [(address, *fact) for address in (FIRST, SECOND) for fact in begun]
    assert told(telling) == []
    made.show.apply(NextScene(), "shell")
    changed = [("now", 2, "March"), ("coming", 3, "Finale")]
    assert told(telling) == [(address, *fact) for address in (FIRST, SECOND) for fact in changed]
    made.show.apply(RecallScene(1), "shell")
    made.show.apply(RecallScene(3), "shell")
    assert told(telling)[:2] == [(FIRST, "now", 3, "Finale"), (FIRST, "coming", 0, "")]
    made.now += 1000 * MS
    assert told(telling) == []


def test_a_new_address_is_told_everything() -> None:
    """An edit that adds an address tells it everything, and those that were there only what changes."""
    made = bench(FIRST)
    telling = OscTelling(made.show)
    told(telling)
    made.show.adopt(compile_rig(bench(FIRST, SECOND).rig, after=made.show.engine.state.compiled), "")
    assert [each[0] for each in told(telling)] == [SECOND] * 5
    made.show.adopt(compile_rig(Bench().rig, after=made.show.engine.state.compiled), "")
    assert told(telling) == []


def test_songs_and_transposition_are_told() -> None:
    """The song in force and how far song and foot transpose are sent when they change, like everything else."""
    songs = '[[songs]]\nname = "Market"\ntranspose = 2\nscenes = [2]\n[[setlists]]\nname = "Friday"\nscenes = [1, 2]\n'
    made = bench(FIRST, more=songs)
    telling = OscTelling(made.show)
    told(telling)
    made.show.apply(ChooseSong("Market"), "shell")
    assert told(telling)[2:] == [(FIRST, "song_now", "Market"), (FIRST, "transposed", 2)]
    made.show.apply(Transpose(-3), "shell")
    assert told(telling) == [(FIRST, "transposed", -1)]


def test_a_machine_that_follows_tells_nothing() -> None:
    """While another machine is in charge nothing is told; once this one is, everything is."""
    made = bench(FIRST)
    telling = OscTelling(made.show)
    made.show.apply(FollowLeader("other"))
    assert told(telling) == []
    made.show.apply(FollowLeader(None))
    assert len(told(telling)) == 5


@pytest.mark.parametrize(("family", "host"), [(socket.AF_INET, HERE), (socket.AF_INET6, "::1")])
async def test_a_surface_is_told_over_the_network(nursery: trio.Nursery, family: int, host: str) -> None:
    """A socket elsewhere gets what changes, over IPv4 and IPv6."""
    with closing(socket.socket(family, socket.SOCK_DGRAM)) as surface:
        surface.bind((host, 0))
        surface.settimeout(20)
        port = surface.getsockname()[1]
        made = bench(f"{host}:{port}" if family == socket.AF_INET else f"[{host}]:{port}")
        nursery.start_soon(OscTelling(made.show).run)
        found = [OscMessage(await trio.to_thread.run_sync(surface.recv, 4096)).address for _ in range(5)]
        words = ("now", "coming", "tempo", "song_now", "transposed")
        assert found == [f"/bayleaf/{word}" for word in words]
        made.show.apply(NextScene(), "shell")
        assert OscMessage(await trio.to_thread.run_sync(surface.recv, 4096)).params == [2, "March"]


async def test_an_address_that_cannot_be_reached_is_reported_once(nursery: trio.Nursery) -> None:
    """An address that the system refuses is reported once, and the others are told as ever."""
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as surface:
        surface.bind((HERE, 0))
        surface.settimeout(20)
        made = bench("255.255.255.255:9000", f"{HERE}:{surface.getsockname()[1]}")  # a broadcast is not allowed
        nursery.start_soon(OscTelling(made.show).run)
        for _ in range(5):
            await trio.to_thread.run_sync(surface.recv, 4096)
        made.show.apply(NextScene(), "shell")
        await trio.to_thread.run_sync(surface.recv, 4096)
    texts = [text for who, text in made.told() if who == "osc"]
    assert [text.partition(":")[0] for text in texts] == ["255.255.255.255"]


def test_what_concerns_a_player_has_their_name_before_it() -> None:
    """Their scene, and what comes next for them, beside those of the rest of the rig."""
    made = Bench(f'{PLAYERS}[osc]\nport = 9310\ntell = ["{FIRST}"]\n')
    for player in ("", "anna", "ben"):
        made.show.apply(FirstScene(player=player), "shell")
    telling = OscTelling(made.show)
    begun = told(telling)
    assert begun[:2] == [(FIRST, "now", 1, "Overture"), (FIRST, "coming", 2, "Street")]
    assert (FIRST, "anna/now", 21, "Fanfare") in begun
    made.show.apply(NextScene(player="anna"), "shell")
    assert told(telling) == [(FIRST, "anna/now", 22, "Lament"), (FIRST, "anna/coming", 0, "")]
