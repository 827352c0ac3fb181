"""
Coverage-guided fuzzing of the readers: inputs are changed at random, and those that reach new lines changed further.

Run on demand: ``python -m tests.tools.fuzz_readers survey --runs 200000`` or ``--seconds 300``; it ends at the
first find and prints it. Needs atheris (``pip install atheris``), which nothing else here does. What may
come of an input is in
reader_oracles.py. test_fuzz.py sends a few inputs through the same harness at each test run; finds go to
test_fuzz_finds.py.
"""

from __future__ import annotations

import argparse
import re
import sys
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path

SAMPLES = Path(__file__).parent.parent.parent / "sample_readings"
FILES = {"layout": "machine", "panel": "tray", "settings": "settings"}
LONGEST = {"lengths": 40, "answers": 200, "survey": 400, "bytes": 400, "layout": 4000, "panel": 4000, "settings": 4000}
"""Targets, and the bytes of their longest inputs."""
WORDS = {
    "lengths": [
        *"+-/.,'\"½¼⅝", "18 3/8", " mm", " cm", " m", " in", " ft ", "feet", "inches", "''", "1/64", "9/8", "1e5",
        "1000000", "½56", "\u0663", "nan", "\u2032", "\u2033", "\u2044", "\u2212", "\u00a0", "\u2013",
    ],
    "survey": [
        "section", "point", "reading", "repeat", "note", "entry", "exit", "mid", "joint", "close", "u", "op-1", "op-2",
        "drive-1", "18 3/8", "18.375", "# ", "# mark: 1/32", "# units: mm", "# tilt: 1", ",", ";", "\t", "\"", "\n",
        "\r", "#N/A", "section,point,reading\n", "section,entry,exit\n", "op-1,entry,18 3/8\n", "1/64", "+",
    ],
    "toml": [
        "[[", "]]", "[", "]", "{", "}", " = ", "\"", "'", "\n", "#", "true", "nan", "inf", "-1", "0x", "1e9", "\\u001b",
        "\"18 3/8\"", "\"0\"", "name", "units", "\"in\"", "\"mm\"", "row", "section", "start", "length", "points",
        "bolts", "string", "joint", "sections", "step", "tape", "mark", "moves", "travel", "creep", "offsets", "places",
        "readings", "wave", "across", "twist", "lift", "edges", "limits", "setting", "kind", "measured", "with",
    ],
}  # fmt: skip
SEEDS = {
    "lengths": ["18 3/8", "18-3/8", "1' 6 3/8\"", "467.5 mm", "18⅜+", "-1/8", "18,5", ".5", "2 ft 3 in", "46.7 cm"],
    "survey": [
        "# taken: today\n# mark: 1/32\n# units: in\nsection,point,reading,repeat,note\nop-1,entry,18 3/8,1,\n"
        "op-1,exit,18.25,close,x",
        "section,entry,mid,exit,joint,u\nop-1,18 3/8,,18 7/16+,1/64,1/128\nop-2,1,2,3,,\n",
        "section;point;reading\r\nop-1;entry;18,5\r\nop-2;6,5;\"18 3/8 in\"\r\n",
        "section\treading\tpoint\ndrive-1\t1\tentry\n",
    ],
}  # fmt: skip


def words(target: str) -> list[str]:
    """What a reader looks for, to be put into inputs."""
    return WORDS["toml" if target in FILES else {"answers": "lengths", "bytes": "survey"}.get(target, target)]


def samples(target: str) -> list[str]:
    """The shipped files of a kind, and the first of them up to each of the tables of which it has many."""
    whole = [(SAMPLES / f"{FILES[target]}{units}.toml").read_text(encoding="utf-8") for units in ("", "-mm")]
    head, *tables = re.split(r"\n(?=\[\[)", whole[0])
    return [*whole, *("\n".join([head, *tables[:many]]) for many in range(1, len(tables)))]


def seeds(target: str) -> list[bytes]:
    """Inputs to start from, most of them good."""
    if target in FILES:
        return [b"0" + text.encode() for text in samples(target)]
    if target == "bytes":
        encodings = ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be")
        return [text.encode(name) for text in SEEDS["survey"] for name in encodings]
    if target == "answers":
        return ["\n".join(SEEDS["lengths"]).encode(), b"18 3/8\nb\n18 5/16\n?\n\n19 3/8\nk\n"]
    return [b"%c%s" % (48 + how, text.encode()) for how in (0, 1, 2, 12) for text in SEEDS[target]]


def harness(target: str, folder: Path) -> Callable[[bytes], object]:
    """What is done with an input of a target: mostly its first byte says how the rest is read."""
    # only here, so that atheris can watch what these import
    from alignment.lengths import FINEST_U, TAPE_FINEST, Units
    from tests.tools import reader_oracles as check
    from tests.tools.spoiling import picker, spoil_table, spoil_toml

    layouts = check.small_layout("in"), check.small_layout("mm")

    def text(data: bytes) -> str:
        return data.decode("utf-8", errors="replace")

    def lengths(data: bytes) -> object:
        how = data[0] if data else 0
        units, finest = Units.mm if how & 1 else Units.inch, FINEST_U if how & 16 else TAPE_FINEST
        signed, comma, mark = (bool(how & bit) for bit in (2, 4, 8))
        return check.check_length(text(data[1:]), units, signed=signed, comma=comma, mark=mark, finest=finest)

    def survey(data: bytes) -> object:
        how, good = data[0] if data else 0, SEEDS["survey"]
        table = spoil_table(good[how // 4 % len(good)], picker(data[1:])) if how & 2 else text(data[1:])
        return check.check_survey(table, layouts[how & 1])

    if target in FILES:
        good, judge = samples(target), getattr(check, f"check_{target}")

        def toml(data: bytes) -> object:
            how = data[0] if data else 0
            return judge(spoil_toml(good[how // 2 % len(good)], picker(data[1:])) if how & 1 else text(data[1:]))

        return toml
    return {
        "lengths": lengths,
        "survey": survey,
        "bytes": lambda data: check.check_bytes(data, folder / "s.csv", layouts[0]),
        "answers": lambda data: check.check_answers(text(data).split("\n")[:30], layouts[0]),
    }[target]


def main() -> None:
    """Fuzz one reader."""
    options = argparse.ArgumentParser(prog="python -m tests.tools.fuzz_readers", description=main.__doc__)
    options.add_argument("target", choices=LONGEST)
    options.add_argument("--runs", type=int, default=-1, help="how many inputs; endless if not told")
    options.add_argument("--seconds", type=int, default=0, help="how long; 0: until all inputs are run")
    options.add_argument("--seed", type=int, default=0, help="of the random numbers; 0: a new one")
    options.add_argument("--folder", type=Path, help="keeps finds, and inputs from one run to the next")
    told = options.parse_args()
    try:
        import atheris
    except ImportError:
        sys.exit("atheris is not installed, and fuzzing needs it: pip install atheris")
    with atheris.instrument_imports(include=["alignment"]):
        import tests.tools.reader_oracles  # noqa: F401
    warnings.simplefilter("error")  # as in the tests
    folder = told.folder or Path(tempfile.mkdtemp(prefix=f"fuzz-{told.target}-"))
    inputs = folder / "inputs"
    inputs.mkdir(parents=True, exist_ok=True)
    spoiling = bytes(range(1, 40)), b"73" * 9
    for number, seed in enumerate([*seeds(told.target), *spoiling]):
        (inputs / f"seed-{number}").write_bytes(seed)
    quoted = ("".join(f"\\x{byte:02x}" for byte in word.encode()) for word in words(told.target))
    (folder / "words").write_text("\n".join(f'"{word}"' for word in quoted), encoding="ascii")
    flags = {
        "runs": told.runs,
        "max_total_time": told.seconds,
        "seed": told.seed,
        "max_len": LONGEST[told.target],
        "dict": folder / "words",
        "artifact_prefix": f"{folder}/",
        "timeout": 5,
        "rss_limit_mb": 4096,
        "use_value_profile": 1,
        "print_final_stats": 1,
    }
    atheris.Setup(
        [sys.argv[0], *(f"-{key}={value}" for key, value in flags.items()), str(inputs)], harness(told.target, folder)
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main()
