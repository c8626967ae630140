"""Mistakes about MPE zones in a rig file: each with its line, and all at once."""

import pytest

from engine.rig.read.load import RigError, read

HEAD = """
format = 2
[inputs]
grid = { port = "a", mpe = { members = [2, 8] } }
other = { port = "b", mpe = { members = [9, 15] } }
keys = { port = "c" }
[outputs]
synth = { port = "d" }
[instruments.wide]
output = "synth"
mpe = { members = [2, 8], bend = 24 }
"""
SCENE = '[[scenes]]\nnumber = 1\nname = "One"\n'


def _faults(more: str, head: str = HEAD) -> list[str]:
    with pytest.raises(RigError) as caught:
        read(head + more, "r.toml")
    return str(caught.value).split("\n")


def test_a_zone_fills_in_its_channel() -> None:
    """The manager is the instrument's channel, and the zone all that it receives on."""
    rig = read(HEAD + SCENE, "r.toml")
    assert rig.instruments["wide"].channel == 1
    assert rig.instruments["wide"].channels == (1, 2, 3, 4, 5, 6, 7, 8)
    assert rig.inputs["grid"].mpe is not None
    assert rig.inputs["grid"].mpe.bend == 48


def test_either_a_zone_or_a_channel() -> None:
    """Both is a mistake."""
    (fault,) = _faults('[instruments.two]\noutput = "synth"\nchannel = 10\nmpe = { members = [12, 15] }\n' + SCENE)
    assert fault.startswith("r.toml:14: instruments.two.channel: found both mpe and channel; leave out channel")


def test_a_zone_shares_no_channel() -> None:
    """Neither with an instrument nor with another zone of the same output."""
    assert _faults('[instruments.two]\noutput = "synth"\nchannel = 3\n' + SCENE) == [
        'r.toml:11: instruments.wide.mpe: channel 3 of the zone is one of "two" on the same output; '
        "choose other members"
    ]
    assert len(_faults('[instruments.two]\noutput = "synth"\nmpe = { members = [8, 15] }\n' + SCENE)) == 2


def test_a_zone_has_no_spare_channels() -> None:
    """Its notes move from member to member anyway."""
    (fault,) = _faults('[instruments.two]\noutput = "synth"\nmpe = { members = [12, 15] }\nspare = [10]\n' + SCENE)
    assert "leave out mpe or spare" in fault


def test_a_zone_s_members_have_pressures_of_their_own() -> None:
    """So `pressure`, which is for instruments with a channel, is refused beside `mpe`."""
    (fault,) = _faults('[instruments.two]\noutput = "synth"\nmpe = { members = [12, 15] }\npressure = "keys"\n' + SCENE)
    assert "instruments.two.pressure: each member of a zone has its own; leave out mpe or pressure" in fault


def test_members_that_are_no_zone() -> None:
    """What is allowed is said, and nothing is reported beside it."""
    (fault,) = _faults('[instruments.two]\noutput = "synth"\nmpe = { members = [3, 8] }\n' + SCENE)
    assert "begin at 2" in fault
    (fault,) = _faults('[instruments.two]\noutput = "synth"\nmpe = { members = [12, 15], bend = 97 }\n' + SCENE)
    assert "semitones from 1 to 96" in fault


def test_a_line_plays_one_kind_of_zone() -> None:
    """Inputs with different zones need lines of their own; a channel of a zone is no part to play alone."""
    lines = 'play = [ { from = ["grid", "keys"], on = "wide" }, { from = "grid", on = "wide", channel = 3 } ]\n'
    first, second = _faults(SCENE + lines)
    assert "different zones (grid, keys); give each a line of its own" in first
    assert '"grid" has an MPE zone, which plays as a whole; leave out channel' in second


def test_zones_need_format_2() -> None:
    """A rig of format 1 says so."""
    faults = _faults(SCENE, HEAD.replace("format = 2", "format = 1"))
    assert len([fault for fault in faults if "needs format = 2" in fault]) == 3
