"""
Coverage-guided fuzzing of the readers, on demand: ``python -m tests.fuzz_readers survey --runs 200000``.

Needs atheris (``pip install atheris``), which nothing else here does. What it finds goes to test_fuzz_finds.py.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

SAMPLES = Path(__file__).parent.parent / "sample_readings"
WORDS = {
    "lengths": [
        *"+-/.,'\"½¼⅝", "27 5/8", " mm", " cm", " m", " in", " ft ", "feet", "inches", "''", "1/64", "9/8", "1e5",
        "nan", "\u2032", "\u2033", "\u2044", "\u2212", "\u00a0", "\u2013",
    ],
    "survey": [
        "section", "point", "reading", "repeat", "note", "entry", "exit", "mid", "joint", "close", "u", "op-1", "op-2",
        "drive-1", "27 5/8", "27.625", "# ", "# mark: 1/32", "# units: mm", "# tilt: 1", ",", ";", "\t", "\"", "\n",
        "\r", "#N/A", "section,point,reading\n", "section,entry,exit\n", "op-1,entry,27 5/8\n", "1/64", "+",
    ],
    "toml": [
        "[[", "]]", "[", "]", "{", "}", " = ", "\"", "'", "\n", "#", "true", "nan", "inf", "-1", "0x", "1e9", "\\u001b",
        "\"27 5/8\"", "\"0\"", "name", "units", "\"in\"", "\"mm\"", "row", "section", "start", "length", "points",
        "bolts", "string", "joint", "sections", "step", "tape", "mark", "moves", "travel", "notch", "offsets", "places",
        "readings", "wave", "across", "twist", "lift", "edges", "limits", "setting", "kind", "measured", "with",
    ],
}  # fmt: skip
SEEDS = {
    "lengths": ["27 5/8", "27-5/8", "2' 3 5/8\"", "702.5 mm", "27⅝+", "-1/8", "27,5", ".5", "2 ft 3 in", "70.2 cm"],
    "survey": [
        "# taken: today\n# mark: 1/32\nsection,point,reading,repeat,note\nop-1,entry,27 5/8,1,\nop-1,exit,27.5,close,x",
        "section,entry,mid,exit,joint,u\nop-1,27 5/8,,27 11/16+,1/64,1/128\nop-2,1,2,3,,\n",
        "section;point;reading\r\nop-1;entry;27,5\r\nop-2;6,5;\"27 5/8\"\r\n",
        "section\tpoint\treading\n#N/A\tentry\t1\n",
    ],
}  # fmt: skip


def harness(target: str, folder: Path) -> Callable[[bytes], Any]:
    """What is done with each input of a target."""
    from alignment.lengths import FINEST_U, TAPE_FINEST, Units
    from tests import reader_oracles as check
    from tests import spoiling

    layouts = check.small_layout("in"), check.small_layout("mm")

    def text(data: bytes) -> str:
        return data.decode("utf-8", errors="replace")

    def lengths(data: bytes) -> None:
        how = data[0] if data else 0
        finest = FINEST_U if how & 16 else TAPE_FINEST
        units = Units.mm if how & 1 else Units.inch
        check.check_length(
            text(data[1:]), units, signed=bool(how & 2), comma=bool(how & 4), mark=bool(how & 8), finest=finest
        )

    def survey(data: bytes) -> None:
        how = data[0] if data else 0
        said = spoiling.spoil_table(SEEDS["survey"][how // 4 % 4], _picker(data)) if how & 2 else text(data[1:])
        check.check_survey(said, layouts[how & 1])

    def toml(judge: Callable[[str], Any]) -> Callable[[bytes], Any]:
        good = [seed.decode() for seed in seeds(target)]

        def run(data: bytes) -> None:
            how = data[0] if data else 0
            judge(spoiling.spoil_toml(good[how // 2 % len(good)], _picker(data)) if how & 1 else text(data[1:]))

        return run

    return {
        "lengths": lengths,
        "survey": survey,
        "bytes": lambda data: check.check_bytes(data, folder / "s.csv", layouts[0]),
        "layout": toml(check.check_layout),
        "panel": toml(check.check_panel),
        "settings": toml(check.check_settings),
        "answers": lambda data: check.check_answers(text(data).split("\n")[:30], layouts[0]),
    }[target]


def _picker(data: bytes) -> Callable[[int], int]:
    """Numbers out of an input, from its second byte on; nothing but 0 at its end."""
    rest = iter(data[1:])
    return lambda below: (next(rest, 0) * (256 if below > 256 else 1) + (next(rest, 0) if below > 256 else 0)) % below


def seeds(target: str) -> list[bytes]:
    """Good inputs to start from."""
    if target in ("layout", "panel", "settings"):
        name = {"layout": "machine", "panel": "tray", "settings": "settings"}[target]
        found = [(SAMPLES / f"{name}{units}.toml").read_bytes() for units in ("", "-mm")]
        tables = found[0].split(b"\n[")
        # the heads alone, and each table behind them, so that there is something short to change
        return [*found, *(b"\n[".join([tables[0], tables[1], table]) for table in tables[2:])]
    if target == "bytes":
        marks = (("utf-8-sig", ""), ("utf-16", ""), ("utf-16-le", ""), ("utf-16-be", ""))
        return [seed.encode(encoding) for seed in SEEDS["survey"] for encoding, _ in marks]
    if target == "answers":
        return ["\n".join(SEEDS["lengths"]).encode(), b"27 5/8\nb\n27 9/16\n?\n\n28 5/8\nk\n"]
    return [b"%c%s" % (48 + how, seed.encode()) for how in (0, 1, 2, 12) for seed in SEEDS[target]]


def main() -> None:
    """Fuzz one reader."""
    targets = ("lengths", "survey", "bytes", "layout", "panel", "settings", "answers")
    options = argparse.ArgumentParser(prog="python -m tests.fuzz_readers", description=main.__doc__)
    options.add_argument("target", choices=targets)
    options.add_argument("--runs", type=int, default=200_000, help="how many inputs")
    options.add_argument("--longest", type=int, default=0, help="bytes of the longest input")
    options.add_argument("--seed", type=int, default=0, help="of the random numbers; 0: a new one")
    options.add_argument("--corpus", type=Path, help="folder in which inputs are kept from one run to the next")
    told = options.parse_args()
    try:
        import atheris
    except ImportError:
        sys.exit("atheris is not installed, and fuzzing needs it: pip install atheris")
    with atheris.instrument_imports(include=["alignment"]):
        import tests.reader_oracles  # noqa: F401
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        corpus = told.corpus or folder / "corpus"
        corpus.mkdir(parents=True, exist_ok=True)
        first = b"0" if told.target in ("layout", "panel", "settings") else b""
        for number, seed in enumerate([*(first + seed for seed in seeds(told.target)), bytes(range(1, 40)), b"73" * 9]):
            (corpus / f"seed-{number}").write_bytes(seed)
        kind = (
            "lengths"
            if told.target in ("lengths", "answers")
            else "survey"
            if told.target in ("survey", "bytes")
            else "toml"
        )
        words = "\n".join('"' + "".join(f"\\x{b:02x}" for b in word.encode()) + '"' for word in WORDS[kind])
        (folder / "words").write_text(words, encoding="ascii")
        longest = told.longest or {"lengths": 40, "survey": 400, "toml": 4000}[kind]
        flags = [f"-runs={told.runs}", f"-max_len={longest}", f"-seed={told.seed}", f"-dict={folder / 'words'}"]
        flags += [
            "-timeout=5",
            "-rss_limit_mb=4096",
            "-use_value_profile=1",
            "-print_final_stats=1",
            f"-artifact_prefix={folder}/",
        ]
        atheris.Setup([sys.argv[0], *flags, str(corpus)], harness(told.target, folder))
        atheris.Fuzz()


if __name__ == "__main__":
    main()
