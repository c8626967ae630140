"""A link in a process of its own, controlled from outside: run on a machine, with one JSON object per line each way.

The first line in holds the settings' fields. Then `{"do": METHOD, ...}` is answered by `{"done": what it returned}`; a
message to a subscription comes as `{"heard": [key, payload]}`, a change of a watch as `{"seen": [key, there]}` and a
question that was answered as `{"asked": payload}`. Payloads are text.
"""

import json
import sys
import threading
from typing import Any

from engine.cluster.link.join import open_link
from engine.cluster.link.link import Link, LinkError, LinkSettings

_printing = threading.Lock()


def say(**what: Any) -> None:
    """Write one line; may be called from any thread."""
    with _printing:
        print(json.dumps(what), flush=True)


def do(link: Link, what: str, key: str, payload: str) -> Any:
    """Carry out one line."""
    if what == "subscribe":
        link.subscribe(key, lambda key, payload: say(heard=[key, payload.decode()]))
    elif what == "subscribe_state":
        link.subscribe_state(key, lambda key, payload: say(heard=[key, payload.decode()]))
    elif what == "watch":
        link.watch(key, lambda key, there: say(seen=[key, there]))
    elif what == "answer":
        link.answer(key, lambda question: _answered(question, payload))
    elif what == "ask":
        return [each.decode() for each in link.ask(key, payload.encode())]
    elif what in ("publish", "keep"):
        getattr(link, what)(key, payload.encode())
    else:
        return getattr(link, what)(key)
    return None


def _answered(question: bytes, answer: str) -> bytes:
    say(asked=question.decode())
    return answer.encode()


def main() -> None:
    """Run until the input ends."""
    try:
        link = open_link(LinkSettings(**json.loads(sys.stdin.readline())))
    except LinkError as fault:
        say(fault=str(fault))
        return
    say(done="open")
    for line in sys.stdin:
        order = json.loads(line)
        say(done=do(link, order["do"], order.get("key", ""), order.get("payload", "")))
    link.close()


if __name__ == "__main__":
    main()
