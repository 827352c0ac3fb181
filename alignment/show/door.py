"""Any result in words, as plain numbers, as tables, drawn: what each kind of result is shown by, found when asked."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from alignment.choices import Aim, Line
from alignment.errors import StringtrueError
from alignment.lengths import Units
from alignment.show.page import Degree, Page

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

__all__ = ["as_json", "page", "picture", "record", "tables", "text"]

PAGES: Final = {
    "Budget": "words.budget:budget_page",
    "Causes": "words.causes:causes_page",
    "Comparison": "words.comparison:comparison_page",
    "History": "words.history:history_page",
    "Next": "words.work:next_page",
    "PanelResult": "words.panel:panel_page",
    "SettingsResult": "words.settings:settings_page",
    "Solution": "words.solution:solution_page",
}
OBJECTS: Final = {
    "Budget": "json.budget:as_json",
    "Causes": "json.causes:as_json",
    "Comparison": "json.comparison:as_json",
    "History": "json.history:as_json",
    "Next": "json.work:as_json",
    "PanelResult": "json.panel:as_json",
    "SettingsResult": "json.settings:as_json",
    "Solution": "json.solution:as_json",
}
TABLES: Final = {
    "Comparison": "tables.comparison:as_tables",
    "History": "tables.history:as_tables",
    "SettingsResult": "tables.settings:as_tables",
    "Solution": "tables.solution:as_tables",
}
PICTURES: Final = {
    "Budget": "pictures.budget:draw_budget",
    "Comparison": "pictures.comparison:comparison_sheet",
    "History": "pictures.history:history_sheet",
    "PanelResult": "pictures.panel:panel_sheet",
    "Solution": "pictures.train:train_sheet",
}


def _by(places: dict[str, str], result: object, what: str) -> Any:
    kind = type(result).__name__
    if kind not in places:
        raise StringtrueError(f"{kind} has no {what}. These have: {', '.join(sorted(places))}.")
    module, _, name = places[kind].partition(":")
    full = module if module.startswith("alignment.") else f"alignment.show.{module}"
    return getattr(import_module(full), name)(result)


def page(result: object) -> Page:
    """
    A result's words, as a page for any surface.

    Parameters
    ----------
    result
        What `solve`, `compare`, `follow`, `measure`, `judge_settings`, `find_causes`, `budget` or `next_act` gave.

    Raises
    ------
    StringtrueError
        It is none of these.
    """
    made: Page = _by(PAGES, result, "words")
    return made


def text(result: object, *, full: bool = False, width: int = 80) -> str:
    """
    A result in words, as a terminal shows it.

    Parameters
    ----------
    result
        See `page`.
    full : bool
        Everything that is known, rather than what to do and how things are.
    width : int
        Columns, 40 or more.

    Returns
    -------
    str

    Raises
    ------
    StringtrueError
        It is no result.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> panel = alignment.measure(alignment.read_panel(samples / "tray.toml"))
    >>> alignment.text(panel).splitlines()[0].startswith("Liner tray")
    True
    """
    from alignment.show import terminal

    return terminal.render(page(result), Degree.full if full else Degree.first, width=width)


def as_json(result: object) -> dict[str, Any]:
    """
    A result as plain numbers and texts, ready for `json.dumps`.

    Lengths are in the units of the layout (or of the panel's or the settings' file), rounded to a millionth of the
    unit; angles in degrees; ``u`` is a standard uncertainty.

    Raises
    ------
    StringtrueError
        It is no result.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> panel = alignment.measure(alignment.read_panel(samples / "tray.toml"))
    >>> alignment.as_json(panel)["units"]
    'in'
    """
    made: dict[str, Any] = _by(OBJECTS, result, "plain form")
    return made


def tables(result: object) -> dict[str, pd.DataFrame]:
    """
    A result as tables by name, the main one first; lengths in the result's units, ``U = 2 u``.

    Raises
    ------
    StringtrueError
        It is no result, or one that has no tables.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> settings = alignment.judge_settings(alignment.read_settings(samples / "settings.toml"))
    >>> list(alignment.tables(settings))
    ['settings']
    """
    made: dict[str, pd.DataFrame] = _by(TABLES, result, "tables")
    return made


def picture(result: object) -> Figure:
    """
    A result drawn, on a figure of its own that a notebook shows and ``savefig`` saves.

    Raises
    ------
    StringtrueError
        It is no result, or one that has no picture.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> panel = alignment.measure(alignment.read_panel(samples / "tray.toml"))
    >>> len(alignment.picture(panel).axes) > 0
    True
    """
    made: Figure = _by(PICTURES, result, "picture")
    return made


def record(
    layout: str | Path,
    survey: str | Path,
    *,
    after: str | Path | None = None,
    panel: str | Path | None = None,
    settings: str | Path | None = None,
    units: Units | None = None,
    line: Line = Line.string,
    aim: Aim = Aim.fewest,
    drop_strays: bool = False,
    same_string: bool = False,
) -> bytes:
    """
    The record of a job, to be signed, as the bytes of a PDF.

    Parameters
    ----------
    layout, survey, after, panel, settings : path
        The files of the job; the record names each with its hash.
    units : Units, optional
        To print in; by default the layout's.
    line, aim, drop_strays
        As in `solve`.
    same_string : bool
        As in `compare`.

    Raises
    ------
    StringtrueError
        A file that cannot be read or used.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> alignment.record(samples / "machine.toml", samples / "as-found.csv")[:4]
    b'%PDF'
    """
    from alignment.show.paper import job, typesetting
    from alignment.show.paper.record import render

    optional = [None if path is None else Path(path) for path in (after, panel, settings)]
    papers = job.Papers(
        layout=Path(layout), survey=Path(survey), after=optional[0], panel=optional[1], settings=optional[2]
    )
    whole = job.gather(papers, units=units, line=line, aim=aim, drop_strays=drop_strays, same_string=same_string)
    return render(whole, typesetting.paper_for(whole.layout.units), typesetting.today())
