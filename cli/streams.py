"""The three streams of the command, closed, full or broken as they may be, and what the system refuses."""

from __future__ import annotations

import contextlib
import os
import sys

from .output import fail

__all__ = ["close_streams", "failed", "open_streams"]


def open_streams() -> None:
    """
    Put something in the place of streams that were closed when the command was started.

    Otherwise the next file to be opened would take the place of one, and be written with what is meant for it. Of a
    closed standard input nothing can be read, on a closed standard output nothing can be written, and both are told:
    each is opened the wrong way round, so that the system refuses. What would go to a closed standard error is lost.
    """
    for number, name, mode in ((0, "stdin", "r"), (1, "stdout", "w"), (2, "stderr", "w")):
        try:
            os.fstat(number)
        except OSError:
            # the lowest number that is free, and so this one
            os.open(os.devnull, os.O_RDONLY if number == 1 else os.O_WRONLY)
            setattr(sys, name, open(number, mode, encoding="utf-8", closefd=False))  # noqa: SIM115


def close_streams() -> None:
    """Let what could not be written be forgotten, so that the interpreter does not complain of it when it ends."""
    for number, stream in ((1, sys.stdout), (2, sys.stderr)):
        try:
            stream.flush()
        except (OSError, ValueError):
            with contextlib.suppress(OSError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), number)


def failed(error: OSError | MemoryError | ImportError) -> int:
    """
    Tell what the system refused; the exit status that goes with it.

    Whoever closed the other end of a pipe has read enough, and is told nothing.
    """
    if isinstance(error, BrokenPipeError):
        return 2
    if isinstance(error, MemoryError):
        return fail("out of memory. Close other programs, or give fewer readings at a time.")
    if isinstance(error, ImportError):
        return fail(f"a part of the program cannot be loaded: {error}. Free some memory, or install it again.")
    return fail(f"{error.filename or 'standard output'}: cannot be used: {error.strerror or error}.")
