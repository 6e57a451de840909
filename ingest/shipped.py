"""What comes along with the program: chart designs and the made-up school.

In a wheel both folders lie inside the package; in a checkout they lie beside it.
"""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def templates() -> Path:
    """The folder of chart designs."""
    return _folder("templates")


def samples() -> Path:
    """The folder of the demo's and the tests' data."""
    return _folder("samples")


def _folder(name: str) -> Path:
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name
