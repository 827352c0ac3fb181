"""Readers held to reader_oracles.py with some hundred inputs each: good ones spoiled, and texts of likely pieces."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.configuration import set_hypothesis_home_dir

from tests.tools.fuzz_readers import FILES, SEEDS, harness, words
from tests.tools.spoiling import picker, spoil_table

EXAMPLES = {"lengths": 700, "survey": 600, "bytes": 200, "layout": 400, "panel": 150, "settings": 300, "answers": 150}
HOW = st.integers(0, 255)
PICKS = st.integers(0, 2**64).map(lambda seed: Random(seed).randbytes(24))  # noqa: S311
"""Evenly spread, which bytes that hypothesis draws by itself are not: they would spoil the same few places."""


def inputs(target: str) -> st.SearchStrategy[bytes]:
    """Inputs of a target, as its harness takes them."""
    piece = st.sampled_from([*words(target), *"0123456789 "])
    good = st.sampled_from(SEEDS.get(target, SEEDS["lengths"]))
    some = st.lists(piece | st.text(max_size=2), max_size=2).map("".join)
    text = st.builds("{}{}{}".format, some, good | piece, some)
    said = st.builds(lambda how, text: bytes([how]) + text.encode(), HOW, text)
    if target == "answers":
        answers = st.sampled_from(["b", "k", "?", "", "18 3/8", "18 7/16", "19 3/8"]) | text
        return st.lists(answers, max_size=20).map(lambda lines: "\n".join(lines).encode())
    if target == "bytes":
        table = st.builds(
            lambda whole, picks: spoil_table(whole, picker(picks)), st.sampled_from(SEEDS["survey"]), PICKS
        )
        encoding = st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
        return st.builds(str.encode, table, encoding, st.just("replace")) | st.binary(max_size=100)
    if target == "lengths":
        return said
    spoiled = st.builds(lambda how, picks: bytes([how | (1 if target in FILES else 2)]) + picks, HOW, PICKS)
    return st.one_of(spoiled, spoiled, spoiled, said)


@pytest.fixture(scope="module", autouse=True)
def _nothing_written_here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """The tables that hypothesis keeps go elsewhere, too: without a database it still writes these."""
    set_hypothesis_home_dir(tmp_path_factory.mktemp("hypothesis"))
    yield
    set_hypothesis_home_dir(None)


@pytest.mark.parametrize("target", EXAMPLES)
def test_whatever_is_read_comes_to_something_sane_or_is_refused(target: str, tmp_path: Path):
    judge = harness(target, tmp_path)

    @settings(max_examples=EXAMPLES[target], derandomize=True, deadline=None, database=None, print_blob=False)
    @given(inputs(target))
    def judged(data: bytes) -> None:
        judge(data)

    judged()
