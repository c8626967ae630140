"""What a rig that comes over MIDI may not change. (Our own rules: the design, "The outside contract".)"""

import os
import threading
from pathlib import Path

import pytest

from engine.rig.edit.remote_restore import checked
from engine.rig.edit.scene_edits import EditError
from engine.rig.read.load import RigError

RIG = """
format = 1
[inputs]
keys = { port = "Stage piano" }
pedals = { device = "/dev/midi1" }
[outputs]
strings = { port = "Box 1" }
brass = { device = "/dev/midi2" }
[instruments.organ]
output = "strings"
channel = 1
sounds_from = "general-midi"
[instruments.bass]
output = "strings"
channel = 2
[[scenes]]
number = 1
name = "Overture"
routes = [{ from = "keys", to = "strings" }]
[remote]
inputs = ["pedals"]
restore = true
[osc]
port = 9000
"""
MACHINES = """
[network]
machine = "desk"
main = "desk"
[network.machines]
desk = { listen = "127.0.0.1:7410" }
stage = { listen = "127.0.0.1:7411" }
"""


def over_midi(current: str, *, new: str, folder: Path) -> str:
    return checked(current, new=new, source="rig.toml", way="over MIDI", folder=folder)


def refused(new: str, current: str = RIG) -> str:
    """What is said to be changed; empty if the new text is taken."""
    try:
        assert over_midi(current, new=new, folder=Path()) == new
    except EditError as fault:
        words = str(fault)
        end = "; change that in the rig file, or play the rig from a file (bayleaf restore FILE.syx)"
        assert words.startswith("a rig that comes over MIDI may not change ")
        assert words.endswith(end)
        return words.removeprefix("a rig that comes over MIDI may not change ").removesuffix(end)
    return ""


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("Overture", "Ouverture"),
        ('"strings" }]', '"brass" }]'),
        ("Stage piano", "Workstation"),
        ('keys = { port = "Stage piano" }', 'keys = { port = "Stage piano" }\npads = { port = "Pads" }'),
        ("channel = 2", "channel = 3"),
        ("[osc]\nport = 9000", '[osc]\nport = 9000\nlisten = "127.0.0.1"'),
    ],
)
def test_music_may_be_changed(old: str, new: str) -> None:
    """Scenes, routes, ports by name and instruments may change, and a default may be written out."""
    assert refused(RIG.replace(old, new)) == ""


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("[osc]\nport = 9000", "", "[osc]"),
        ("port = 9000", 'port = 9000\nlisten = "0.0.0.0"', "[osc]"),
        ("port = 9000", 'port = 9000\nallow = ["192.168.1.9"]', "[osc]"),
        ('inputs = ["pedals"]', 'inputs = ["pedals", "keys"]', "[remote]"),
        ("restore = true", "", "[remote]"),
        ("restore = true", "restore = true\nprograms = true", "[remote]"),
        ("/dev/midi1", "/dev/sda", "inputs.pedals.device"),
        ('{ device = "/dev/midi2" }', '{ port = "Box 2" }', "outputs.brass.device"),
        ('{ port = "Box 1" }', '{ device = "/dev/midi3" }', "outputs.strings.device"),
        ('"general-midi"', '"/etc/shadow"', "instruments.organ.sounds_from"),
        ('sounds_from = "general-midi"', "", "instruments.organ.sounds_from"),
        ("channel = 2", 'channel = 2\nsounds_from = "x.toml"', "instruments.bass.sounds_from"),
        (
            "[instruments.bass]",
            '[instruments."grand piano"]\noutput = "brass"\nchannel = 1\nsounds_from = "x.toml"\n[instruments.bass]',
            'instruments."grand piano".sounds_from',
        ),
    ],
)
def test_what_opens_the_machine_may_not(old: str, new: str, named: str) -> None:
    """[osc], [remote], devices and sound lists neither come nor go nor change; what would have changed is named."""
    assert old in RIG
    assert refused(RIG.replace(old, new)) == named


def test_a_keyboard_may_not() -> None:
    """A keyboard, which Bayleaf would take away from whoever types on it, neither comes nor goes nor changes."""
    plain = RIG.replace("format = 1", "format = 2")
    pedal, other = (
        plain.replace("[outputs]", f'pages = {{ keyboard = "{name}" }}\n[outputs]') for name in ("Pedal", "Laptop")
    )
    for new, current in ((pedal, plain), (plain, pedal), (other, pedal)):
        assert refused(new, current) == "inputs.pages.keyboard"


def test_a_network_may_not_change() -> None:
    """A rig that comes over MIDI adds no machine, moves none, and does not say which one reads it."""
    assert refused(RIG + MACHINES) == "[network]"
    assert refused(RIG, RIG + MACHINES) == "[network]"
    for old, new in (('machine = "desk"', 'machine = "stage"'), ("7411", "7412"), ('main = "desk"', 'main = "stage"')):
        assert refused(RIG + MACHINES.replace(old, new), RIG + MACHINES) == "[network]"
    both = RIG.replace("{ device", '{ machine = "stage", device') + MACHINES
    assert refused(both, RIG + MACHINES) == "inputs.pedals.device, outputs.brass.device"


def test_of_many_changes_the_first_are_named() -> None:
    """The sentence is short, whatever comes."""
    many = "".join(f'more{n} = {{ device = "/dev/more{n}" }}\n' for n in range(9))
    named = ", ".join(f"inputs.more{n}.device" for n in range(5))
    assert refused(RIG.replace("[outputs]", many + "[outputs]")) == f"{named} and 4 more"


def test_a_text_that_is_no_rig() -> None:
    """A text with mistakes raises what a rig file with mistakes does."""
    with pytest.raises(RigError, match="nobody"):
        over_midi(RIG, new=RIG.replace('from = "keys"', 'from = "nobody"'), folder=Path())


def test_a_sound_list_that_is_missing_is_in_nobodys_way() -> None:
    """Neither rig's sound lists are read: a rig whose list is gone can still be replaced by a backup of it."""
    text = RIG.replace('"general-midi"', '"gone.toml"')
    assert over_midi(text, new=text.replace("Overture", "Prelude"), folder=Path()).count("Prelude") == 1


def test_no_file_is_opened_to_find_out(tmp_path: Path) -> None:
    """A sound list that nobody writes to, such as a FIFO, is not waited for before the rig is refused."""
    os.mkfifo(tmp_path / "list.toml")
    found: list[str] = []
    text = RIG.replace('"general-midi"', f'"{tmp_path / "list.toml"}"')
    asked = threading.Thread(target=lambda: found.append(refused(text)), daemon=True)
    asked.start()
    asked.join(20)
    assert found == ["instruments.organ.sounds_from"]


def test_the_included_files_are_the_players(tmp_path: Path) -> None:
    """Another list of included files is refused before any of them is opened; the same list is read beside the rig."""
    (tmp_path / "gear.toml").write_text('[inputs]\nkeys = { port = "Keys*" }\n')
    text = 'format = 2\ninclude = ["gear.toml"]\n[[scenes]]\nnumber = 1\nname = "One"\n'
    renamed = text.replace("One", "Two")
    assert over_midi(text, new=renamed, folder=tmp_path) == renamed
    for other in ('include = ["other.toml"]', ""):
        with pytest.raises(EditError, match="may not change include; change that in the rig file"):
            over_midi(
                text,
                new=text.replace('include = ["gear.toml"]', other),
                folder=tmp_path,
            )
