"""``stringtrue square``: one section, two readings, no files."""

from __future__ import annotations

from typing import Annotated

import typer

from alignment.lengths import Units

from . import output
from .options import Full, Json, one_of

__all__ = ["EXAMPLE", "square"]

EXAMPLE = "Example: stringtrue square 18-3/8 18-1/2 --length 15 --target 18-3/8"


def square(
    a: Annotated[str, typer.Argument(metavar="A", help="Reading at the entry end.")],
    b: Annotated[str, typer.Argument(metavar="B", help="Reading at the exit end.")],
    length: Annotated[str, typer.Option(metavar="L", help="Length of the section.")],
    target: Annotated[
        str, typer.Option(metavar="T", help="Reading wanted at both ends [default: only square is judged].")
    ] = "",
    bolts: Annotated[
        str, typer.Option(metavar="L,L", help="Bolt ends, from the entry end [default: the two ends].")
    ] = "",
    tolerance: Annotated[
        str, typer.Option(metavar="L", help="Off square over the length, and still OK [default: 1/32 in, 0.8 mm].")
    ] = "",
    mark: Annotated[str, typer.Option(metavar="L", help="Smallest mark of the tape [default: 1/16 in, 1 mm].")] = "",
    units: Annotated[
        Units | None, typer.Option(help="Unit of numbers typed without one [default: in].", **one_of(Units))
    ] = None,
    json: Json = False,
    full: Full = False,
) -> None:
    """Say whether one section is square, and which end to move."""
    from alignment.show.json.solution import square_json
    from alignment.show.words.square import square_page
    from alignment.train import square as squaring

    question = squaring.Question(
        entry=a, exit=b, length=length, target=target, bolts=bolts, tolerance=tolerance, mark=mark, units=units
    )
    answer = squaring.square(question)
    output.say(square_page, square_json, answer, json=json, full=full)
