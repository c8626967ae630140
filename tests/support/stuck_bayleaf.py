"""`bayleaf` whose loop gets stuck for a while on SIGUSR1, as in a call that does not return."""

import signal
import time

from engine.cli.app import main

STUCK = 1.5  # seconds

if __name__ == "__main__":
    # a handler runs in the main thread, between two steps of the loop; all other threads keep running
    signal.signal(signal.SIGUSR1, lambda *_: time.sleep(STUCK))
    main()
