"""The command's root: which commands there are, and the one place where errors become an exit status."""

from __future__ import annotations

import logging
import sys
from collections.abc import Sequence
from typing import Annotated, Final

import typer

from alignment import __version__
from alignment.errors import StringtrueError

from . import (
    budget,
    causes,
    compare,
    demo,
    enter,
    history,
    panel,
    report,
    settings,
    sheet,
    solve,
    square,
    start,
)
from .output import fail
from .streams import close_streams, failed, open_streams
from .usage import told

__all__ = ["app", "main", "run"]

app = typer.Typer(
    name="stringtrue",
    help="Tape readings from a string in; which bolt end of which section to move out.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
INTERRUPTED: Final = 130
"""Exit status after Ctrl-C, as shells have it: 1 would say that a check failed."""
# in the order in which the work goes
for _name, _command, _example in (
    ("demo", demo.demo, demo.EXAMPLE),
    ("start", start.start, start.EXAMPLE),
    ("budget", budget.budget, budget.EXAMPLE),
    ("sheet", sheet.sheet, sheet.EXAMPLE),
    ("enter", enter.enter, enter.EXAMPLE),
    ("solve", solve.solve, solve.EXAMPLE),
    ("square", square.square, square.EXAMPLE),
    ("compare", compare.compare, compare.EXAMPLE),
    ("panel", panel.panel, panel.EXAMPLE),
    ("causes", causes.causes, causes.EXAMPLE),
    ("settings", settings.settings, settings.EXAMPLE),
    ("report", report.report, report.EXAMPLE),
    ("history", history.history, history.EXAMPLE),
):
    app.command(_name, epilog=_example)(_command)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"stringtrue {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    """Tape readings from a string in; which bolt end of which section to move out."""


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status."""
    typed = sys.argv[1:] if arguments is None else arguments
    for stream in (sys.stdout, sys.stderr):
        # a name that the terminal cannot show must not end the job
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
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
