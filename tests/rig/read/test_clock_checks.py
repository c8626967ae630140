"""What a rig may say of its clock's outputs, and the errors about it. (Our own design; no source.)"""

import pytest

from engine.rig.models.sync import Clock
from engine.rig.read.load import RigError, read

RIG = """format = {format}
[outputs]
drums = {{ port = "a" }}
lamp = {{ port = "b" }}
[sync.clock]
to = "drums"
{line}
[[scenes]]
number = 1
name = "One"
"""


def clock(line: str) -> Clock:
    found = read(RIG.format(format=2, line=line), "pit.toml").sync.clock
    assert found is not None
    return found


def problem(line: str, rig_format: int = 2) -> str:
    """The one problem that the rig's line 7 has."""
    with pytest.raises(RigError) as fault:
        read(RIG.format(format=rig_format, line=line), "pit.toml")
    (found,) = fault.value.problems
    assert found.line == 7
    return f"{found.key}: {found.text}"


def test_what_is_read() -> None:
    """An offset is a time with its sign, in nanoseconds; who gets start and stop is a name, a list, or nobody."""
    assert (clock("").idle, clock("").offset, clock("").transport) == (True, {}, None)
    assert not clock("idle = false").idle
    assert clock('offset = { drums = "-4.25 ms" }').offset == {"drums": -4_250_000}
    assert clock('offset = { drums = "+100ms" }').offset == {"drums": 100_000_000}
    assert clock('transport = "drums"').transport == clock('transport = ["drums"]').transport == ("drums",)
    assert clock("transport = []").transport == ()


@pytest.mark.parametrize(
    ("key", "line"),
    [("idle", "idle = false"), ("offset", 'offset = { drums = "1 ms" }'), ("transport", 'transport = "drums"')],
)
def test_new_keys_need_format_2(key: str, line: str) -> None:
    """In a rig of format 1 each new key is an error at its line, which says what to write."""
    assert problem(line, 1) == f"sync.clock.{key}: this key needs format = 2 in the first line of the file; it says 1"


@pytest.mark.parametrize("value", ['"100.001 ms"', '"-101 ms"', '"4"', '"4 s"', '"ms"', "4", '"4 ms later"'])
def test_a_wrong_offset(value: str) -> None:
    """An offset that is no time, or too far away to be one of gear, is an error that says what is allowed."""
    found = problem(f"offset = {{ drums = {value} }}")
    assert found.startswith("sync.clock.offset.drums: found ")
    assert found.endswith('allowed: a time from "-100 ms" to "100 ms", such as "-4 ms"')


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ('offset = { lamp = "1 ms" }', 'offset.lamp: "lamp" does not get the clock; add it to the list `to`'),
        ('offset = { drum = "1 ms" }', 'offset.drum: "drum" does not get the clock; add it to the list `to`'),
        ('transport = "lamp"', 'transport: "lamp" does not get the clock; add it to the list `to`'),
        ('transport = ["drums", "lamp"]', 'transport.2: "lamp" does not get the clock; add it to the list `to`'),
        ('transport = "drum"', 'transport: there is no output "drum"; did you mean "drums"? there are: drums, lamp'),
        ("transport = [1]", "transport.1: found 1; allowed: text in quotes"),
        ("transport = 1", 'transport: found 1; allowed: a name, or a list of names such as ["keys", "pads"]'),
        ("idle = 1", "idle: found 1; allowed: true or false"),
    ],
)
def test_outputs_without_the_clock(line: str, text: str) -> None:
    """An offset and a transport are for outputs that get the clock; other names are errors with a remedy."""
    assert problem(line).startswith(f"sync.clock.{text}")
