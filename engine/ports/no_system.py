"""Where a system's own ports cannot be had: a rig of byte devices plays all the same."""

from typing import NoReturn

from engine.ports.port import PortError


class NoSystem:
    """A PortSystem without ports; `reason` is told of each port that is asked for."""

    def __init__(self, reason: str) -> None:
        self._reason = reason

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return []

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return []

    def open_input(self, pattern: str) -> NoReturn:
        """See PortSystem."""
        raise PortError(self._reason)

    def open_output(self, pattern: str) -> NoReturn:
        """See PortSystem."""
        raise PortError(self._reason)

    def open_virtual_input(self, name: str) -> NoReturn:
        """See PortSystem."""
        raise PortError(self._reason)

    def open_virtual_output(self, name: str) -> NoReturn:
        """See PortSystem."""
        raise PortError(self._reason)

    def prepare(self, inputs: int, outputs: int) -> None:
        """See PortSystem."""

    def refresh(self) -> None:
        """See PortSystem: there is nothing to join."""

    def close(self) -> None:
        """See PortSystem."""
