"""Writes a snapshot of the flight recorder to a file, in a process of its own.

Python runs one thread at a time, so a thread that writes a long file would disturb the show; a process does not.
Started as `python -m engine.live.recording_writer` it takes its work from stdin and answers with one sentence.
"""

import contextlib
import marshal
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import IO, Final

from engine.fault_log import faults
from engine.live.recorder import PackedPiece, RecorderSnapshot
from engine.live.recording_files import RecordingFileError, RecordingNames, refuse, write

_NICE: Final = 10  # the show comes first
_FAULT: Final = 3  # exit status, apart from Python's own


def keep(
    kept: RecorderSnapshot, file: Path, inputs: Sequence[str], outputs: Sequence[str], rig_name: str
) -> str:  # any thread
    """Write `kept` to `file`, an absolute path that ends in .mid or .jsonl; the sentence that says what was kept.

    `inputs` and `outputs` are the names of the ports by index. Blocks until the file is on the disk, so call it in a
    worker thread. Raises RecordingFileError, and then nothing was written.
    """
    refuse(file)
    command = [sys.executable, "-P", "-m", "engine.live.recording_writer"]
    pipe = subprocess.PIPE
    try:
        # A session of its own: the Ctrl-C that ends the engine must not lose the recording.
        writer = subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, start_new_session=True)
    except OSError as fault:
        raise RecordingFileError(
            f"nothing was kept: no process to write it could be started ({fault.strerror})"
        ) from None
    with writer:
        assert writer.stdin is not None
        with contextlib.suppress(BrokenPipeError):  # it has ended; what it said is read below
            _hand_over(writer.stdin, kept, (str(file), rig_name, tuple(inputs), tuple(outputs)))
        said, complaint = (text.decode("utf-8", "replace").strip() for text in writer.communicate())
    if writer.returncode == 0:
        return said
    if writer.returncode == _FAULT:
        raise RecordingFileError(said)
    faults.record(f"writing {file}", RuntimeError(complaint))  # the traceback of the other process
    last = complaint.rpartition(os.linesep)[2]
    raise RecordingFileError(f"nothing was kept: a fault of Bayleaf itself: {last}{faults.details}")


# One piece after the other: marshal holds up every thread while it works, and a whole recording takes it long.

_Job = tuple[str, str, tuple[str, ...], tuple[str, ...]]  # file, rig, inputs, outputs


def _hand_over(pipe: IO[bytes], kept: RecorderSnapshot, job: _Job) -> None:
    marshal.dump((job, kept.since, kept.until, kept.clock, kept.reaches, len(kept.pieces)), pipe)
    for piece in kept.pieces:
        marshal.dump(tuple(piece), pipe)


def _receive(pipe: IO[bytes]) -> tuple[RecorderSnapshot, _Job]:
    job, since, until, clock, reaches, count = marshal.load(pipe)
    return RecorderSnapshot(since, until, clock, reaches, [PackedPiece(*marshal.load(pipe)) for _ in range(count)]), job


def _main() -> int:
    with contextlib.suppress(OSError):
        os.nice(_NICE)
    kept, (file, rig, inputs, outputs) = _receive(sys.stdin.buffer)
    try:
        said, status = write(kept, Path(file), RecordingNames(rig, inputs, outputs)), 0
    except RecordingFileError as fault:
        said, status = str(fault), _FAULT
    sys.stdout.buffer.write(said.encode("utf-8", "replace"))
    return status


if __name__ == "__main__":
    sys.exit(_main())
