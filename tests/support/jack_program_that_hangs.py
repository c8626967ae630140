"""Another program on the JACK server, with one port each way, to be stopped by its test: "held:play", "held:hear"."""

import sys

from engine.ports.jack_client.native import Client


def main() -> None:
    """Until standard input ends."""
    client = Client("held")
    client.open(True, "play")
    client.open(False, "hear")
    print("there", flush=True)
    sys.stdin.read()
    client.close()


if __name__ == "__main__":
    main()
