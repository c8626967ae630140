"""The report as one page."""

from typing import Any

from engine.offline.rehearsal import Performance


def page(report: dict[str, Any], done: Performance) -> str:
    return "<!doctype html>"
