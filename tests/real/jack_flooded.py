"""Run by test_jack_flood.py: closes virtual ports in the middle of a flood, while JACK's own threads get little time.

Arguments: how often. Prints how many messages of the flood were heard.
"""

import os
import sys
import threading
import time
from itertools import count

import rtmidi

from engine.ports.jackserver import JackServer
from engine.ports.jacksystem import JackSystem

FLOOD = [b"\x90\x40\x40"] * 15 + [b"\xf0\x7d" + bytes(400) + b"\xf7"]


def starve() -> None:
    """JACK's threads that hear news, which are no real-time ones, get the processor when nobody else wants it."""
    ours = {thread.native_id for thread in threading.enumerate()}
    for thread in {int(name) for name in os.listdir("/proc/self/task")} - ours:
        if os.sched_getscheduler(thread) == os.SCHED_OTHER:
            os.sched_setscheduler(thread, os.SCHED_IDLE, os.sched_param(0))


def flood(source: rtmidi.MidiOut, ended: threading.Event) -> None:
    """Until the end; slower than the server takes it, for a full ring stops the process."""
    while not ended.wait(0.01):
        for message in FLOOD:
            source.send_message(message)


def main(times: int) -> None:
    """Ports come and go."""
    source = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="Flood")
    source.open_virtual_port("out")
    ended = threading.Event()
    flooding = threading.Thread(target=flood, args=(source, ended))
    flooding.start()
    system, cables = JackSystem("bayleaf"), JackServer("cables")
    heard = 0
    for number in range(times):
        ports = [system.open_virtual_input(f"keys {number} {part}") for part in range(2)]
        strings = system.open_virtual_output(f"strings {number}")
        for port in ports:
            cables.join("Flood:out", port.name)
        starve()
        before, end = heard, time.monotonic() + 20
        for tries in count():
            heard += sum(len(port.poll()) for port in ports)
            if heard > before or time.monotonic() > end:
                break
            time.sleep(0.001 * (tries > 0))
        for port in (*ports, strings):
            port.close()
    system.close()
    cables.close()
    ended.set()
    flooding.join()
    source.delete()
    print("heard" if heard > times else f"{heard} heard")


if __name__ == "__main__":
    main(int(sys.argv[1]))
