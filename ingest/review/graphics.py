"""A crop as a real picture, in terminals that announce that they can.

Terminals are told apart by what they put into the environment, never by asking them: an answer that
comes late would end up among the typed digits. Inside a multiplexer nothing is announced for sure, so
there the block characters of `picture` are used, as in every terminal not listed here.
"""

import base64
import struct
from collections.abc import Mapping
from enum import StrEnum
from itertools import groupby

import cv2
import numpy as np

from ingest.ledger.pictures import png
from ingest.reading.values import Grey

ESC = "\x1b"
END = f"{ESC}\\"  # ST, string terminator (ECMA-48, 8.3.143)

KITTY_CHUNK = 4096  # most base64 characters in one piece (kitty graphics protocol, "remote client")

SIXEL_GREYS = 16


class Graphics(StrEnum):
    """How a terminal takes pictures."""

    NONE = "none"  # characters only
    KITTY = "kitty"  # the kitty graphics protocol
    INLINE = "inline"  # iTerm2's inline images, OSC 1337
    SIXEL = "sixel"  # DEC's sixels


def announced(environ: Mapping[str, str]) -> Graphics:
    """What the terminal says of itself in the environment; NONE when in doubt."""
    term = environ.get("TERM", "")
    program = environ.get("TERM_PROGRAM", "")
    if environ.get("TMUX") or environ.get("STY") or term.startswith(("screen", "tmux", "dumb")):
        return Graphics.NONE
    if term in ("xterm-kitty", "xterm-ghostty"):
        return Graphics.KITTY
    if program in ("iTerm.app", "WezTerm"):
        return Graphics.INLINE
    if term in ("foot", "foot-extra", "mlterm"):
        return Graphics.SIXEL
    return Graphics.NONE


def cell_size(terminal: int) -> tuple[int, int] | None:
    """A character cell's width and height in pixels, if the terminal on that descriptor tells."""
    try:
        import fcntl
        import termios
    except ImportError:  # Windows
        return None
    try:
        # struct winsize of tty_ioctl(4): rows, columns, and both in pixels, as four unsigned shorts
        told = fcntl.ioctl(terminal, termios.TIOCGWINSZ, bytes(8))
    except OSError:
        return None
    rows, columns, width, height = struct.unpack("HHHH", told)
    if not (rows and columns and width >= columns and height >= rows):
        return None
    return width // columns, height // rows


def drawn(graphics: Graphics, picture: Grey, columns: int, rows: int, cell: tuple[int, int] | None) -> str:
    """What to send so that the picture appears at the cursor, columns x rows cells large.

    cell: width and height of a character cell in pixels, where the terminal tells; only sixels, which
    are sized in pixels, need it. "" when the picture cannot be sent.
    """
    if graphics is Graphics.KITTY:
        return _kitty(picture, columns, rows)
    if graphics is Graphics.INLINE:
        return _inline(picture, columns, rows)
    if graphics is Graphics.SIXEL and cell is not None:
        return sixels(picture, columns * cell[0], rows * cell[1])
    return ""


def erased(graphics: Graphics) -> str:
    """What to send so that earlier pictures go where blanks written over them do not do it."""
    return f"{ESC}_Ga=d,d=A,q=2{END}" if graphics is Graphics.KITTY else ""


def _kitty(picture: Grey, columns: int, rows: int) -> str:
    """a=T show, f=100 PNG, C=1 leave the cursor, q=2 never answer, m=1 more pieces follow."""
    data = base64.b64encode(png(picture)).decode("ascii")
    pieces = [data[at : at + KITTY_CHUNK] for at in range(0, len(data), KITTY_CHUNK)]
    sent = []
    for number, piece in enumerate(pieces):
        control = f"a=T,f=100,C=1,q=2,c={columns},r={rows}," if number == 0 else "q=2,"
        more = int(number + 1 < len(pieces))
        sent.append(f"{ESC}_G{control}m={more};{piece}{END}")
    return "".join(sent)


def _inline(picture: Grey, columns: int, rows: int) -> str:
    data = png(picture)
    arguments = f"inline=1;size={len(data)};width={columns};height={rows};preserveAspectRatio=0"
    return f"{ESC}]1337;File={arguments}:{base64.b64encode(data).decode('ascii')}\a"


def sixels(picture: Grey, width: int, height: int) -> str:
    """The picture as sixels, width x height pixels (DEC STD 070; six rows to a band)."""
    how = cv2.INTER_AREA if picture.shape[1] > width else cv2.INTER_LINEAR
    small = np.asarray(cv2.resize(picture, (width, height), interpolation=how), np.uint8)
    levels = np.rint(small / 255 * (SIXEL_GREYS - 1)).astype(np.uint8)
    out = [f"{ESC}P0;1q", f'"1;1;{width};{height}']
    for level in range(SIXEL_GREYS):
        percent = round(100 * level / (SIXEL_GREYS - 1))
        out.append(f"#{level};2;{percent};{percent};{percent}")
    weights = 1 << np.arange(6)
    for top in range(0, height, 6):
        band = levels[top : top + 6]
        for level in np.unique(band):
            bits = ((band == level) * weights[: len(band), None]).sum(0) + 63
            out.append(f"#{level}{_repeated(bits.tolist())}$")
        out.append("-")
    out.append(END)
    return "".join(out)


def _repeated(codes: list[int]) -> str:
    """Sixel characters with runs written as `!count character`."""
    parts = []
    for code, same in groupby(codes):
        count = sum(1 for _ in same)
        parts.append(f"!{count}{chr(code)}" if count > 3 else chr(code) * count)
    return "".join(parts)
