"""``stringtrue square``: one section, two readings, no files."""

from __future__ import annotations

from typing import Annotated

import typer

from alignment.lengths import Units

from . import output
from .options import Json, one_of

__all__ = ["EXAMPLE", "square"]

EXAMPLE = "Example: stringtrue square 18-3/8 18-7/16 --length 18 --bolts 2,16"


def square(
    a: Annotated[str, typer.Argument(metavar="A", help="Reading at the entry end.")],
    b: Annotated[str, typer.Argument(metavar="B", help="Reading at the exit end.")],
    length: Annotated[str, typer.Option(metavar="L", help="Of the section.")],
    bolts: Annotated[
        str, typer.Option(metavar="L,L", help="Bolt ends, from the entry end [default: the two ends].")
    ] = "",
    tolerance: Annotated[str, typer.Option(metavar="L", help="Over the length [default: 1/32 in, 0.8 mm].")] = "",
    mark: Annotated[str, typer.Option(metavar="L", help="Smallest mark read [default: 1/16 in, 1 mm].")] = "",
    units: Annotated[Units | None, typer.Option(help="Of bare numbers [default: in].", **one_of(Units))] = None,
    json: Json = False,
) -> None:
    """Say whether one section is square, and which end to move."""
    from alignment.show.words.square import square_text
    from alignment.train import square as squaring

    question = squaring.Question(
        entry=a, exit=b, length=length, bolts=bolts, tolerance=tolerance, mark=mark, units=units
    )
    answer = squaring.square(question)
    output.show(square_text, squaring.as_object, answer, json=json)
