"""Tables for spreadsheets: nothing is run, and numbers stay numbers."""

from __future__ import annotations

import csv
import io
import math

import openpyxl
import pandas as pd
import pytest

from alignment.files import tables
from alignment.lengths import Units

RUNS = ["=1+1", "+1+1", "-2+3", "@SUM(A1)", "\t=1+1", "\r=1+1", '=HYPERLINK("http://x","y")']


def frame(texts=RUNS):
    """A table with a text that would run, and a negative number, in each row."""
    return pd.DataFrame({"name": texts, "=head": [-0.5 - k for k in range(len(texts))]})


@pytest.mark.parametrize("text", RUNS)
def test_csv_has_no_cell_that_runs(text):
    """The apostrophe stands before each text that a spreadsheet would run, and before no number."""
    data = tables.render({"t": frame([text])}, ".csv", Units.inch).decode("utf-8-sig")
    header, row = csv.reader(io.StringIO(data, newline=""))
    assert header == ["name", "'=head", "units"]
    assert row == [f"'{text}", "-0.5", "in"]


@pytest.mark.parametrize("text", RUNS)
def test_workbook_has_no_cell_that_runs(text):
    """Read back by openpyxl: text cells, none of them a formula, kept so when edited; numbers are numbers."""
    data = tables.render({"t": frame([text])}, ".xlsx", Units.mm)
    sheet = openpyxl.load_workbook(io.BytesIO(data))["t"]
    cells = [cell for row in sheet.iter_rows() for cell in row]
    assert "f" not in {cell.data_type for cell in cells}
    # XML has no carriage return of its own: it comes back as a line end
    assert sheet["A2"].value.replace("\n", "\r") == text
    assert sheet["A2"].quotePrefix
    assert sheet["B1"].quotePrefix
    assert (sheet["B2"].data_type, sheet["B2"].value) == ("n", -0.5)


def test_workbook_has_a_sheet_for_each_table():
    data = tables.render({"one": frame(["a"]), "two": frame(["b"])}, ".xlsx", Units.mm)
    assert openpyxl.load_workbook(io.BytesIO(data)).sheetnames == ["one", "two"]


def test_blank_cells_and_named_index():
    """An index with a name is a column; what is not a number is left blank."""
    table = pd.DataFrame({"value": [1.0, float("nan")]}, index=pd.Index(["a", "b"], name="section"))
    text = tables.render({"t": table}, ".csv", Units.mm).decode("utf-8-sig")
    assert text == "section,value,units\r\na,1.0,mm\r\nb,,mm\r\n"
    sheet = openpyxl.load_workbook(io.BytesIO(tables.render({"t": table}, ".xlsx", Units.mm)))["t"]
    assert [cell.value for cell in sheet[3]] == ["b", None, "mm"]


def test_control_characters_do_not_spoil_the_workbook():
    data = tables.render({"t": pd.DataFrame({"name": ["a\x01b"]})}, ".xlsx", Units.mm)
    assert openpyxl.load_workbook(io.BytesIO(data))["t"]["A2"].value == "a?b"


def test_lists_of_a_json_object():
    """Nested numbers become columns, lists of names one text, empty lists no table."""
    data = {"a": [{"pair": ["x", "y"], "n": {"value": 1}}], "b": {"c": [{"k": 2}]}, "d": []}
    found = tables.listed(data, "a", "b.c", "d")
    assert list(found) == ["a", "b"]
    assert found["a"].to_dict("records") == [{"pair": "x / y", "n.value": 1}]


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_solve_writes_its_table(samples, run, tmp_path, suffix):
    """A section whose name is a formula comes out as a text; the printed answer is the same as without."""
    layout = tmp_path / "machine.toml"
    layout.write_text((samples / "machine.toml").read_text().replace('"operator-1"', '"=operator-1"'))
    survey = tmp_path / "s.csv"
    survey.write_text((samples / "as-found.csv").read_text().replace("operator-1", "=operator-1"))
    file = tmp_path / f"t{suffix}"
    found = run("solve", layout, survey, "--table", file)
    assert found.status == 0
    assert found.out == run("solve", layout, survey).out
    if suffix == ".csv":
        first = file.read_text(encoding="utf-8-sig").splitlines()[1]
        assert first.startswith("'=operator-1,operator,2,")
        assert not any(cell.startswith("'") for cell in first.split(",")[2:])
    else:
        book = openpyxl.load_workbook(file)
        assert {"sections", "after", "joints", "moves"} <= set(book.sheetnames)
        assert (book["sections"]["A2"].value, book["sections"]["A2"].data_type) == ("=operator-1", "s")


def test_other_endings_are_refused(samples, run, tmp_path):
    files = [samples / "machine.toml", samples / "as-found.csv"]
    found = run("solve", *files, "--table", tmp_path / "t.pdf")
    assert (found.status, found.out) == (2, "")
    assert ".csv, .xlsx" in found.err
    assert not (tmp_path / "t.pdf").exists()


def test_table_is_not_written_over(samples, run, tmp_path):
    file = tmp_path / "t.csv"
    file.write_text("mine")
    files = [samples / "machine.toml", samples / "as-found.csv"]
    assert run("solve", *files, "--table", file).status == 2
    assert file.read_text() == "mine"
    assert run("solve", *files, "--table", file, "--force").status == 0


@pytest.mark.parametrize(("units", "length", "shown"), [(Units.inch, 0.123, "0.000"), (Units.mm, 0.12, "0.00")])
def test_decimals_of_lengths_and_shares(units, length, shown):
    """Three of an inch, two of a millimetre, two of a probability; what is not known is an empty cell."""
    frame = pd.DataFrame({"offset": [0.12345, math.nan], "skew.p_in": [0.98765, 0.5], "count": [3, 4]})
    text = tables.render({"main": frame}, ".csv", units).decode("utf-8-sig").splitlines()
    assert text == ["offset,skew.p_in,count,units", f"{length},0.99,3,{units}", f",0.5,4,{units}"]
    sheet = openpyxl.load_workbook(io.BytesIO(tables.render({"main": frame}, ".xlsx", units)))["main"]
    rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    assert rows[1:] == [[length, 0.99, 3, str(units)], [None, 0.5, 4, str(units)]]
    assert [cell.number_format for cell in sheet[2]][:2] == [shown, "0.00"]
