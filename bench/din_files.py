"""What the order of a DIN cable gains for notes: real songs into one DIN output, against a plain queue.

    python -m bench.din_files [--running-status] FILE.mid ...

In virtual time, so no figure depends on the machine. For each file, from a note's arrival to the end of its last byte
at 320 µs per byte: the median and the worst of all notes, in a first-in first-out queue and on Bayleaf's cable, and how
many values were replaced by newer ones.
"""

import argparse
import statistics
from collections import deque
from pathlib import Path

import mido
from rich.console import Console
from rich.table import Table

from engine.core.cable.output_cable import Delivery
from engine.core.cable.scheduler import Cable
from engine.core.cable.speed import DIN, DIN_RUNNING, CableSpeed

Song = list[tuple[int, bytes]]  # ns, message


def song(path: Path) -> Song:
    """All messages of a file, its tracks merged; meta events are left out."""
    file = mido.MidiFile(path)
    now, tempo, played = 0, 500_000, []  # µs times ticks per beat
    for message in mido.merge_tracks(file.tracks):
        now += message.time * tempo
        if message.type == "set_tempo":
            tempo = message.tempo
        if not message.is_meta:
            played.append((round(now * 1000 / file.ticks_per_beat), bytes(message.bytes())))
    return played


def is_note(message: bytes) -> bool:
    """Note-on or note-off."""
    return message[0] & 0xE0 == 0x80


def note_times(played: Song, out: list[tuple[bytes, int]], speed: CableSpeed) -> list[int]:
    """Nanoseconds each note took; `out` has the messages as they left, with the time of their first byte."""
    came = deque(at for at, message in played if is_note(message))
    status, took = 0, []
    for message, sent in out:
        ends = sent + speed.cost(message, status)
        status = message[0]
        if is_note(message):
            took.append(ends - came.popleft())
    return took


def plain_queue(played: Song, speed: CableSpeed) -> list[tuple[bytes, int]]:
    """First in, first out."""
    free_at, status, out = 0, 0, []
    for at, message in played:
        start = max(free_at, at)
        out.append((message, start))
        free_at, status = start + speed.cost(message, status), message[0]
    return out


def our_wire(played: Song, speed: CableSpeed) -> tuple[list[tuple[bytes, int]], int]:
    """As the engine plays it; and how many values were replaced by newer ones."""
    cable, out = Cable(0, speed), list[Delivery]()
    for at, message in played:
        while cable.due is not None and cable.due <= at:
            cable.flush(cable.due, out)
        cable.put(at, (message,), out)
    while cable.due is not None:
        cable.flush(cable.due, out)
    return [(message, sent) for _, message, sent in out], cable.counts.replaced


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--running-status", action="store_true")
    chosen = parser.parse_args()
    speed = DIN_RUNNING if chosen.running_status else DIN
    table = Table("file", "notes", "median plain", "median ours", "worst plain", "worst ours", "gave way")
    worst_of_all = [0.0, 0.0]
    for path in chosen.files:
        played = song(path)
        out, replaced = our_wire(played, speed)
        figures = [
            [took / 1e6 for took in note_times(played, each, speed)] for each in (plain_queue(played, speed), out)
        ]
        medians = [statistics.median(times) for times in figures]
        worst = [max(times) for times in figures]
        worst_of_all = [max(pair) for pair in zip(worst_of_all, worst, strict=True)]
        table.add_row(path.name, str(len(figures[0])), *(f"{one:.2f}" for one in (*medians, *worst)), str(replaced))
    console = Console(width=120)
    console.print(table)
    console.print(f"worst of all: {worst_of_all[0]:.2f} ms in a plain queue, {worst_of_all[1]:.2f} ms on our wire")


if __name__ == "__main__":
    main()
