"""Requests as they come, one JSON object on a line: short ones are read in the engine, long ones in another process."""

import json
from typing import NamedTuple

from engine.protocol.answers import Answer, AnswerCode, refused
from engine.protocol.fields import LongText, Request
from engine.protocol.request_table import RequestError, Row, read_request


class LongLine(NamedTuple):
    """A long request, in the pieces in which it came."""

    pieces: tuple[bytes, ...]

    def of(self, request: Request) -> Request:
        """What `read_long` made of this line, with its texts, which stay unread."""
        texts = {field: LongText(self.pieces, field) for field in request.long_texts}
        return request.model_copy(update=texts)


def read_line(line: bytes) -> tuple[Row, Request]:
    """A short request, checked. Raises RequestError."""
    try:
        return read_request(json.loads(line))
    except (ValueError, RecursionError):
        raise RequestError(AnswerCode.BAD_REQUEST, "a request is one JSON object on a line") from None


def read_long(line: LongLine) -> tuple[Row, Request] | Answer:
    """A long request without its texts, checked with them; or why it cannot be read. For the worker process."""
    try:
        row, request = read_line(b"".join(line.pieces))
    except RequestError as fault:
        return refused(fault.code, str(fault))
    return row, request.model_copy(update=dict.fromkeys(request.long_texts, ""))
