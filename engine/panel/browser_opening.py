"""Opens the page in this computer's browser, where there is a screen."""

import os
import sys
import webbrowser
from typing import Final

import trio

_SCREENS: Final = ("DISPLAY", "WAYLAND_DISPLAY")  # without one of them, a browser for terminals might be found


async def open_in_browser(address: str) -> None:
    """Open it, if there is a screen. Whatever the browser does, the panel goes on."""
    if sys.platform == "linux" and not any(os.environ.get(each) for each in _SCREENS):
        return
    await trio.to_thread.run_sync(webbrowser.open, address, abandon_on_cancel=True)
