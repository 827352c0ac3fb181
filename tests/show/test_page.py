"""One page, the same words whatever draws it."""

import re
from html.parser import HTMLParser

import pytest

from alignment.show import html, terminal
from alignment.show.page import Cautions, Degree, Item, Items, Page, Part, Table, Text, items, said, shown
from alignment.show.words.opening import opening
from alignment.show.words.phrases import times

PAGE = Page(
    title="Liner line, bay 2, as-found.csv",
    act="loosen the exit end of operator-2",
    parts=(
        Part(blocks=(Text(words="OUT?. Move 1 bolt end on 1 section.", strong=True),)),
        Part(
            heading="Moves",
            blocks=(
                Cautions(lines=("Lock out, tag out.", "Keep hands out of the shear & the rolls.")),
                Items(
                    numbered=True,
                    items=(
                        Item(words="operator-2: loosen exit, pivot on entry", more=("stop at 18 3/8",)),
                        Item(words="a <b> & c"),
                    ),
                ),
            ),
        ),
        Part(
            heading="Where everything is",
            degree=Degree.full,
            blocks=(
                Table(
                    head=("section", "entry", "verdict"),
                    rows=(("operator-1", "+1/32", "OK?"), ("operator-2", "", "OUT")),
                    align="lrl",
                    title="Sections",
                    note="U: the number may be wrong by this much.",
                ),
            ),
        ),
        Part(heading="Nothing here", blocks=items(())),
    ),
)


class Words(HTMLParser):
    """Text of a fragment, a blank at every tag."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_data(self, data):
        """Keep it."""
        self.found.append(data)


def plain(text):
    """Words alone: marks of lists, the lead of the last line and the case of headings are the renderer's."""
    return re.sub(r"(?m)^ *(- |\d+\.? )|^First: ", " ", text).casefold().split()


def words_of(page, degree):
    return " ".join(said(page, degree)).casefold().split()


@pytest.mark.parametrize("degree", Degree)
def test_terminal_says_the_words_of_the_page(degree):
    assert plain(terminal.render(PAGE, degree)) == words_of(PAGE, degree)


@pytest.mark.parametrize("degree", Degree)
def test_html_says_the_words_of_the_page(degree):
    parser = Words()
    parser.feed(html.render(PAGE, degree))
    heads = " ".join(parser.found).casefold().split()
    assert sorted(heads) == sorted(words_of(PAGE, degree))


def test_terminal_line_by_line():
    assert (
        terminal.render(PAGE, Degree.full)
        == """\
Liner line, bay 2, as-found.csv
OUT?. Move 1 bolt end on 1 section.

MOVES
  Lock out, tag out. Keep hands out of the shear & the rolls.
  1 operator-2: loosen exit, pivot on entry
    stop at 18 3/8
  2 a <b> & c

WHERE EVERYTHING IS
  Sections
  section     entry  verdict
  operator-1  +1/32  OK?
  operator-2         OUT
  U: the number may be wrong by this much.

First: loosen the exit end of operator-2
"""
    )


def test_table_that_does_not_fit_becomes_lines():
    table = Table(
        head=("section", "wanted reading", "as found", "as left"), rows=(("drive-1", "19 7/8", "20", "19 7/8"),)
    )
    page = Page(title="t", parts=(Part(blocks=(table,)),))
    assert (
        terminal.render(page, width=40)
        == """\
t
drive-1: wanted reading 19 7/8, as found
  20, as left 19 7/8
"""
    )


def test_narrow_lines_keep_to_forty_columns():
    assert max(map(len, terminal.render(PAGE, Degree.full, width=40).splitlines())) <= 40


def test_headings_stand_out_where_asked():
    text = terminal.render(PAGE, strong=lambda line: f"<{line}>")
    assert "<MOVES>" in text
    assert "<OUT?. Move 1 bolt end on 1 section.>" in text


def test_html_is_escaped_and_tells_rows_and_columns():
    text = html.render(PAGE, Degree.full, level=2)
    assert "a &lt;b&gt; &amp; c" in text
    assert '<th scope="row">operator-1</th><td class="number">+1/32</td>' in text
    assert text.startswith("<h2>Liner line, bay 2, as-found.csv</h2>")
    assert '<p class="act">loosen the exit end of operator-2</p>' in text


def test_what_is_full_is_left_out_at_first():
    assert [part.heading for part in shown(PAGE, Degree.first)] == ["", "Moves"]


def test_a_table_of_uneven_rows_is_refused():
    with pytest.raises(ValueError, match="a row without 2 cells"):
        Table(head=("a", "b"), rows=(("1",),))
    with pytest.raises(ValueError, match="2 columns, and alignments for 1"):
        Table(head=("a", "b"), rows=(), align="l")


def test_boxes_to_tick():
    page = Page(title="Moves", parts=(Part(blocks=items(["Loosen exit & tighten."], boxes=True)),))
    assert terminal.render(page) == "Moves\n[ ] Loosen exit & tighten.\n"
    assert "<li>&#9744; Loosen exit &amp; tighten.</li>" in html.render(page)


def test_of_the_first_lines_the_verdict_alone_stands_out():
    blocks = opening(["Machine: OUT.", "Read with a tape.", "One more."], "move it.", sends=False).blocks
    assert [block.strong for block in blocks] == [True, False, False, False]
    assert blocks[-1].words == "First: move it."


def test_how_often_in_words():
    assert [times(count) for count in (1, 2, 3)] == ["once", "twice", "3 times"]


def test_what_stands_last_already_is_not_said_again():
    parts = (Part(blocks=opening(["OUT."], "move it.", sends=False).blocks),)
    assert terminal.render(Page(title="t", parts=parts, act="move it.")) == "t\nOUT.\nFirst: move it.\n"
    # of three lines only as many as the act takes are looked at
    assert terminal.render(Page(title="t", parts=parts, act="move that.")).splitlines()[-2:] == [
        "",
        "First: move that.",
    ]


def test_a_long_word_is_never_parted_on_a_screen():
    name = "x" * 90
    assert name in terminal.render(Page(title=name, parts=())).splitlines()


def test_titles_are_the_first_heading_and_parts_below_it():
    text = html.render(PAGE)
    assert text.startswith("<h1>Liner line")
    assert "<h2>Moves</h2>" in text


def test_a_name_is_not_parted_at_its_hyphen():
    """It would fit in two parts: 70 letters, a blank and ``as-`` are 74 of 80 columns."""
    assert terminal.render(Page(title=f"{'x' * 70} as-found.csv", parts=())).splitlines()[1] == "as-found.csv"
