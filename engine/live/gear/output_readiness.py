"""Whether something may be sent to an output beside the show: it is there, and takes what it is sent."""

from engine.live.show import Show
from engine.protocol import Answer, AnswerCode, refused


def not_ready(show: Show, output: str, owner: str = "") -> Answer | None:
    """The answer if nothing can be sent to an output of the rig now, or None; `owner`: whose output it is."""
    index, whose = show.outputs.index(output), f" of {owner}" if owner else ""
    if index in show.ports.missing()[1]:
        return refused(AnswerCode.MISSING_PORT, f"output {output}{whose} is missing; nothing was sent")
    if index in show.ports.stuck() or show.engine.state.cables[index].full:
        return refused(AnswerCode.BUSY, f"output {output}{whose} is full; nothing was sent. Try again later")
    return None
