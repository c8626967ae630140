"""What all requests on the engine's socket share: their base, and the kinds of values in their fields."""

import json
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Final

from pydantic import BaseModel, ConfigDict, Field, InstanceOf

#: bytes of a request: a whole rig may come in one
LONGEST_REQUEST: Final = 8 << 20
MOST_SECONDS: Final = 3600.0
MOST_BYTES: Final = 1 << 24

_NAME: Final = 1000  # characters of a name
_PATH: Final = 5000  # characters of a path
_LISTED: Final = 1000  # names, routes, filters or steps in one request
_INT: Final = 1 << 53  # whole numbers up to here are the same for every reader of JSON


@dataclass(frozen=True)
class LongText:
    """A text of a long request that has not been read: the request's line in pieces, and the name of the field."""

    pieces: tuple[bytes, ...]
    field: str

    def read(self) -> str:
        """The text. It takes time and memory: for the worker process."""
        text: str = json.loads(b"".join(self.pieces))[self.field]
        return text


def whole_text(text: str | LongText) -> str:
    """The text, which is read if need be: for the worker process."""
    return text if isinstance(text, str) else text.read()


Facts = dict[str, Any]
Number = Annotated[int, Field(ge=-_INT, le=_INT)]
Name = Annotated[str, Field(max_length=_NAME)]
Listed = Annotated[list[Name], Field(max_length=_LISTED)]
FilePath = Annotated[str, Field(max_length=_PATH)]
Seconds = Annotated[float, Field(ge=0, le=MOST_SECONDS, allow_inf_nan=False)]
Links = Annotated[list[Facts | Name], Field(max_length=_LISTED)]
Tables = Annotated[list[Facts], Field(max_length=_LISTED)]
Unread = InstanceOf[LongText]


class Request(BaseModel):
    """Base of all requests: the fields beside "do" and "what". Errors quote the description of the field at fault."""

    #: fields that stay unread in the engine if the request is long
    long_texts: ClassVar[tuple[str, ...]] = ()

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid")
