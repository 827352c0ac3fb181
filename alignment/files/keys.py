"""Reading the keys of a TOML table, with every problem noted rather than the first one raised."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

from alignment.errors import AtRow, InputError, LengthError, Problem, nearest, quote
from alignment.lengths import SMALLEST, TAPE_FINEST, Units, parse

__all__ = ["Keys", "open_tables"]


def open_tables(text: str, source: str, head: str) -> tuple[Keys, Keys]:
    """
    Parse TOML, and take the unit of its bare lengths from the table that names the thing it is about.

    Parameters
    ----------
    text, source : str
        The file's text, and its name for messages.
    head : str
        Table that has the key ``units``.

    Returns
    -------
    top, head : Keys
        The whole file and that table; they share their list of problems.

    Raises
    ------
    InputError
        No TOML.
    """
    top = Keys(_parse(text, source), "", [])
    first = top.one(head)
    first.units = top.units = Units(first.choice("units", list(Units), required=True) or Units.inch)
    return top, first


def _parse(text: str, source: str) -> dict[str, Any]:
    """Parse TOML, with a mistake of syntax told as an `InputError`."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # besides its own error, tomllib lets through those of numbers too long to convert
        said = "a number in it is too long." if type(error) is ValueError else str(error).splitlines()[0]
        said = "nested too deeply." if isinstance(error, RecursionError) else said
        at = re.search(r" \(at line (\d+), column \d+\)$", said)
        problem = Problem(AtRow(int(at[1])), f"{said[: at.start()]}.") if at else Problem("syntax", said)
        raise InputError(source, "not a TOML file", [problem]) from None


class Keys:
    """
    One table of a TOML file, taken key by key.

    Parameters
    ----------
    table : object
        What stands in the file; anything but a table is a problem.
    where : str
        How the table is named in messages, for example ``[tape]``.
    problems : list of Problem
        Shared by all tables of a file; everything wrong is added to it.
    units : Units
        Unit of bare lengths.
    """

    def __init__(self, table: object, where: str, problems: list[Problem], units: Units = Units.inch) -> None:
        self.where = where
        self.problems = problems
        self.units = units
        self.known: list[str] = []
        self.table: dict[str, Any] = table if isinstance(table, dict) else {}
        if not isinstance(table, dict):
            self.problems.append(Problem(where, f"{quote(table)} is not a table of keys. Write {where} on a line."))

    def wrong(self, key: str, what: str) -> None:
        """Note a problem with one key."""
        self.problems.append(Problem(f"{self.where} {key}".strip(), what))

    def lacks(self, key: str, what: str = "is missing, and is needed.") -> None:
        """Note that something is not there yet."""
        self.problems.append(Problem(f"{self.where} {key}".strip(), what, lacking=True))

    def take(self, key: str, *, required: bool = False) -> Any:
        """Value of a key as it stands, None where it is absent."""
        self.known.append(key)
        if required and key not in self.table:
            self.lacks(key)
        return self.table.get(key)

    def one(self, name: str) -> Keys:
        """The table ``[name]``, empty where it is absent."""
        value = self.take(name)
        return Keys({} if value is None else value, f"[{name}]", self.problems, self.units)

    def named(self, kind: str) -> dict[str, Keys]:
        """The tables ``[kind.NAME]``, by name."""
        tables = self.one(kind).table
        for name in tables:
            if name != " ".join(name.split()) or not name.isprintable() or not name:
                self.wrong(f"[{kind}.{name}]", "is not a name. Leave out blanks at its ends and what does not print.")
        return {name: Keys(table, f"[{kind}.{name}]", self.problems, self.units) for name, table in tables.items()}

    def many(self, kind: str, *, called: str = "") -> list[Keys]:
        """
        The tables ``[[kind]]``, in their order.

        They are numbered in messages, or called by the text of their key ``called`` where they have one.
        """
        value = self.take(kind)
        if value is None:
            return []
        if not isinstance(value, list):
            self.problems.append(
                Problem(f"[[{kind}]]", f"{quote(value)} is no list of tables. Write [[{kind}]] above each.")
            )
            return []
        found = []
        for number, table in enumerate(value, 1):
            name = table.get(called) if isinstance(table, dict) else None
            which = quote(name) if isinstance(name, str) else number
            found.append(Keys(table, f"[[{kind}]] {which}", self.problems, self.units))
        return found

    def text(self, key: str, default: str = "", *, required: bool = False) -> str:
        """Text of a key, without blanks at its ends."""
        value = self.take(key, required=required)
        if value is None:
            return default
        if not isinstance(value, str) or not value.strip():
            self.wrong(key, f"{quote(value)} is not a name. Write a text in quotes.")
            return default
        name = " ".join(value.split())
        if not name.isprintable():
            self.wrong(key, f"{quote(name)} holds a character that does not print. Leave it out.")
            return default
        return name

    def choice(self, key: str, options: Iterable[str], default: str = "", *, required: bool = False) -> str:
        """One of a few words."""
        names = list(options)
        value = self.text(key, default, required=required)
        if value != default and value not in names:
            self.wrong(key, f"{quote(value)} is not a choice.{nearest(value, names)}")
            return default
        return value

    def flag(self, key: str) -> bool:
        """True or false; false where absent."""
        value = self.take(key)
        if value is None or isinstance(value, bool):
            return bool(value)
        self.wrong(key, f"{quote(value)} is neither true nor false. Write it without quotes.")
        return False

    def number(self, key: str, default: float, *, least: float, most: float) -> float:
        """Plain number within limits."""
        value = self.take(key)
        if value is None:
            return default
        plain = isinstance(value, int | float) and not isinstance(value, bool)
        if not plain or value in (math.inf, -math.inf) or value != value:
            self.wrong(key, f"{quote(value)} is not a number. Write for example {default or least:g}, without quotes.")
        elif not least <= value <= most:
            # a whole number may be longer than any float
            said = f"{value:g}" if abs(value) < 1e15 else quote(value)
            self.wrong(key, f"{said} is not from {least:g} to {most:g}. Write for example {default:g}.")
        else:
            return float(value)
        return default

    def length(
        self,
        key: str,
        default: float = math.nan,
        *,
        required: bool = False,
        positive: bool = False,
        signed: bool = False,
        finest: int = TAPE_FINEST,
    ) -> float:
        """Length in millimetres; ``default`` where absent or unusable."""
        value = self.take(key, required=required)
        if value is None:
            return default
        return self._length(key, value, default, positive=positive, signed=signed, finest=finest)

    def told_length(
        self, key: str, *, positive: bool = False, signed: bool = False, finest: int = TAPE_FINEST
    ) -> float | None:
        """Length in millimetres, None where it is absent or unusable."""
        length = self.length(key, positive=positive, signed=signed, finest=finest)
        return None if math.isnan(length) else length

    def quantity(self, key: str, units: Mapping[str, float]) -> float | None:
        """
        Positive number with its unit, turned by the unit's factor; None where absent or unusable.

        Parameters
        ----------
        key : str
        units : mapping
            Factor of each unit that may stand there.
        """
        value = self.take(key)
        if value is None:
            return None
        text = value if isinstance(value, str) else ""
        match = re.fullmatch(r"\s*(\d{1,9}(?:\.\d{1,9})?)\s*(\S+)\s*", text, re.ASCII)
        if match and match[2] in units and float(match[1]) > 0:
            return float(match[1]) * units[match[2]]
        self.wrong(key, f"{quote(value)} is not a number with one of the units {', '.join(units)}.")
        return None

    def lengths(self, key: str) -> list[float] | None:
        """List of lengths in millimetres, None where absent or unusable."""
        value = self.take(key)
        if value is None:
            return None
        if not isinstance(value, list):
            self.wrong(key, f'{quote(value)} is not a list. Write for example ["0", "18"].')
            return None
        found = [self._length(key, item, math.nan, positive=False, signed=True) for item in value]
        return None if any(math.isnan(item) for item in found) else found

    def _length(
        self, key: str, value: object, default: float, *, positive: bool, signed: bool, finest: int = TAPE_FINEST
    ) -> float:
        try:
            length = parse(value, self.units, signed=signed, finest=finest)
        except LengthError as error:
            self.wrong(key, str(error))
            return default
        if positive and length < SMALLEST:
            self.wrong(key, f"{quote(value)} is not more than nothing.")
            return default
        return float(length)

    def finish(self) -> None:
        """Note every key that nobody asked for."""
        for key in self.table:
            if key not in self.known:
                self.wrong(key, f"is not a known key.{nearest(key, self.known)}")
