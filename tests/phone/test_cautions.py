"""The page at the machine: the cautions stand above what is to be done, in full where the job begins."""

from html import unescape

import pytest

from alignment.show.words.cautions import FULL, SHORT

HEAD = "section,point,reading\n"
ROWS = "operator-1,entry,18 3/8\noperator-1,exit,18 9/16\n" * 2


@pytest.mark.parametrize(("text", "above"), [("", FULL), (HEAD + ROWS[:24], SHORT), (HEAD + ROWS, SHORT)])
def test_no_act_without_cautions(visit, log, text, above):
    if text:
        log.write_text(text)
    page = " ".join(unescape(visit().get().text).split())
    assert page.index(above[0]) < page.index("<form")
    assert all(caution in page for caution in above)
    if text.endswith(ROWS):
        assert page.index(SHORT[0]) < page.index("<h1>operator-1</h1>")
