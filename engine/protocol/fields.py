"""What all requests on the engine's socket share: their base, and the kinds of values in their fields."""

from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field

#: bytes of a request: a whole rig may come in one
LONGEST_REQUEST: Final = 8 << 20
MOST_SECONDS: Final = 3600.0
MOST_BYTES: Final = 1 << 24

_NAME: Final = 1000  # characters of a name
_PATH: Final = 5000  # characters of a path
_LISTED: Final = 1000  # names, routes, filters or steps in one request
_INT: Final = 1 << 53  # whole numbers up to here are the same for every reader of JSON

Facts = dict[str, Any]
Number = Annotated[int, Field(ge=-_INT, le=_INT)]
Name = Annotated[str, Field(max_length=_NAME)]
Listed = Annotated[list[Name], Field(max_length=_LISTED)]
FilePath = Annotated[str, Field(max_length=_PATH)]
Seconds = Annotated[float, Field(ge=0, le=MOST_SECONDS, allow_inf_nan=False)]
Links = Annotated[list[Facts | Name], Field(max_length=_LISTED)]
Tables = Annotated[list[Facts], Field(max_length=_LISTED)]


class Request(BaseModel):
    """Base of all requests: the fields beside "do" and "what". Errors quote the description of the field at fault."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid")
