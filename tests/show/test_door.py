"""The door: what it offers, how light it is, how results compare and print."""

import doctest
import importlib
import inspect
import subprocess
import sys
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

import alignment
from alignment.errors import StringtrueError
from alignment.results import Result

SAFE = {"budget", "judge_settings"}
"""What can be done with whatever was read."""
SLOW = ("numpy", "scipy", "pandas", "matplotlib", "typst", "openpyxl", "typer", "highspy")


def test_nothing_slow_loads_with_it():
    asked = f"import alignment, sys; print([m for m in {SLOW} if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True).stdout == "[]\n"


@pytest.mark.parametrize("name", alignment.__all__)
def test_everything_offered_is_there_and_described(name):
    offered = getattr(alignment, name)
    assert name in dir(alignment)
    told = inspect.getdoc(offered)
    assert told
    assert "Examples\n---" in told
    assert "Raises\n---" in told or name in SAFE


def test_what_is_not_offered_is_an_attribute_error():
    with pytest.raises(AttributeError, match="module 'alignment' has no attribute 'sove'"):
        alignment.sove  # noqa: B018


@pytest.mark.parametrize(
    "name",
    [
        "alignment",
        *sorted({inspect.getmodule(getattr(alignment, n)).__name__ for n in alignment.__all__}),
    ],
)
def test_examples_run(name):
    failed, tried = doctest.testmod(importlib.import_module(name))
    assert failed == 0
    assert tried > 0


def test_no_result_is_refused():
    with pytest.raises(StringtrueError, match=r"int has no words\. These have: Budget, "):
        alignment.text(3)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Found(Result):
    """A result with an array."""

    name: str
    values: Any
    more: tuple[Any, ...] = ()

    @property
    def headline(self):
        """In one line."""
        return f"{self.name} is OK"


def test_results_compare_by_value():
    one, same = (
        Found(name="a", values=np.array([1.0, np.nan]), more=(np.arange(2), {"x": float("nan")})) for _ in "12"
    )
    assert one == same
    assert one != Found(name="a", values=np.array([1.0, 2.0]), more=one.more)
    assert one != Found(name="a", values=one.values, more=(np.arange(3), {"x": float("nan")}))
    assert one != "a"


@dataclass(frozen=True)
class Part:
    """A part of a result that is none itself."""

    value: float


def test_parts_of_results_compare_by_value_on_every_python():
    """Python 3.13 compares fields of a dataclass one by one, so that a NaN is not even itself."""
    one, same = (Found(name="a", values=1, more=(Part(float("nan")),)) for _ in "12")
    assert one == same
    assert one != Found(name="a", values=1, more=(Part(1.0),))


def test_results_cannot_be_written():
    values = np.zeros(2)
    found = Found(name="a", values=values)
    with pytest.raises(ValueError, match="read-only"):
        found.values[0] = 1.0
    values[0] = 1.0  # the caller's own array is left as it was


def test_results_print_in_a_few_lines():
    found = Found(name="a", values=np.zeros((3, 2)), more=tuple(range(100)))
    assert repr(found) == "Found: a is OK\n  name: 'a'\n  values: array of 3 x 2\n  more: 100 of them"


def test_a_text_is_no_more_than_needed_unless_asked_for(samples):
    layout = alignment.read_layout(samples / "machine.toml")
    found = alignment.budget(layout)
    assert alignment.text(found) == alignment.text(found, full=False) != alignment.text(found, full=True)


def test_a_record_is_made_of_the_files_that_are_named(samples, monkeypatch):
    from alignment.show.paper import job

    class Looked(Exception):  # noqa: N818
        pass

    def look(papers, **_):
        raise Looked(papers)

    monkeypatch.setattr(job, "gather", look)
    names = {"layout": "machine.toml", "survey": "as-found.csv", "after": "as-left.csv", "panel": "tray.toml",
             "settings": "settings.toml"}  # fmt: skip
    paths = {what: samples / name for what, name in names.items()}
    with pytest.raises(Looked) as looked:
        alignment.record(**{what: str(path) for what, path in paths.items()})
    (papers,) = looked.value.args
    assert {what: getattr(papers, what) for what in names} == paths
