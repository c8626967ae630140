"""A link of its own process, worked from outside: run on a machine of a `Hall`, one JSON object a line each way.

The first line in is the settings' fields. Then `{"do": METHOD, ...}` is answered by `{"done": what it returned}`; what
a subscription hears comes as `{"heard": [key, payload]}`, what a watch sees as `{"seen": [key, there]}` and a question
that was answered as `{"asked": payload}`. Payloads are text.
"""

import json
import sys
import threading
from typing import Any

from engine.cluster.link.join import open_link
from engine.cluster.link.link import Link, LinkError, LinkSettings

_printing = threading.Lock()


def say(**what: Any) -> None:
    """One line out; any thread."""
    with _printing:
        print(json.dumps(what), flush=True)


def do(link: Link, what: str, key: str, payload: str) -> Any:
    """One line in."""
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
    """Until the end of what comes in."""
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
