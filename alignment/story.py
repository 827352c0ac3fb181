"""The demonstration: the whole job on the shipped sample, told in a few lines."""

from __future__ import annotations

from pathlib import Path

from alignment import files, plots, wording
from alignment.errors import FileError
from alignment.lengths import Units
from alignment.solution import Solution, solve

__all__ = ["tell"]


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
    samples = files.sample_folder()
    suffix = "-mm" if units is Units.mm else ""
    names = [f"machine{suffix}.toml", *(f"{day}{suffix}.csv" for day in ("before-move", "as-found", "as-left"))]
    layout = files.read_layout(samples / names[0])
    before, found, left = (solve(layout, files.read_survey(samples / name, layout)) for name in names[1:])
    place = _folder(folder)
    targets = [place / name for name in (*names, "train.png")]
    if place.exists():
        files.ready(*((target, None) for target in targets), force=force)
    else:
        files.make_folder(place)
    for name, target in zip(names, targets, strict=False):
        files.write_whole(target, files.read_text(samples / name), force=force)
    files.write_whole(targets[-1], plots.render(plots.train_sheet(found), ".png"), force=force)
    lines = [
        "Marram Cold Rooms (invented) dragged its tray former to another bay.",
        "Since then trays sweep toward the drive side and oil-can.",
        f"  {_day(before)}  before the move: {before.verdict}",
        f"  {_day(found)}  as found after it: {found.verdict}, read quickly (each end once)",
        f"  {_day(left)}  as left after the cure: {left.verdict}, read with care",
        "",
        "This is what the survey as found says. To see it again, type:",
        f"  cd {place}",
        f"  stringtrue solve {names[0]} {names[2]} --plot train.svg",
        "",
    ]
    return "\n".join(lines) + "\n" + wording.solution_text(found) + f"\nThe picture is {targets[-1]}\n"


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
