"""Edits of a rig file's text that leave the author's comments and layout alone."""

from collections.abc import Sequence
from typing import Any


class EditFault(Exception):
    """An edit cannot be made; the text says why, where and what to do, in one sentence."""


def copy_scene(text: str, number: int, new: int, name: str | None = None) -> str:
    raise NotImplementedError


def rename_scene(text: str, number: int, name: str) -> str:
    raise NotImplementedError


def renumber_scene(text: str, number: int, new: int) -> str:
    raise NotImplementedError


def move_scene(text: str, number: int, before: int | None) -> str:
    raise NotImplementedError


def delete_scene(text: str, number: int) -> str:
    raise NotImplementedError


def put_scene(
    text: str, number: int, name: str, routes: Sequence[dict[str, Any]], burst: Sequence[dict[str, Any]]
) -> str:
    raise NotImplementedError


def set_routes(text: str, number: int, routes: Sequence[dict[str, Any]]) -> str:
    raise NotImplementedError


def add_control(text: str, control: dict[str, Any]) -> str:
    raise NotImplementedError


def put_setlist(text: str, name: str, scenes: Sequence[int | str]) -> str:
    raise NotImplementedError
