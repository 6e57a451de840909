"""The commands, a module each: parse, call a room, print. Only these print.

Each module defines `command`; `ingest.cli` lists them. Import rooms at the module's top: a module is
loaded only when its command is used.
"""

from pathlib import Path

import click

folder_option = click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    default=".",
    show_default="the current one",
    help="The challenge's folder.",
)
