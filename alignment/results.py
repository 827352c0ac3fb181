"""What results have in common: they compare by value, print in a few lines, and their arrays cannot be written."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

__all__ = ["Result"]

LONGEST: Final = 60
"""Characters of a field that are printed whole; of a longer one its kind and size."""


class Result:
    """
    Base of results: frozen dataclasses made with ``eq=False, repr=False``.

    Two are equal when they are of one class and all their fields are equal, arrays element by element (NaN equals
    NaN). Printed, each has a line with its class and `headline`, then a line for each field: a short one whole, of a
    long one its size.
    """

    def __post_init__(self) -> None:
        """Keep arrays from being written."""
        for field in dataclasses.fields(self):  # type: ignore[arg-type]  # every subclass is a dataclass
            value = getattr(self, field.name)
            if _is_array(value) and value.flags.writeable:
                locked = value.view()
                locked.flags.writeable = False
                object.__setattr__(self, field.name, locked)

    @property
    def headline(self) -> str:
        """What it comes to, in one line; by default nothing."""
        return ""

    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other):
            return NotImplemented
        return all(
            _same(getattr(self, field.name), getattr(other, field.name))
            for field in dataclasses.fields(self)  # type: ignore[arg-type]
        )

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        name = type(self).__name__
        lines = [f"{name}: {self.headline}" if self.headline else name]
        told = [field.name for field in dataclasses.fields(self) if field.repr]  # type: ignore[arg-type]
        lines += [f"  {name}: {_brief(getattr(self, name))}" for name in told]
        return "\n".join(lines)


def _is_array(value: object) -> bool:
    # told by its module, so that results without arrays need not load numpy
    return type(value).__module__ == "numpy" and hasattr(value, "flags") and getattr(value, "ndim", 0) > 0


def _same(one: Any, other: Any) -> bool:
    if _is_array(one) or _is_array(other):
        import numpy as np

        return type(one) is type(other) and np.array_equal(one, other, equal_nan=one.dtype.kind in "fc")
    if isinstance(one, float) and isinstance(other, float):
        return one == other or (one != one and other != other)
    if isinstance(one, (tuple, list)) and type(one) is type(other):
        return len(one) == len(other) and all(map(_same, one, other))
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(_same(one[key], other[key]) for key in one)
    if dataclasses.is_dataclass(one) and not isinstance(one, (Result, type)) and type(one) is type(other):
        # field by field, so that NaN is NaN on every Python
        return all(_same(getattr(one, f.name), getattr(other, f.name)) for f in dataclasses.fields(one) if f.compare)
    return bool(one == other)


def _brief(value: Any) -> str:
    if _is_array(value):
        return f"array of {' x '.join(map(str, value.shape))}"
    if isinstance(value, Result):
        return f"{type(value).__name__}{f' ({value.headline})' if value.headline else ''}"
    if isinstance(value, float):
        return f"{value:.6g}"
    text = repr(value)
    if len(text) <= LONGEST and "\n" not in text:
        return text
    if isinstance(value, (tuple, list, Mapping, frozenset)):
        return f"{len(value)} of them" if len(value) != 1 else "1"
    return type(value).__name__
