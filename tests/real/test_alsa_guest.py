"""Tests of the ALSA sequencer, Linux's own backend. Few test machines have one: a small virtual machine provides it."""

import re

from tests.support.alsa_guest import QEMU, Guest
from tests.support.needed import need


def test_ports_on_the_alsa_sequencer(guest: Guest | None) -> None:
    """Everything in alsa_inside.py holds on a real ALSA sequencer, and no test in it was left out."""
    need(QEMU)
    assert guest is not None
    status, said = guest.result()
    assert status == 0, said
    assert re.search(r"\b[1-9]\d* passed\b", said), said
    assert not re.search(r"\d+ (skipped|deselected|xfailed)\b", said), said
