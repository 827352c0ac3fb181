"""Checks against published values and against other libraries, one file per source."""
