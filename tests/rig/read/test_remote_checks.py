"""What [remote] and [osc] may say. (Our own design; no source but RP-002 3.1 for cue lists.)"""

import pytest

from engine.rig.models.rig import Rig
from engine.rig.read.load import RigError, read

REMOTE = '[remote]\ninputs = "desk"\n{}\n[inputs]\ndesk = {{ port = "Desk" }}\n'
OSC = "[osc]\nport = 9000\n{}\n"
SCENE = '[[scenes]]\nnumber = 1\nname = "One"\n'


def rig(table: str, line: str, form: int = 2) -> Rig:
    """A rig of this format with one more line in this table."""
    return read(f"format = {form}\n{table.format(line)}{SCENE}", "pit.toml")


def problem(table: str, line: str, form: int = 2) -> str:
    """What is reported about such a rig, without its place."""
    with pytest.raises(RigError) as found:
        rig(table, line, form)
    return str(found.value).split(": ", 1)[1]


def test_what_a_rig_may_leave_out() -> None:
    """Without the keys, every format and list is obeyed as ever, and nobody is told anything."""
    remote, osc = rig(REMOTE, "").remote, rig(OSC, "", 1).osc
    assert remote is not None
    assert osc is not None
    assert (remote.formats, remote.lists, osc.tell) == (("lighting", "sound", "all"), None, ())


@pytest.mark.parametrize(
    ("table", "key", "line"),
    [
        (REMOTE, "remote.formats", 'formats = ["sound"]'),
        (REMOTE, "remote.lists", 'lists = ["2", "2.5"]'),
        (OSC, "osc.tell", 'tell = ["192.168.1.20:9000", "[2001:db8::7]:9001"]'),
    ],
)
def test_they_need_format_2(table: str, key: str, line: str) -> None:
    """Each of the keys is read in format 2, and reported in format 1."""
    rig(table, line)
    text = f"{key}: this key needs format = 2 in the first line of the file; it says 1"
    assert problem(table, line, 1) == text


TARGET = 'an address with its port, such as "192.168.1.20:9000" or "[::1]:9000"'


@pytest.mark.parametrize(
    ("table", "line", "said"),
    [
        (REMOTE, 'formats = ["machinery"]', 'a list of "lighting", "sound", "all"'),
        (REMOTE, "formats = []", 'a list of "lighting", "sound", "all"'),
        (REMOTE, 'formats = "sound"', 'a list of "lighting", "sound", "all"'),
        (REMOTE, "lists = [2]", 'a list of cue lists as show control writes them, such as ["2", "2.5"]'),
        (REMOTE, 'lists = ["two"]', 'a list of cue lists as show control writes them, such as ["2", "2.5"]'),
        (REMOTE, "lists = []", 'a list of cue lists as show control writes them, such as ["2", "2.5"]'),
        (OSC, 'tell = ["192.168.1.20"]', TARGET),
        (OSC, 'tell = ["192.168.1.20:0"]', TARGET),
        (OSC, 'tell = ["192.168.1.20:65536"]', TARGET),
        (OSC, 'tell = ["surface:9000"]', TARGET),
        (OSC, 'tell = ["::1:9000"]', TARGET),
        (OSC, 'tell = ["[192.168.1.20]:9000"]', TARGET),
        (OSC, f'tell = ["192.168.1.20:{"9" * 5000}"]', TARGET),
        (OSC, 'tell = "192.168.1.20:9000"', 'a list of at most 16 addresses with ports, such as ["192.168.1.20:9000"]'),
        (OSC, f"tell = {['10.0.0.1:9000'] * 17}", "a list of at most 16 addresses with ports"),
    ],
)
def test_what_else_they_say_is_reported(table: str, line: str, said: str) -> None:
    """Anything else is reported with what is allowed."""
    assert f"; allowed: {said}" in problem(table, line)
