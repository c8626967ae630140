"""Requests from other machines that need threads, on ports in memory. (Our own design; no outside source.)"""

import random
import zlib
from pathlib import Path

import pytest
import trio

from engine.core.commands import RecallScene
from engine.core.control import rig_dump
from engine.core.control.remote_messages import OwnMessage, RouteRequest, own, read_own, seven
from engine.live.edit.remote_work import RemoteWork
from engine.live.edit.rig_session import Elsewhere, RigSession
from engine.live.process.worker_threads import to_its_end
from engine.midi.seven_bit_packing import unpack
from engine.rig.read.load import read
from engine.rig.read.toml_limits import LONGEST_TEXT
from tests.support.remote_writing import plain_request, route_request
from tests.support.small_show import RIG, Bench
from tests.support.waiting import eventually
from tests.support.working_elsewhere import memory_taken, worker_process

DEVICE = 5
REMOTE = f"""
[remote]
inputs = ["pedals"]
device = {DEVICE}
to = ["brass"]
restore = true
"""
TEXT = f"# for Friday\n{RIG}{REMOTE}"
#: the same rig after many edits, long enough for many blocks
OTHER = TEXT.replace("Finale", "Last dance") + "".join(
    f"# {line} {random.Random(line).getrandbits(256):x}\n" for line in range(80)
)
BLOCKS = rig_dump.blocks(OTHER, DEVICE)
PEDALS = 1


class RemoteMachine:
    """A show in scene 1 with its session, and its remote work running."""

    def __init__(self, folder: Path, text: str = TEXT, elsewhere: Elsewhere = to_its_end) -> None:
        self.bench = Bench(text)
        self.show = self.bench.show
        self.show.apply(RecallScene(1), "shell")
        file = folder / "pit.toml"
        file.write_text(text, encoding="utf-8")
        self.session = RigSession(self.show, file, text, elsewhere)
        self.remote_work = RemoteWork(self.show, self.session)
        self.brass()

    def play(self, *messages: bytes) -> None:
        self.bench.play(PEDALS, *(message.hex(" ") for message in messages))

    def brass(self) -> list[bytes]:
        return [bytes.fromhex(message) for message in self.bench.heard("brass")]

    async def answer(self) -> tuple[int, bool, str]:
        """Wait for the next answer: command, done or not, sentence."""
        found: list[OwnMessage] = []

        def answered() -> bool:
            said = [read_own(message) for message in self.brass()]
            found.extend(each for each in said if each is not None and each.command == 0x41)
            return bool(found)

        await eventually(answered)
        data = found[0].data
        return data[0], bool(data[1]), unpack(data[2:]).decode()

    async def collected(self) -> None:
        """Wait until every block that arrived has been looked at."""
        await eventually(lambda: not self.show.engine.reports.requests)

    async def reported(self, words: str) -> None:
        """Wait until a notice with these words has been given."""
        await eventually(lambda: any(words in text for _, text in self.bench.told()))


@pytest.fixture
async def remote(tmp_path: Path, nursery: trio.Nursery) -> RemoteMachine:
    """RemoteWork that runs until the end of the test."""
    made = RemoteMachine(tmp_path)
    nursery.start_soon(made.remote_work.run)
    return made


async def test_a_backup_that_is_asked_for(remote: RemoteMachine) -> None:
    """A requested backup sends the whole rig file, comments included, in blocks that give back the same bytes."""
    remote.play(plain_request(DEVICE, "ask backup"))
    heard: list[bytes] = []

    def all_came() -> bool:
        heard.extend(remote.brass())
        return len(heard) == len(rig_dump.blocks(TEXT, DEVICE))

    await eventually(all_came)
    assert rig_dump.from_syx(b"".join(heard)) == TEXT


async def test_a_backup_is_sent_once_however_often_it_is_asked_for(tmp_path: Path, nursery: trio.Nursery) -> None:
    """While a backup waits for its cable, no second one is put behind it; the player reads that it was asked for."""
    din = TEXT.replace('"Box 2"', '"Box 2", wire = "din"')
    remote = RemoteMachine(tmp_path, din)
    nursery.start_soon(remote.remote_work.run)
    blocks = rig_dump.blocks(din, DEVICE)
    assert len(blocks) > 1
    remote.play(*[plain_request(DEVICE, "ask backup")] * 20)
    await remote.collected()
    await remote.reported("a backup is on its way; another one is not begun")
    heard: list[bytes] = []

    def all_came() -> bool:
        remote.bench.passes(remote.bench.now + 1_000_000_000)
        heard.extend(remote.brass())
        return len(heard) >= len(blocks)

    await eventually(all_came)
    remote.bench.passes(remote.bench.now + 10_000_000_000)
    assert sorted([*heard, *remote.brass()]) == sorted(blocks)


async def test_a_dump_that_comes_in_plays(remote: RemoteMachine) -> None:
    """A complete dump plays at once, the scene stays in force, and the sender gets an answer."""
    remote.play(*BLOCKS)
    command, done, text = await remote.answer()
    assert (command, done) == (0x0A, True)
    assert text.startswith("the rig from a dump on pedals plays")
    assert remote.show.engine.rig == read(OTHER, "test")
    assert remote.session.text == OTHER
    assert remote.show.engine.scene == (1, "Overture")


async def test_order_and_doubles_do_no_harm(remote: RemoteMachine) -> None:
    """Blocks that arrive backwards and twice still give exactly the whole text."""
    remote.play(*[block for block in reversed(BLOCKS) for _ in (1, 2)])
    assert (await remote.answer())[1]
    assert remote.session.text == OTHER


async def test_a_lost_block_is_named(remote: RemoteMachine) -> None:
    """A dump with a block missing replaces nothing; once no more blocks come, the answer names the missing one."""
    remote.play(*BLOCKS[:2], *BLOCKS[3:])
    await remote.collected()
    remote.bench.now += 6_000_000_000
    command, done, text = await remote.answer()
    assert (command, done) == (0x0A, False)
    assert text == f"the dump has stopped; block 3 of {len(BLOCKS)} is missing"
    assert remote.session.text == TEXT
    remote.play(*BLOCKS)
    assert (await remote.answer())[1]


def renumbered(block: bytes, number: int) -> bytes:
    """The block with another number and a matching outer checksum."""
    said = read_own(block)
    assert said is not None
    return own(said.device, said.command, said.data[:1] + bytes((number, 0)) + said.data[3:])


async def test_a_block_that_is_damaged_or_swapped_is_named(remote: RemoteMachine) -> None:
    """A block that carries another's number, with a valid checksum, is rejected by number and its place stays empty."""
    remote.play(*BLOCKS[:2], renumbered(BLOCKS[3], 3), *BLOCKS[3:])
    await remote.reported("block 3 arrived corrupted")
    await remote.collected()
    remote.bench.now += 6_000_000_000
    assert "block 3 of" in (await remote.answer())[2]
    assert remote.session.text == TEXT


async def test_many_bad_blocks_are_reported_once_per_second(remote: RemoteMachine) -> None:
    """A thousand blocks that are all corrupted, each in its own way, are one sentence, and one with their number."""
    remote.bench.told()
    remote.play(*(own(DEVICE, 0x0A, bytes((1, number & 0x7F, number >> 7)) + bytes(20)) for number in range(1, 1001)))
    await remote.collected()
    remote.bench.now += 1_000_000_000
    remote.play(own(DEVICE, 0x0A, bytes((1, 1, 9)) + bytes(20)))
    await remote.collected()
    told = [text for _, text in remote.bench.told()]
    assert told == [
        "block 1 arrived corrupted",
        "block 1153 arrived corrupted (999 more were ignored, too)",
    ]


async def test_a_dump_whose_checksum_does_not_match(remote: RemoteMachine) -> None:
    """A dump of which every block is sound, but not the whole, is answered at once and replaces nothing."""
    other = rig_dump.blocks(OTHER.replace("Last dance", "Last waltz"), DEVICE)
    said = read_own(other[0])
    assert said is not None
    mixed = [renumbered_whole(block, said.data[3:14]) for block in BLOCKS]
    remote.play(*mixed)
    command, done, text = await remote.answer()
    assert (command, done) == (0x0A, False)
    assert text.startswith("all blocks arrived, but together they do not match what was sent")
    assert remote.session.text == TEXT


def renumbered_whole(block: bytes, whole: bytes) -> bytes:
    """The block as one of another dump, with all its checksums right."""
    said = read_own(block)
    assert said is not None
    head, packed = said.data[:3] + whole, said.data[19:]
    return own(said.device, said.command, head + seven(zlib.crc32(head + packed), 5) + packed)


async def test_a_dump_of_something_that_is_no_rig(remote: RemoteMachine) -> None:
    """A complete dump whose text is not a rig replaces nothing, and the reason is reported."""
    remote.play(*rig_dump.blocks(TEXT.replace('from = "keys"', 'from = "nobody"'), DEVICE))
    _, done, text = await remote.answer()
    assert not done
    assert "nobody" in text
    assert remote.session.text == TEXT


async def test_a_rig_that_is_not_wanted(tmp_path: Path, nursery: trio.Nursery) -> None:
    """Without restore = true nothing of a dump is kept and nothing replaced; the sender is answered once."""
    remote = RemoteMachine(tmp_path, TEXT.replace("restore = true", ""))
    nursery.start_soon(remote.remote_work.run)
    remote.play(*BLOCKS, *BLOCKS)
    text = "a rig that comes over MIDI is not played, since [remote] of the current one has no restore = true"
    assert await remote.answer() == (0x0A, False, text)
    await remote.collected()
    assert remote.brass() == []
    assert not remote.session.unsaved


async def test_a_rig_that_opens_a_port_to_the_world(remote: RemoteMachine) -> None:
    """A dump that would add [osc] replaces nothing, and the answer says what it may not change."""
    remote.play(*rig_dump.blocks(TEXT + '[osc]\nport = 9000\nlisten = "0.0.0.0"\n', DEVICE))
    command, done, text = await remote.answer()
    assert (command, done) == (0x0A, False)
    assert text.startswith("a rig that comes over MIDI may not change [osc]; change that in the rig file")
    assert remote.session.text == TEXT


async def test_the_shell_may_restore_anything(remote: RemoteMachine) -> None:
    """What the player restores at the shell may change what a dump that comes in may not."""
    text = TEXT + "[osc]\nport = 9000\n"
    assert (await remote.remote_work.restore(text, "pit.syx")).done
    assert remote.show.engine.rig.osc is not None


async def test_a_backup_is_made_by_the_worker_process(
    tmp_path: Path, nursery: trio.Nursery, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However often a machine asks for one, no thread of the engine is at work on it while music plays."""
    expected = rig_dump.blocks(TEXT, DEVICE)

    def made(*_: object) -> None:
        raise AssertionError("a backup was made in the engine")

    monkeypatch.setattr(rig_dump, "_block", made)
    heard: list[bytes] = []
    with worker_process() as elsewhere:
        machine = RemoteMachine(tmp_path, elsewhere=elsewhere)
        nursery.start_soon(machine.remote_work.run)
        machine.play(plain_request(DEVICE, "ask backup"))

        def all_came() -> bool:
            heard.extend(machine.brass())
            return len(heard) == len(expected)

        await eventually(all_came)
        nursery.cancel_scope.cancel()
    assert sorted(heard) == sorted(expected)


async def test_a_dump_is_put_together_by_the_worker_process(tmp_path: Path, nursery: trio.Nursery) -> None:
    """Four megabytes come in a few blocks, and whoever sends them again and again must not stop the music for them."""
    bomb = rig_dump.blocks("#" * LONGEST_TEXT, DEVICE)
    assert len(bomb) < 30
    with worker_process() as elsewhere:
        remote = RemoteMachine(tmp_path, elsewhere=elsewhere)
        await elsewhere(len, "")  # it has started
        nursery.start_soon(remote.remote_work.run)
        with memory_taken() as taken:
            remote.play(*bomb)
            assert (await remote.answer())[1] is False
        nursery.cancel_scope.cancel()
    assert taken.most < 1_000_000


async def test_our_own_backup_that_comes_back(remote: RemoteMachine) -> None:
    """The current rig, sent back, changes nothing and makes no live edit."""
    remote.play(*rig_dump.blocks(TEXT, DEVICE))
    assert (await remote.answer())[1:] == (True, "the rig from a dump on pedals is already current")
    assert not remote.session.unsaved
    assert not (await remote.session.undo()).done


async def test_a_route_is_set_on_and_off(remote: RemoteMachine) -> None:
    """A route set by SysEx plays at once, is written into the text, and the sender gets an answer with the result."""
    remote.play(route_request(DEVICE, RouteRequest(1, 2, True)))
    command, done, text = await remote.answer()
    assert (command, done) == (0x07, True)
    assert text.startswith("scene 1: keys connected to brass")
    remote.bench.play(0, "90 3C 40")
    assert bytes.fromhex("90 3C 40") in remote.brass()
    remote.play(route_request(DEVICE, RouteRequest(1, 2, True)))
    assert (await remote.answer())[2] == "scene 1: keys is already connected to brass"
    remote.play(route_request(DEVICE, RouteRequest(1, 2, False)))
    assert (await remote.answer())[2].startswith("scene 1: keys disconnected from brass")
    assert read(remote.session.text, "test") == read(TEXT, "test")
    assert "# for Friday" in remote.session.text


async def test_after_a_route_and_after_a_rig_the_next_request_waits(
    remote: RemoteMachine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A tenth of a second after a route, a second after a rig: an edit is work, and whoever asks cannot hurry it."""
    pauses: list[float] = []
    sleep = trio.sleep

    async def pause(seconds: float) -> None:
        pauses.append(seconds)
        await sleep(0.001)  # the pause itself is not waited for here

    monkeypatch.setattr(trio, "sleep", pause)
    remote.play(route_request(DEVICE, RouteRequest(1, 2, True)))
    await remote.answer()
    await eventually(lambda: 0.1 in pauses)
    assert 1.0 not in pauses
    remote.play(*BLOCKS)
    await remote.answer()
    await eventually(lambda: 1.0 in pauses)


async def test_a_route_between_nothing(remote: RemoteMachine) -> None:
    """A route to or from a port that the rig does not have changes nothing, and the sender is answered so."""
    for route in (RouteRequest(3, 1, True), RouteRequest(1, 3, True)):
        remote.play(route_request(DEVICE, route))
        command, done, text = await remote.answer()
        assert (command, done) == (0x07, False)
        assert text.startswith("there is no input")
    assert remote.session.text == TEXT


async def test_a_page_replaces_the_rig_within_the_same_bounds(tmp_path: Path) -> None:
    """Also without restore = true, since its browser is paired for everything; but not what only the file may say."""
    remote = RemoteMachine(tmp_path, RIG)
    answer = await remote.remote_work.replace(RIG.replace("Finale", "Last dance"), "copy.toml")
    assert answer.text.startswith("the rig from copy.toml plays")
    assert remote.bench.scene(3).name == "Last dance"
    refusal = await remote.remote_work.replace(RIG + "[osc]\nport = 9000\n", "copy.toml")
    assert not refusal.done
    assert "a rig that comes from a page may not change [osc]; change that in the rig file" in refusal.text
