"""A sound list that is edited while its rig plays. (Our own design; no outside source.)"""

from pathlib import Path

import pytest
import trio

from engine.live.edit.rig_file_following import RigFileFollower
from engine.live.edit.rig_session import RigSession
from engine.live.process.worker_threads import to_its_end
from engine.rig.read.load import load
from tests.support.small_show import RIG, Bench
from tests.support.waiting import eventually

pytestmark = pytest.mark.slow

LIST = 'format = 1\nsounds = [ { program = 12, name = "Warm pad" } ]\n'
TEXT = RIG.replace('output = "strings"\nchannel = 5', 'output = "strings"\nchannel = 5\nsounds_from = "box.toml"')


class Pit:
    """A show whose rig names a sound list in the same folder, and its session."""

    def __init__(self, folder: Path) -> None:
        self.list, self.file = folder / "box.toml", folder / "pit.toml"
        self.list.write_text(LIST, encoding="utf-8")
        self.file.write_text(TEXT, encoding="utf-8")
        self.bench = Bench(RIG)
        self.show = self.bench.show
        self.session = RigSession(self.show, self.file, RIG, to_its_end)

    def sounds(self) -> list[str]:
        return list(self.show.engine.rig.instruments["string-machine"].sounds)


@pytest.fixture
async def pit(nursery: trio.Nursery, tmp_path: Path) -> Pit:
    """The pit, with its rig file already followed."""
    made = Pit(tmp_path)
    nursery.start_soon(RigFileFollower(made.session).run)
    await eventually(lambda: made.sounds() == ["Warm pad"])
    made.bench.told()
    return made


async def test_an_edited_list_is_adopted(pit: Pit) -> None:
    """The sounds of an edited list are available at once, without a change to the rig file; unsaved edits stay so."""
    pit.list.write_text(LIST.replace("Warm pad", "Choir"), encoding="utf-8")
    await eventually(lambda: pit.sounds() == ["Choir"])
    await eventually(
        lambda: ("rig file", "a file that it names changed; now playing with the new one") in pit.bench.told()
    )
    assert pit.show.engine.rig == load(pit.file)
    assert not pit.session.unsaved


async def test_a_broken_list_is_refused_until_it_is_mended(pit: Pit) -> None:
    """A list that cannot be read is rejected with its line; the current rig keeps playing. Corrected, it is adopted."""
    pit.list.write_text("format = 1\nsounds = [", encoding="utf-8")
    await eventually(lambda: pit.show.refused)
    assert "box.toml:2" in str(pit.show.refused)
    assert pit.sounds() == ["Warm pad"]
    pit.list.unlink()
    pit.list.write_text(LIST.replace("Warm pad", "Reed"), encoding="utf-8")
    await eventually(lambda: pit.sounds() == ["Reed"])
    assert pit.show.refused is None


async def test_a_list_that_comes_after_the_rig_that_names_it(pit: Pit) -> None:
    """A rig file whose list does not exist yet is rejected, and adopted once the list is there."""
    pit.file.write_text(TEXT.replace("box.toml", "later.toml"), encoding="utf-8")
    await eventually(lambda: pit.show.refused)
    assert "there is no such sound list" in str(pit.show.refused)
    pit.list.with_name("later.toml").write_text(LIST.replace("Warm pad", "Flute"), encoding="utf-8")
    await eventually(lambda: pit.sounds() == ["Flute"])
    assert pit.show.refused is None


async def test_an_edited_included_file_is_adopted(pit: Pit) -> None:
    """So is an edit of a file that the rig includes: its chain is another one at once."""
    gear = pit.file.parent / "gear.toml"
    gear.write_text('[chains]\nsoft = [{ filter = "velocity", fixed = 5 }]\n', encoding="utf-8")
    pit.file.write_text(TEXT.replace("format = 1", 'format = 2\ninclude = ["gear.toml"]'), encoding="utf-8")
    await eventually(lambda: "soft" in pit.show.engine.rig.chains)
    gear.write_text('[chains]\nloud = [{ filter = "velocity", fixed = 99 }]\n', encoding="utf-8")
    await eventually(lambda: list(pit.show.engine.rig.chains) == ["loud"])
    gear.write_text("[chains", encoding="utf-8")
    await eventually(lambda: pit.show.refused)
    assert "gear.toml:1" in str(pit.show.refused)
    assert list(pit.show.engine.rig.chains) == ["loud"]
