"""What the engine has to say beside what it sends: results of commands, news, and requests that need files or threads.

The caller takes them away after each call, and clears the lists.
"""

from collections import deque
from dataclasses import dataclass, field

from engine.core.command_result import CommandResult
from engine.core.control.remote_messages import RemoteRequest


@dataclass(slots=True)
class Reports:
    """`outcomes`: of commands that came in as messages or with the time code; `news`: (port, sentence) of what happened
    by itself; `requests`: (input index, request) of another machine, to be carried out by the show, the oldest first.
    """

    outcomes: list[CommandResult] = field(default_factory=list)
    news: list[tuple[str, str]] = field(default_factory=list)
    requests: deque[tuple[int, RemoteRequest]] = field(default_factory=deque)
