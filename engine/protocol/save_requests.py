"""Requests about the rig's file and its versions, backups and what comes back from them."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from engine.protocol.fields import LONGEST_REQUEST, FilePath, Name, Number, Request, Unread


class SaveRequest(Request):
    """Write the current rig to its file."""

    choice: Literal["playing", "file"] | None = Field(None, description='"playing" or "file"')


class SaveAsRequest(Request):
    """Write the current rig to another file, which is its file from then on."""

    file: FilePath = Field(description="a path that ends in .toml; a bare name is in the player's home folder")


class UndoSaveRequest(Request):
    """Play and save an earlier version of the file."""

    version: Number | None = Field(None, description="a version's whole number")


class HistoryRequest(Request):
    """The versions of the file."""


class UnsavedRequest(Request):
    """What differs between the current rig and its file, or one of its versions."""

    version: Number | None = Field(None, description="a version's whole number")


class BackupRequest(Request):
    """The current rig as text, or as SysEx to an output."""

    output: Name | None = Field(None, description="the name of an output, or null for the text")


class ReplaceRigRequest(Request):
    """Play this rig instead of the current one, if it changes nothing that only its file may say."""

    long_texts: ClassVar = ("text",)

    text: Annotated[str, Field(max_length=LONGEST_REQUEST)] | Unread = Field(description="a whole rig file as text")
    where: FilePath = Field(description="where the text comes from, for the answer")


class RestoreRequest(Request):
    """Play this rig instead of the current one."""

    long_texts: ClassVar = ("text",)

    text: Annotated[str, Field(max_length=LONGEST_REQUEST)] | Unread = Field(description="a whole rig file as text")
    where: FilePath = Field(description="where the text comes from, for the answer")
