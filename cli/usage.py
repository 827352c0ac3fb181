"""A command line that cannot be used, in the words of the other messages."""

from __future__ import annotations

import re
from collections.abc import Sequence

import typer

from alignment.errors import quote

__all__ = ["told"]


def told(error: typer.TyperException, typed: Sequence[str]) -> str:
    """What is wrong with what was typed, how to mend it, and where its help is; else what the library says."""
    said, option = error.format_message(), getattr(error, "option_name", "")
    if isinstance(error, typer.BadParameter) and error.param is not None and error.message:
        said = f"{error.param.opts[0]}: {error.message}"
    elif re.match(r"-[.\d]", option):
        wrong = next(word for word in typed if word.startswith(option))
        said = f"{quote(wrong)} is less than nothing, and a length is not. Leave the minus off."
    elif any(re.fullmatch(r"\d+/\d+\D*", word) for word in typed):
        said += ". Write a fraction with a dash, 18-3/8, or in quotes."
    context = getattr(error, "ctx", None)
    return f"{said}\nTry: {context.command_path} --help" if context else said
