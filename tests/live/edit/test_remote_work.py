"""What other machines ask for that takes threads, over memory ports. (Our own design; no outside source.)"""

import random
from pathlib import Path

import pytest
import trio

from engine.core.commands import RecallScene
from engine.core.control import rig_dump
from engine.core.control.remote_messages import OwnMessage, RouteRequest, own, plain_request, read_own, route_request
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_session import RigSession
from engine.midi.seven_bit_packing import unpack
from engine.rig.read.load import read
from tests.support.small_show import RIG, Bench
from tests.support.waiting import eventually

DEVICE = 5
REMOTE = f"""
[remote]
inputs = ["pedals"]
device = {DEVICE}
to = ["brass"]
"""
TEXT = f"# for Friday\n{RIG}{REMOTE}"
#: the same rig after a busy evening: long enough for many blocks
OTHER = TEXT.replace("Finale", "Last dance") + "".join(
    f"# {line} {random.Random(line).getrandbits(256):x}\n" for line in range(80)
)
BLOCKS = rig_dump.blocks(OTHER, DEVICE)
PEDALS = 1


class RemoteMachine:
    """A show in scene 1 with its session, and errands that run."""

    def __init__(self, folder: Path) -> None:
        self.bench = Bench(TEXT)
        self.show = self.bench.show
        self.show.apply(RecallScene(1), "shell")
        file = folder / "pit.toml"
        file.write_text(TEXT, encoding="utf-8")
        self.session = RigSession(self.show, file, TEXT)
        self.remote_work = RemoteWork(self.show, self.session)
        self.brass()

    def play(self, *messages: bytes) -> None:
        self.bench.play(PEDALS, *(message.hex(" ") for message in messages))

    def brass(self) -> list[bytes]:
        return [bytes.fromhex(message) for message in self.bench.heard("brass")]

    async def answer(self) -> tuple[int, bool, str]:
        """The next answer: command, done or not, sentence."""
        found: list[OwnMessage] = []

        def answered() -> bool:
            said = [read_own(message) for message in self.brass()]
            found.extend(each for each in said if each is not None and each.command == 0x41)
            return bool(found)

        await eventually(answered)
        data = found[0].data
        return data[0], bool(data[1]), unpack(data[2:]).decode()

    async def collected(self) -> None:
        """Until every block that came has been looked at."""
        await eventually(lambda: not self.show.engine.reports.requests)

    async def told(self, words: str) -> None:
        """Until this has been told."""
        await eventually(lambda: any(words in text for _, text in self.bench.told()))


@pytest.fixture
async def errand(tmp_path: Path, nursery: trio.Nursery) -> RemoteMachine:
    """RemoteWork that run until the test's end."""
    made = RemoteMachine(tmp_path)
    nursery.start_soon(made.remote_work.run)
    return made


async def test_a_backup_that_is_asked_for(errand: RemoteMachine) -> None:
    """Asked for a backup, the whole rig file, comments and all, goes out in blocks that make the same bytes again."""
    errand.play(plain_request(DEVICE, "ask backup"))
    heard: list[bytes] = []

    def all_came() -> bool:
        heard.extend(errand.brass())
        return len(heard) == len(rig_dump.blocks(TEXT, DEVICE))

    await eventually(all_came)
    assert rig_dump.from_syx(b"".join(heard)) == TEXT


async def test_a_dump_that_comes_in_plays(errand: RemoteMachine) -> None:
    """A whole dump plays at once, the scene in force stays in force, and the asker hears so."""
    errand.play(*BLOCKS)
    command, done, text = await errand.answer()
    assert (command, done) == (0x0A, True)
    assert text.startswith("the rig from a dump on pedals plays")
    assert errand.show.engine.rig == read(OTHER, "test")
    assert errand.session.text == OTHER
    assert errand.show.engine.scene == (1, "Overture")


async def test_order_and_doubles_do_no_harm(errand: RemoteMachine) -> None:
    """Blocks that come backwards and twice still make the whole, and nothing but the whole."""
    errand.play(*[block for block in reversed(BLOCKS) for _ in (1, 2)])
    assert (await errand.answer())[1]
    assert errand.session.text == OTHER


async def test_a_lost_block_is_named(errand: RemoteMachine) -> None:
    """A dump with a block lost replaces nothing; when no more comes, the asker hears which one is missing."""
    errand.play(*BLOCKS[:2], *BLOCKS[3:])
    await errand.collected()
    errand.bench.now += 6_000_000_000
    command, done, text = await errand.answer()
    assert (command, done) == (0x0A, False)
    assert text == f"the dump has stopped; block 3 of {len(BLOCKS)} is missing"
    assert errand.session.text == TEXT
    errand.play(*BLOCKS)
    assert (await errand.answer())[1]


def renumbered(block: bytes, number: int) -> bytes:
    """The block with another number and a fresh outer checksum."""
    said = read_own(block)
    assert said is not None
    return own(said.device, said.command, said.data[:1] + bytes((number, 0)) + said.data[3:])


async def test_a_block_that_is_damaged_or_swapped_is_named(errand: RemoteMachine) -> None:
    """A block that took another's number, its checksum set right, is refused by name, and its place stays empty."""
    errand.play(*BLOCKS[:2], renumbered(BLOCKS[3], 3), *BLOCKS[3:])
    await errand.told("block 3 arrived corrupted")
    errand.bench.now += 6_000_000_000
    assert "block 3 of" in (await errand.answer())[2]
    assert errand.session.text == TEXT


async def test_a_dump_of_something_that_is_no_rig(errand: RemoteMachine) -> None:
    """A whole dump whose text is no rig replaces nothing, and the reason is told."""
    errand.play(*rig_dump.blocks(TEXT.replace('from = "keys"', 'from = "nobody"'), DEVICE))
    _, done, text = await errand.answer()
    assert not done
    assert "nobody" in text
    assert errand.session.text == TEXT


async def test_our_own_backup_that_comes_back(errand: RemoteMachine) -> None:
    """What plays already, sent back, changes nothing and makes no live edit."""
    errand.play(*rig_dump.blocks(TEXT, DEVICE))
    assert (await errand.answer())[1:] == (True, "the rig from a dump on pedals is already current")
    assert not errand.session.unsaved
    assert not (await errand.session.undo()).done


async def test_a_route_is_set_on_and_off(errand: RemoteMachine) -> None:
    """A route set by SysEx plays at once, goes into the text, and the asker hears what became of it."""
    errand.play(route_request(DEVICE, RouteRequest(1, 2, True)))
    command, done, text = await errand.answer()
    assert (command, done) == (0x07, True)
    assert text.startswith("scene 1: keys connected to brass")
    errand.bench.play(0, "90 3C 40")
    assert bytes.fromhex("90 3C 40") in errand.brass()
    errand.play(route_request(DEVICE, RouteRequest(1, 2, True)))
    assert (await errand.answer())[2] == "scene 1: keys is already connected to brass"
    errand.play(route_request(DEVICE, RouteRequest(1, 2, False)))
    assert (await errand.answer())[2].startswith("scene 1: keys disconnected from brass")
    assert read(errand.session.text, "test") == read(TEXT, "test")
    assert "# for Friday" in errand.session.text


async def test_a_route_between_nothing(errand: RemoteMachine) -> None:
    """A place that the rig does not have changes nothing, and the asker hears so."""
    for route in (RouteRequest(3, 1, True), RouteRequest(1, 3, True)):
        errand.play(route_request(DEVICE, route))
        command, done, text = await errand.answer()
        assert (command, done) == (0x07, False)
        assert text.startswith("there is no input")
    assert errand.session.text == TEXT
