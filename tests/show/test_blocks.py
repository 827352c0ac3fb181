"""A page set as a PDF: the same words as everywhere, in the same order, tagged."""

import datetime
import io

import pypdf
import pytest

from alignment.choices import Paper
from alignment.show.page import Degree, Page, Part, Table, said, shown
from alignment.show.paper.blocks import page_data, render
from tests.show.test_page import PAGE

DAY = datetime.date(2026, 10, 5)


def words(pdf: bytes) -> str:
    """Text of a PDF without blanks, which a typesetter puts where it likes."""
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)
    return "".join(text.replace("\u200b", "").split())


@pytest.mark.parametrize("degree", list(Degree))
def test_the_same_words_on_paper(degree):
    """Every text that a page says stands on the paper, in the order of reading."""
    pdf = render(PAGE, degree, paper=Paper.a4, made=DAY)
    found, at = words(pdf), 0
    for text in said(PAGE, degree):
        # a table's title and note stand over it
        bare = "".join(text.split())
        assert bare in found
        if not any(isinstance(b, Table) and text in (b.note,) for p in shown(PAGE, degree) for b in p.blocks):
            at = found.find(bare, at)
            assert at >= 0, text
    assert ("operator-1" in found) is (degree is Degree.full)
    assert "Nothinghere" not in found


def test_no_text_is_read_as_a_program():
    """What is source to the typesetter stays the text that it is."""
    nasty = ('#panic("no")', "= *bold* _it_ $x$", "`raw` @ref <lab> \\u{41} // c", '#eval("1")')
    page = Page(title=nasty[0], parts=(Part(heading=nasty[1], blocks=(Table(head=nasty[:2], rows=(nasty[2:],)),)),))
    found = words(render(page, paper=Paper.letter, made=DAY))
    assert all("".join(text.split()) in found for text in nasty)


def test_a_long_table_is_folded_and_loses_no_row():
    """Forty short rows stand in columns on one page; each row once."""
    rows = tuple((f"row{k:02}", f"{k}/64") for k in range(40))
    page = Page(title="t", parts=(Part(blocks=(Table(head=("a", "b"), rows=rows),)),))
    pdf = render(page, paper=Paper.letter, made=DAY)
    assert len(pypdf.PdfReader(io.BytesIO(pdf)).pages) == 1
    found = words(pdf)
    assert all(found.count(name) == 1 for name, _ in rows)


def test_the_row_that_sets_the_width_has_the_longest_cell_of_each_column():
    page = Page(title="t", parts=(Part(blocks=(
        Table(head=("a", "b"), rows=(("operator-1", "x"), ("s", "18  3/8"))), Table(head=("a",), rows=()),
    )),))  # fmt: skip
    full, empty = page_data(page)["parts"][0]["blocks"]
    assert full["widest"] == [["operator-1", "18 3/8"]]
    assert empty["widest"] == []
