"""
Count what a person has to read: lines before the first act, lines in all, and long sentences, command by command.

Usage: ``python -m tests.tools.screens [CHECKOUT]`` counts this checkout, or another one beside it. On the sample's
nine sections and on one of them, in short and with ``--full``. An act is whatever sends a person to the machine.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

from alignment.show.terminal import WIDTH
from alignment.show.words.cautions import SHORT

__all__ = ["ACT", "commands", "long_sentences", "one_section", "screen"]

WORDS: Final = (
    "loosen", "tighten", "swing", "keep \\w+ snug", "set \\w+ to",
    "read\\b[^.:]*\\bagain", "read (each|every|both|it|this|all)", "measure (it|the|again)",
    "hang\\b[^.]*\\bagain", "check the (string|reading)", "look at the (bolts|string)",
    "(close|open) it by", "(lower|raise) the", "feeler gauges", "(put|lay) a",
)  # fmt: skip
ACT: Final = re.compile(rf"\b({'|'.join(WORDS)})\b", re.IGNORECASE)
"""Words that send a person to the machine, to move, to set or to read again."""
LONGEST: Final = 20
"""Words of a sentence that is read at once."""
ITEM: Final = re.compile(r"\s*([-+?] |\d+[. ] ?)")
COLUMNS: Final = re.compile(r"\S {2,}\S")


def commands(layout: str, survey: str, log: str, *, whole: bool = True) -> dict[str, tuple[str, ...]]:
    """Every command that prints what was found, on the sample's files; ``whole``: the log holds both states."""
    both = (log,) if whole else (survey, log)
    after = (log,) if whole else (survey, "--after", log)
    return {
        "solve": ("solve", layout, survey),
        "solve, as left": ("solve", layout, log),
        "solve --line all": ("solve", layout, survey, "--line", "all"),
        "next": ("next", layout, survey),
        "compare": ("compare", layout, *both),
        "history": ("history", layout, survey, log),
        "budget": ("budget", layout),
        "square": ("square", "18-3/8", "18-9/16", "--length", "15", "--target", "18-3/8"),
        "sheet": ("sheet", layout, "-o", "sheet.pdf", "--force"),
        "report": ("report", layout, *after, "-o", "report.pdf", "--force"),
        "panel": ("panel", "tray.toml"),
        "causes": ("causes", layout, survey, "tray.toml"),
        "settings": ("settings", "settings.toml"),
    }


def one_section(samples: Path, into: Path) -> None:
    """A machine of one section, the second one of the sample, and its surveys."""
    head, *tables = re.split(r"(?m)^(?=\[\[)", (samples / "machine.toml").read_text(encoding="utf-8"))
    section = [table for table in tables if table.startswith("[[section]]")][1]
    name = re.search(r'name = "(.*)"', section)
    assert name
    head = re.sub(r"(?ms)^\[(row|string)\.drive\].*?(?=^\[|\Z)", "", head)
    (into / "one.toml").write_text(head + section, encoding="utf-8")
    for survey in ("as-found", "as-left", "job"):
        file = samples / f"{survey}.csv"
        if file.exists():
            kept = [
                line
                for line in file.read_text(encoding="utf-8").splitlines()
                if line.startswith(("#", "section", f"{name[1]},"))
            ]
            (into / f"one-{survey}.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")


def screen(checkout: Path, folder: Path, *arguments: str, columns: int = 80) -> str | None:
    """What a command prints; None where it fails."""
    environment = os.environ | {"PYTHONPATH": str(checkout), "COLUMNS": str(columns), "NO_COLOR": "1"}
    done = subprocess.run(
        [sys.executable, "-c", "from cli.app import main; main()", *arguments],
        cwd=folder, env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.stdout if done.returncode == 0 else None


def _paragraphs(text: str) -> list[str]:
    """Running text, without tables and headings."""
    found: list[list[str]] = [[]]
    before = ""
    for line in text.splitlines():
        plain = line.strip()
        if not plain or plain.isupper() or COLUMNS.search(plain):
            found.append([])
        elif ITEM.match(line) or (found[-1] and len(before) + len(plain.split()[0]) < WIDTH):
            # its first word would have stood on the line before
            found.append([plain])
        else:
            found[-1].append(plain)
        before = line
    return [" ".join(lines) for lines in found if lines]


def long_sentences(text: str) -> list[str]:
    """
    Sentences of more words than are read at once, cautions and sources left out. Lengths and joints are one word.

    Things in a row with semicolons between count one by one.
    """
    sentences = [
        sentence
        for paragraph in _paragraphs(text)
        for sentence in re.split(r"(?<=[.?!])\s+(?=[A-Z\"\d])|(?<=;)\s+", paragraph)
        if sentence not in SHORT and not sentence.startswith("Source: ")
    ]
    return [s for s in sentences if len(re.sub(r"\S+ / \S+|(\d+ )?\d+/\d+", "1", s).split()) > LONGEST]


def _before(text: str) -> int | None:
    """Lines above the first act; None where there is none."""
    return next((k for k, line in enumerate(text.splitlines()) if ACT.search(line)), None)


def main() -> None:
    checkout = Path(sys.argv[1] if len(sys.argv) > 1 else ".").resolve()
    samples = checkout / "sample_readings"
    log = "job" if (samples / "job.csv").exists() else "as-left"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file in samples.iterdir():
            if file.suffix in (".toml", ".csv"):
                (folder / file.name).write_bytes(file.read_bytes())
        one_section(samples, folder)
        sizes = {
            "nine sections": commands("machine.toml", "as-found.csv", f"{log}.csv", whole=log == "job"),
            "one section": commands("one.toml", "one-as-found.csv", f"one-{log}.csv", whole=log == "job"),
        }
        for size, wanted in sizes.items():
            print(f"\n{size:<18} before act   lines   --full   long sentences, first and full")
            for what, arguments in wanted.items():
                if size == "one section" and arguments[0] in ("square", "panel", "causes", "settings", "history"):
                    continue
                first = screen(checkout, folder, *arguments)
                if first is None:
                    print(f"  {what:<18} cannot be run")
                    continue
                full = screen(checkout, folder, *arguments, "--full") or first
                long = long_sentences(first), long_sentences(full)
                before = _before(first)
                print(
                    f"  {what:<18} {'-' if before is None else before:>8} {len(first.splitlines()):>7} "
                    f"{len(full.splitlines()):>8} {len(long[0]):>8} {len(long[1]):>3}"
                )
                for sentence in dict.fromkeys((*long[0], *long[1])):
                    print(f"      {sentence}")


if __name__ == "__main__":
    main()
