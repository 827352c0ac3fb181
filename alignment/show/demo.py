"""The demonstration: the whole job on the shipped sample, told in a few lines."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from alignment.errors import FileError
from alignment.files import writing
from alignment.files.disk import read_text, sample_folder
from alignment.lengths import Units
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.panel.panel import measure
from alignment.panel.panel_file import read_panel
from alignment.show.paper import job, typesetting
from alignment.show.paper import record as report
from alignment.show.pictures import panel as panel_plots
from alignment.show.pictures import train as plots
from alignment.show.terminal import render
from alignment.show.words.solution import solution_page
from alignment.train.solve import Solution, solve

__all__ = ["tell"]

MADE: Final = ("train.png", "tray.png", "report.pdf")
"""Files that are drawn and set, besides those of the sample."""


def tell(folder: Path | None, units: Units, *, force: bool = False) -> str:
    """
    Copy the sample into a folder, solve it and draw it there.

    Parameters
    ----------
    folder : Path, optional
        By default a new ``stringtrue-demo`` here.
    units : Units
        Which of the two sample machines: one is measured in inches, one in millimetres.
    force : bool
        Whether files of an earlier demonstration in ``folder`` may be written over.

    Returns
    -------
    str
        What to print.
    """
    samples = sample_folder()
    suffix = "-mm" if units is Units.mm else ""
    machine, tray, settings = (f"{name}{suffix}.toml" for name in ("machine", "tray", "settings"))
    days = [f"{day}{suffix}.csv" for day in ("before-move", "as-found", "as-left")]
    shipped = (machine, *days, tray, settings)
    place = _folder(folder)
    if place.exists():
        targets = ((place / name, None) for name in (*shipped, *MADE))
        writing.ready(*targets, inputs=(samples / name for name in shipped), force=force)
    layout = read_layout(samples / machine)
    before, found, left = (solve(layout, read_survey(samples / name, layout)) for name in days)
    panel = measure(read_panel(samples / tray))
    papers = job.Papers(
        layout=samples / machine,
        survey=samples / days[1],
        after=samples / days[2],
        panel=samples / tray,
        settings=samples / settings,
    )
    pictures = (
        plots.render(plots.train_sheet(found), ".png"),
        plots.render(panel_plots.panel_sheet(panel), ".png"),
        report.render(job.gather(papers), typesetting.paper_for(units), typesetting.today()),
    )
    data: dict[str, bytes | str] = {name: read_text(samples / name) for name in shipped}
    data |= zip(MADE, pictures, strict=True)
    writing.make_folder(place)
    for name, content in data.items():
        writing.write_whole(place / name, content, force=force)
    lines = [
        "Marram Cold Rooms (invented) dragged its tray former to another bay.",
        "Since then trays sweep toward the drive side and oil-can.",
        f"  {_day(before)}  before the move: {before.verdict.printed}",
        f"  {_day(found)}  as found after it: {found.verdict.printed}, read quickly (each end once)",
        f"  {panel.panel.record['taken']}  a tray: {panel.verdict.printed if panel.verdict else '-'}",
        f"  {_day(left)}  as left after the cure: {left.verdict.printed}, read with care",
        "",
        "This is what the survey as found says. To see it again, type:",
        f"  cd {place}",
        f"  stringtrue solve {machine} {days[1]} --plot train.svg",
        "",
        render(solution_page(found)),
        f"Left in {place}:",
        "  train.png   the train as read and after the moves",
        "  tray.png    the tray as measured",
        "  report.pdf  the record to sign, as found and as left",
        "  and the files that they are made from.",
    ]
    return "\n".join(lines) + "\n"


def _day(solution: Solution) -> str:
    return solution.survey.record["taken"]


def _folder(folder: Path | None) -> Path:
    """Folder that was named, or the first ``stringtrue-demo`` that is not there yet."""
    if folder is not None:
        if folder.exists() and not folder.is_dir():
            raise FileError(f"{folder}: is a file. Name a folder for the demonstration.")
        return folder
    place = Path("stringtrue-demo")
    number = 2
    while place.exists():
        place = Path(f"stringtrue-demo-{number}")
        number += 1
    return place
