"""Records the frames that go into one cable, and sends them again: run at the switch of `network_namespaces`.

The argument is the cable's interface.

Prints "recording"; at the first line on standard input it sends everything again, twice, and prints how many frames
that was.
"""

import select
import socket
import sys

from tests.support.bad_cable import MOST, end


def main() -> None:
    """Record, and send again."""
    out = end(sys.argv[1], outgoing=True)
    print("recording", flush=True)
    frames: list[bytes] = []
    while True:
        ready = select.select([out, sys.stdin], [], [])[0]
        if sys.stdin in ready:
            break
        frame, where = out.recvfrom(MOST)
        if where[2] == socket.PACKET_OUTGOING:
            frames.append(frame)
    for frame in frames * 2:
        out.send(frame)
    print(len(frames), flush=True)


if __name__ == "__main__":
    main()
