"""The command's root: which commands there are, and the one place where errors become an exit status."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, Any, Final

import typer
from typer.core import TyperGroup

from alignment import __version__
from alignment.errors import StringtrueError

from .options import FolderCommand
from .output import fail
from .streams import close_streams, failed, open_streams
from .usage import told

__all__ = ["commands", "main", "run"]

WHEN: Final = {
    "To try it": ("demo",),
    "Before you go to the machine": ("start", "budget", "sheet"),
    "At the machine": ("work", "phone", "enter", "next", "square"),
    "From the readings": ("solve", "compare", "history"),
    "The test panel, the settings": ("panel", "causes", "settings"),
    "For the record": ("report",),
}
"""Commands by when they are used, as the help lists them."""


class ByTime(TyperGroup):
    """Lists the commands by when they are used."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002  # as it is called
        """Write each group under its heading."""
        width = max(map(len, self.commands))
        for heading, names in WHEN.items():
            with formatter.section(heading):
                formatter.write_dl(
                    [(f"{name:<{width}}", self.commands[name].get_short_help_str(formatter.width)) for name in names]
                )


COMPLETING: Final = "_STRINGTRUE_COMPLETE"
"""Set by a shell that asks how a line may go on."""
INTERRUPTED: Final = 130
"""Exit status after Ctrl-C, as shells have it: 1 would say that a check failed."""
HELP: Final = ("-h", "--help")
NAMES: Final = tuple(name for names in WHEN.values() for name in names)


def commands(names: Sequence[str] = NAMES, *, listed: bool = False) -> typer.Typer:
    """The command line, with these commands; only listed, they have no options, which take long to read."""
    app = typer.Typer(
        name="stringtrue",
        help="From tape readings: which bolt end to move, and how far.",
        cls=ByTime,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": list(HELP), "max_content_width": 80},
    )
    app.callback()(root)
    for name in names:
        module = import_module(f".{name}", __package__)
        command = getattr(module, name)
        kept = app.command(name, cls=FolderCommand, epilog=module.EXAMPLE, help=command.__doc__)
        kept(_listed if listed else command)
    return app


def _listed() -> None:
    """Stand in for a command of which nothing but the name and the help is asked."""


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"stringtrue {__version__}")
        raise typer.Exit


def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    """From tape readings: which bolt end to move, and how far."""


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status."""
    typed = sys.argv[1:] if arguments is None else arguments
    for stream in (sys.stdout, sys.stderr):
        # a name that the terminal cannot show must not end the job
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        # reading the options of every command takes longer than many an answer
        asked = "" if COMPLETING in os.environ else typed[0] if typed else "--help"
        app = commands(typed[:1] if asked in NAMES else NAMES, listed=asked in HELP)
        status = app(args=arguments if typed else ["--help"], prog_name="stringtrue", standalone_mode=False)
        sys.stdout.flush()
    except StringtrueError as error:
        return fail(error)
    except typer.TyperException as error:
        return fail(told(error, typed))
    except typer.Abort:
        return INTERRUPTED
    except SystemExit as leave:
        # the library's own end of a command whose reader has gone; that of a failed check is no exception here
        return 2 if leave.code else 0
    except (OSError, MemoryError, ImportError) as error:
        return failed(error)
    return status if isinstance(status, int) else 0


def main() -> None:
    """Entry point of the ``stringtrue`` command."""
    open_streams()
    # where a home cannot be written it says so, and that it makes a list of fonts, which helps nobody here
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    status = run()
    close_streams()
    sys.exit(status)
