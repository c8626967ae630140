"""A bad cable between two network interfaces: some frames are lost, the others are delayed by varying times.

    python -m tests.support.bad_cable ONE OTHER LOSS DELAY JITTER

LOSS is the share of frames lost, 0 to 1; DELAY is in milliseconds, plus or minus JITTER, evenly spread, so that frames
overtake each other. Prints "ready", and starts at the first line on standard input. Does what netem does, which not all
kernels have. Frames keep their offloaded checksums and sizes (packet(7), PACKET_VNET_HDR).
"""

import heapq
import itertools
import os
import random
import select
import socket
import sys
import time
from typing import Final

_ALL: Final = 3  # ETH_P_ALL
_PACKET: Final = 263  # SOL_PACKET
_VNET_HDR: Final = 15
_IGNORE_OUTGOING: Final = 23
MOST: Final = 1 << 17


def end(interface: str, outgoing: bool = False) -> socket.socket:
    """A socket that receives all frames arriving at an interface (and those leaving it), and can send from it."""
    made = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(_ALL))
    made.setsockopt(_PACKET, _VNET_HDR, 1)
    made.setsockopt(_PACKET, _IGNORE_OUTGOING, not outgoing)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
    made.bind((interface, 0))
    made.setblocking(False)
    return made


def carry(one: socket.socket, other: socket.socket, loss: float, delay: float, jitter: float) -> None:
    """Carry frames for ever; `delay` and `jitter` in seconds."""
    there = {one: other, other: one}
    chance, order = random.Random(1), itertools.count()
    waiting: list[tuple[float, int, socket.socket, bytes]] = []
    while True:
        left = max(0.0, waiting[0][0] - time.monotonic()) if waiting else None
        for ready in select.select([one, other], [], [], left)[0]:
            try:
                frame = ready.recv(MOST)
            except OSError:  # the cable is pulled
                continue
            if chance.random() >= loss:
                due = time.monotonic() + delay + chance.uniform(-jitter, jitter)
                heapq.heappush(waiting, (due, next(order), there[ready], frame))
        while waiting and waiting[0][0] <= time.monotonic():
            _, _, out, frame = heapq.heappop(waiting)
            try:
                out.send(frame)
            except OSError:  # as above, or its queue is full: lost
                continue


if __name__ == "__main__":
    os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(50))  # a cable does not wait for a processor
    ends = end(sys.argv[1]), end(sys.argv[2])
    print("ready", flush=True)
    sys.stdin.readline()
    carry(*ends, float(sys.argv[3]), float(sys.argv[4]) / 1e3, float(sys.argv[5]) / 1e3)
