"""Tape readings to a string in, which bolt end to move out: the library behind the ``stringtrue`` command."""

__version__ = "0.1.0"
