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
from alignment.show.page import Page
from alignment.show.paper import job, typesetting
from alignment.show.paper import record as report
from alignment.show.pictures import panel as panel_plots
from alignment.show.pictures import train as plots
from alignment.show.words.demo import demo_pages
from alignment.train.solve import solve

__all__ = ["tell"]

MADE: Final = ("train.png", "tray.png", "report.pdf")
"""Files that are drawn and set, besides those of the sample."""


def tell(folder: Path | None, units: Units, *, force: bool = False) -> tuple[Page, ...]:
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
    tuple of Page
        What to print, one below the other.
    """
    samples = sample_folder()
    suffix = "-mm" if units is Units.mm else ""
    machine, tray, settings = (f"{name}{suffix}.toml" for name in ("machine", "tray", "settings"))
    days = [f"{day}{suffix}.csv" for day in ("before-move", "as-found", "job")]
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
        survey=samples / days[2],
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
    return demo_pages(place, (machine, days[1]), before, found, left, panel)


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
