"""The ALSA sequencer is Linux's own backend, and few test machines have one: a small virtual machine does."""

import re

from tests.support.alsa_guest import QEMU, Guest
from tests.support.needed import need


def test_ports_on_the_alsa_sequencer(guest: Guest | None) -> None:
    """All that alsa_inside.py says holds on a real ALSA sequencer, and nothing in it was left out."""
    need(QEMU)
    assert guest is not None
    status, said = guest.result()
    assert status == 0, said
    assert re.search(r"\b[1-9]\d* passed\b", said), said
    assert not re.search(r"\d+ (skipped|deselected|xfailed)\b", said), said
