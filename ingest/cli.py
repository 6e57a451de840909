"""The `daybox` command: finds the subcommand, and turns what it raises into one line and an exit code."""

import errno
import os
import sys
from collections.abc import Sequence
from difflib import get_close_matches
from importlib import import_module
from io import TextIOWrapper

import click

from ingest import __version__
from ingest.errors import DayboxError, ExitCode
from ingest.printable import printable

# In the order in which a month goes. The lines stand here, and not in the modules, so that help
# starts without loading a room, and so without OpenCV, pandas and onnxruntime.
COMMANDS = {
    "new": "Start a month: write challenge.toml and a roster to fill in.",
    "charts": "Print the charts: one PDF, a page a student.",
    "collect": "Take in what was handed in: zips, folders, photos, scans.",
    "status": "Where things stand: handed in, missing, flagged.",
    "returns": "List every file handed in, and what came of it.",
    "review": "Settle what is unsure, here or in a spreadsheet.",
    "missing": "List who has nothing usable in, with a text to remind them.",
    "readings": "Write every reading as CSV.",
    "grades": "Write the gradebook as CSV.",
    "slips": "A slip for each family: what was read from the chart.",
    "trail": "Behind every number: each box, its picture, who changed it.",
    "awards": "Who met the challenge, places, certificates.",
    "progress": "Pictures: the class, a page a student, a poster.",
    "forget": "Remove children's data for good: photos, names, or everything.",
    "demo": "See the whole job done on a made-up school.",
}


class _LazyGroup(click.Group):
    """Loads `ingest.commands.<name>` when <name> is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = import_module(f"ingest.commands.{cmd_name}").command
        if not isinstance(command, click.Command):
            raise TypeError(f"ingest.commands.{cmd_name}.command is no click command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands, in the order of a month"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            close = get_close_matches(args[0], COMMANDS, n=1)
            hint = f'Did you mean "{close[0]}"?' if close else "`daybox --help` lists the commands."
            ctx.fail(f'There is no command "{args[0]}". {hint}')
        return super().resolve_command(ctx, args)


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="daybox", message="%(prog)s %(version)s")
def cli() -> None:
    """Prints practice charts, reads what families hand in, and writes the gradebook.

    One challenge lives in one folder. Run the commands there, or name it with --folder.
    """


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. argv: the words after `daybox`; None means those of this process."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a name that the console lacks letters for
    try:
        result = cli.main(
            args=None if argv is None else list(argv), prog_name="daybox", standalone_mode=False
        )
        sys.stdout.flush()  # so that a reader that has gone shows now, not at interpreter exit
    except DayboxError as refusal:
        click.echo(f"error: {printable(str(refusal))}", err=True)
        return refusal.exit_code
    except click.ClickException as usage:
        usage.show()
        return usage.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. Run the same command again to go on.", err=True)
        return 130  # 128 + SIGINT, as shells have it
    except OSError as failure:
        if failure.errno == errno.EPIPE:  # `daybox readings | head`
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return 1  # as click does where it notices first
        if failure.errno is None:  # a library's own, so a bug
            raise
        click.echo(
            f"error: {failure.filename or 'the system'}: {failure.strerror}. Check that the place exists, "
            "may be read and written, and has room, then run the same command again.",
            err=True,
        )
        return ExitCode.REFUSED
    return result if isinstance(result, int) else ExitCode.DONE
