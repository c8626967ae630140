"""Tests of the ALSA sequencer, Linux's own backend, and of page-turn pedals.

Few test machines have either: a small virtual machine provides them.
"""

import re

import pytest

from tests.support.alsa_guest import QEMU, Guest
from tests.support.needed import need


@pytest.mark.timeout(1500)  # longer than the guest may take, three times
def test_ports_on_a_real_kernel(guest: Guest | None) -> None:
    """Everything in alsa_inside.py and keyboards_inside.py holds on a real kernel, and no test was left out."""
    need(QEMU)
    assert guest is not None
    status, said = guest.result()
    assert status == 0, said
    assert re.search(r"\b[1-9]\d* passed\b", said), said
    assert not re.search(r"\d+ (skipped|deselected|xfailed)\b", said), said
