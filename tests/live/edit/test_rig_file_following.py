"""A rig file that somebody else writes while the rig plays: read by the worker process. (Our own promise.)"""

import os
import threading
from pathlib import Path
from types import SimpleNamespace

import pytest
import trio

from engine.core.commands import RecallScene
from engine.live.edit import sound_list_files
from engine.live.edit.rig_file_following import RigFileFollower
from engine.live.edit.rig_session import RigSession
from engine.live.process.worker_threads import to_its_end
from tests.support.replaced_file import replace_file
from tests.support.small_show import RIG, Bench
from tests.support.waiting import WITHIN, eventually
from tests.support.working_elsewhere import memory_taken, worker_process

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"x = 0x{'f' * 3_000_000}\n{RIG}".encode(), "more than 1,000 characters"),
        (RIG.encode() + b"# a comment\n" * 400_000, "longer than 4 MB"),
        (RIG.encode() + b"# \xff" * 600_000, "not UTF-8"),
    ],
    ids=["a huge number", "too long", "not a text"],
)
async def test_a_file_that_is_no_rig_is_not_taken_into_the_engine(
    tmp_path: Path, nursery: trio.Nursery, text: bytes, said: str
) -> None:
    """To find memory for its text would hold Python's lock for milliseconds; the rig that follows still plays."""
    file = tmp_path / "pit.toml"
    file.write_text(RIG, encoding="utf-8")
    written = tmp_path / "written.toml"
    written.write_bytes(text)
    bench = Bench()
    with worker_process() as elsewhere:
        session = RigSession(bench.show, file, RIG, elsewhere)
        await elsewhere(len, "")  # it has started
        nursery.start_soon(RigFileFollower(session).run)
        with memory_taken() as taken:
            written.replace(file)
            await eventually(lambda: bench.show.refused is not None)
        assert said in str(bench.show.refused)
        assert taken.most < 200_000
        replace_file(file, RIG.replace("March", "Parade"))
        await eventually(lambda: bench.show.engine.rig.scenes[1].name == "Parade")
        nursery.cancel_scope.cancel()


async def test_a_disk_that_hangs_holds_up_neither_the_music_nor_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file may be on a disk, or a server, that answers no more: the loop goes on, and is over when it is to be."""
    file = tmp_path / "pit.toml"
    file.write_text(RIG, encoding="utf-8")
    hangs, answers = threading.Event(), threading.Event()

    def stat(path: object) -> os.stat_result:
        hangs.set()
        answers.wait(WITHIN)
        return os.stat(file)

    bench = Bench()
    monkeypatch.setattr(sound_list_files, "os", SimpleNamespace(stat=stat))
    try:
        with trio.fail_after(WITHIN / 2):
            async with trio.open_nursery() as nursery:
                nursery.start_soon(RigFileFollower(RigSession(bench.show, file, RIG, to_its_end)).run)
                await eventually(hangs.is_set)
                bench.show.apply(RecallScene(2), "shell")
                nursery.cancel_scope.cancel()
    finally:
        answers.set()
    assert bench.show.engine.scene == (2, "March")
