"""The players and boxes of a stage, in a process that may be killed with the JACK server it plays on.

Arguments: the song, and "own" for ports of their own or "join" to connect to an engine's. Reads a line, answers a line:
`recall SCENE`, `settle SCENE` (release everything; answers what is left, as JSON).
"""

import json
import sys
from pathlib import Path

from tests.support.jack_ends import song
from tests.support.jack_stage import Ends


def main(file: str, how: str) -> None:
    """Run until the input ends."""
    ends = Ends(1, song(Path(file)), joins=how == "join")
    print("there", flush=True)
    for line in sys.stdin:
        do, scene = line.split()
        if do == "play":
            ends.song.start()
        elif do == "recall":
            ends.recall(int(scene))
            ends.grab()
        else:
            ends.scene = int(scene)
            with ends.song.paused():
                ends.piano.hands_off()
                ends.organ.hands_off()
                print(json.dumps(ends.settle()), flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
