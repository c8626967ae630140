"""Files that a rig includes: what they bring, and how their mistakes are reported. (Our own design; no source.)"""

from pathlib import Path

import pytest

from engine.rig.edit.scene_edits import put_scene, rename_scene
from engine.rig.read.load import RigError, load, read
from engine.rig.read.sound_list import named

GEAR = """\
[inputs]
keys = { port = "Stage piano*" }

[outputs]
bass = { port = "Box*1" }

[instruments.bass-box]
output  = "bass"
channel = 2
sounds  = { "Upright" = { program = 33 } }

[chains]
soft = [{ filter = "velocity", curve = -20 }]
"""
RIG = """\
format  = 2
include = ["gear.toml"]

[inputs]
pedals = { port = "Foot*" }

[[scenes]]
number = 1
name   = "One"
play   = [{ from = ["keys", "pedals"], on = "bass-box", sound = "Upright", through = ["soft"] }]
"""


def rig_at(folder: Path, gear: str = GEAR, rig: str = RIG) -> Path:
    """A rig file with its gear beside it."""
    (folder / "gear.toml").write_text(gear)
    (folder / "pit.toml").write_text(rig)
    return folder / "pit.toml"


def problems(file: Path) -> list[str]:
    """What is wrong with a rig, each as FILE:LINE: KEY: TEXT."""
    with pytest.raises(RigError) as caught:
        load(file)
    return [str(problem).replace(f"{file.parent}/", "") for problem in caught.value.problems]


def test_a_rig_has_what_it_includes(tmp_path: Path) -> None:
    """Inputs, outputs, instruments and chains of the file stand beside the rig's own."""
    rig = load(rig_at(tmp_path))
    assert set(rig.inputs) == {"keys", "pedals"}
    assert (list(rig.outputs), list(rig.instruments), list(rig.chains)) == (["bass"], ["bass-box"], ["soft"])


def test_a_rig_may_include_several_files(tmp_path: Path) -> None:
    """Each brings its own part; what is in two of them is reported at the second."""
    (tmp_path / "more.toml").write_text('[outputs]\nlooper = { port = "Looper*" }\n')
    file = rig_at(tmp_path, rig=RIG.replace('["gear.toml"]', '["gear.toml", "more.toml"]'))
    assert list(load(file).outputs) == ["looper", "bass"]
    (tmp_path / "more.toml").write_text('\n[outputs]\nbass = { port = "Looper*" }\n')
    where = f'"bass" is in {tmp_path}/gear.toml, too; keep one of the two'.replace(f"{tmp_path}/", "")
    assert problems(file) == [f"more.toml:3: outputs.bass: {where}"]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("channel = 2", "channel = 20", ["gear.toml:9: instruments.bass-box.channel: found 20; allowed: 1 to 16"]),
        (
            'output  = "bass"',
            'output  = "base"',
            ['gear.toml:8: instruments.bass-box.output: there is no output "base"; did you mean "bass"? there'],
        ),
        (
            "curve = -20",
            "curve = -200",
            ["gear.toml:13: chains.soft.1.curve: found -200; allowed: a curve from"],
        ),
        ("channel = 2", "channel = ", ["gear.toml:9: channel: this is not TOML: found no value; allowed: a number,"]),
        (
            "[chains]",
            "[osc]\nport = 9000\n[chains]",
            ["gear.toml:12: osc: an included file has the sections inputs, outputs, instruments, chains, and nothing"],
        ),
        (
            "[inputs]",
            "pedals = 1\n[inputs]",
            ["gear.toml:1: pedals: an included file has the sections inputs"],
        ),
        ("keys =", "pedals =", ['gear.toml:2: inputs.pedals: "pedals" is in the rig file, too; keep one of the two']),
    ],
)
def test_what_is_wrong_in_an_included_file_is_reported_there(
    old: str, new: str, expected: list[str], tmp_path: Path
) -> None:
    """With the name of that file, its line and its key."""
    found = problems(rig_at(tmp_path, gear=GEAR.replace(old, new, 1)))
    assert found[0].startswith(expected[0])
    assert len(found) == len(expected) + (old == "keys =")  # the rig's own line then names an input that is not there


@pytest.mark.parametrize(
    ("include", "expected"),
    [
        ('["gaer.toml"]', "pit.toml:2: include.1: there is no file gaer.toml; put it beside the rig file"),
        (
            '["../gear.toml"]',
            'pit.toml:2: include.1: found "../gear.toml"; allowed: a file beside the rig file',
        ),
        ('["/etc/passwd"]', 'pit.toml:2: include.1: found "/etc/passwd"; allowed: a file beside the rig file, such as'),
        ('["."]', 'pit.toml:2: include.1: found "."; allowed: a file beside the rig file, such as "gear.toml"'),
        ('["a folder"]', "pit.toml:2: include.1: a folder is a folder; name a file in it"),
        ("5", "pit.toml:2: include: found 5; allowed: a name, or a list of names"),
        (str(["gear.toml"] * 17), "pit.toml:2: include.17: a rig includes 16 files at the most; bring some together"),
    ],
)
def test_a_wrong_include_is_reported_in_the_rig(include: str, expected: str, tmp_path: Path) -> None:
    """Only files beside the rig are opened. Names that a file may have are not reported as missing without it."""
    (tmp_path / "a folder").mkdir()
    found = problems(rig_at(tmp_path, rig=RIG.replace('["gear.toml"]', include)))
    assert any(each.startswith(expected) for each in found)
    assert not any("there is no input" in each for each in found) or include == "5"


def test_a_rig_over_several_machines_includes_nothing(tmp_path: Path) -> None:
    """The other machines would not have the file, and none is opened for them."""
    network = '\n[network]\nmachine = "a"\nmain = "a"\n[network.machines]\na = { listen = "127.0.0.1:7410" }\n'
    found = problems(rig_at(tmp_path, rig=RIG + network))
    assert "pit.toml:2: include: a rig with [network] is read on every machine, and includes no file; write" in found[0]


def test_edits_keep_included_files_apart(tmp_path: Path) -> None:
    """An edit changes the rig's own text alone, and knows what the files bring."""
    rig_at(tmp_path)
    assert rename_scene(RIG, 1, "Two", folder=tmp_path) == RIG.replace("One", "Two")
    line = {"from": "keys", "on": "bass-box", "sound": "Upright"}
    made = put_scene(RIG, 2, "New", {"play": [line]}, folder=tmp_path)
    assert made.startswith(RIG)
    assert len(read(made, str(tmp_path / "pit.toml")).scenes) == 2


def test_included_files_are_watched_like_sound_lists() -> None:
    """The files that a text names are found without reading them."""
    assert named(RIG) == frozenset({"gear.toml"})
