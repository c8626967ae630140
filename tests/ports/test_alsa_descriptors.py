"""Which descriptor a driver has opened. (Our own design; how RtMidi opens the sequencer is tested on a real one.)"""

import os
from functools import partial
from pathlib import Path

from engine.fault_log import faults
from engine.ports.alsa_descriptors import descriptors_of


def opener(path: Path, times: int) -> list[int]:
    """Opens a file so many times."""
    return [os.open(path, os.O_RDONLY) for _ in range(times)]


def test_the_new_descriptor_is_found(tmp_path: Path) -> None:
    """One that was open before, and one on another file, are not it."""
    sequencer, other = tmp_path / "seq", tmp_path / "other"
    sequencer.touch()
    other.touch()
    made = opener(sequencer, 1)
    (found, *rest), descriptors = descriptors_of(
        lambda: opener(sequencer, 1) + opener(other, 1), sequencer=str(sequencer)
    )
    assert descriptors == (found,)
    for descriptor in (*made, found, *rest):
        os.close(descriptor)


def test_where_it_is_not_certain_there_is_none(tmp_path: Path) -> None:
    """Neither of two, none at all, nor on a system that does not list them; each time the log says so."""
    noted = faults.count
    sequencer = tmp_path / "seq"
    sequencer.touch()
    for times, expected in ((0, 0), (1, 1), (2, 0)):
        made, descriptors = descriptors_of(partial(opener, sequencer, times), sequencer=str(sequencer))
        assert len(descriptors) == expected
        for descriptor in made:
            os.close(descriptor)
    made, descriptors = descriptors_of(lambda: opener(sequencer, 1), tmp_path / "none", str(sequencer))
    assert descriptors == ()
    assert faults.count == noted + 3
    os.close(made[0])
