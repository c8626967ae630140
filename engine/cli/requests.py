"""Requests from the shell to a running engine: sent, answered, and the answer printed."""

from typing import Any

from engine.answer_codes import AnswerCode
from engine.cli.output import CommandError, as_json, print_words
from engine.live.socket import client
from engine.plurals import counted

PATIENCE = 5.0  # seconds
LONG_PATIENCE = 30.0  # seconds: a large rig is read, compiled, written and read back


def done(name: str, request: dict[str, Any], patience: float = PATIENCE) -> dict[str, Any]:
    """The engine's answer to a request. Raises CommandError with the engine's own sentence if it refused."""
    answer = client.ask(name, request, patience)
    if not answer["done"]:
        raise CommandError(answer["text"])
    return answer


def do(name: str, request: dict[str, Any], json: bool, patience: float = PATIENCE) -> None:
    """Have a request carried out, and print the answer. Raises CommandError if the engine refused."""
    show(done(name, request, patience), json)


def show(answer: dict[str, Any], json: bool) -> None:
    """Print an answer: its sentence, or all of it as JSON."""
    if json:
        as_json(answer)
    else:
        print_words(answer["text"])


def command(name: str, request: dict[str, Any], json: bool) -> None:
    """Have a show command carried out, and print the answer with what it cost."""
    show_command(commanded(name, request), json)


def for_player(request: dict[str, Any], player: str) -> dict[str, Any]:
    """The same request for one player; "" names none."""
    return {**request, "player": player} if player else request


def commanded(name: str, request: dict[str, Any]) -> dict[str, Any]:
    """The engine's answer to a show command. The end of the set list is not an error; an unknown scene is."""
    answer = client.ask(name, request)
    if not answer["done"] and answer["code"] != AnswerCode.END_OF_SETLIST:
        raise CommandError(answer["text"])
    return answer


def show_command(answer: dict[str, Any], json: bool) -> None:
    """Print the answer to a show command, with the bytes that it sent and the notes that it carried over."""
    show(answer if json else {"text": answer["text"] + _cost(answer)}, json)


def _cost(answer: dict[str, Any]) -> str:
    parts = []
    if answer["burst_bytes"]:
        parts.append(f"{answer['burst_bytes']} bytes sent")
    if answer["held"] and not answer["do"].startswith("panic"):
        parts.append(f"{counted(answer['held'], 'note')} carried over")
    return f" ({'; '.join(parts)})" if parts else ""
