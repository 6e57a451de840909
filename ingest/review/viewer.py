"""Opens a picture in the system's own viewer, and comes back at once."""

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path


def opener(environ: Mapping[str, str], platform: str) -> str | None:
    """The program that opens a file with whatever the person uses for it; None where there is none.

    Windows has no such program, but `os.startfile`; it is called "startfile" here.
    """
    if platform == "win32":
        return "startfile"
    if platform == "darwin":
        return "open"
    # Without a desktop, xdg-open would start a text browser in this very terminal.
    return "xdg-open" if environ.get("DISPLAY") or environ.get("WAYLAND_DISPLAY") else None


def open_picture(path: Path) -> str:
    """Open it without waiting, and say in one line what was done, or where the file is."""
    program = opener(os.environ, sys.platform)
    try:
        if sys.platform == "win32":
            os.startfile(path)
        elif program is not None:
            subprocess.Popen(
                [program, str(path)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,  # Ctrl-C in the prompt is not for the viewer
            )
    except OSError:
        program = None
    return f"Opened {path}" if program else f"No picture viewer here. The page is {path}"
