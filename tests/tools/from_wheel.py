"""
Every command, run from an installed wheel: ``python -m tests.tools.from_wheel``, on demand, as it loads packages.

``--oldest`` installs the oldest versions that pyproject.toml allows, and says which they are. The wheel is built and
installed in a virtual environment of its own, and run in an empty folder, with the checkout out of reach.
"""

from __future__ import annotations

import argparse
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
import venv
from pathlib import Path

from cli import app

ROOT = Path(__file__).parent.parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ANSWERS = {"enter": "R. Quill\nT-1\n18 3/8\n18 7/16\nq\n"}
"""What is typed where a command asks."""


def commands() -> list[list[str]]:
    """The demonstration, the README's story, and the example in every command's help."""
    told = re.findall(r"^\$ stringtrue (.*)$", (ROOT / "README.md").read_text(encoding="utf-8"), re.M)
    # the page at the machine is served until it is interrupted
    others = [c for c in app.commands().registered_commands if c.name != "phone"]
    examples = [str(c.epilog).removeprefix("Example: stringtrue ") for c in others]
    return [shlex.split(line) for line in ("demo", "--version", *told, *examples)]


def main() -> None:
    """Install a wheel and run every command from it."""
    options = argparse.ArgumentParser(prog="python -m tests.tools.from_wheel", description=main.__doc__)
    options.add_argument("--oldest", action="store_true", help="on the oldest versions of what it depends on")
    oldest = options.parse_args().oldest
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        venv.create(folder / "venv", with_pip=True)
        programs = folder / "venv" / ("Scripts" if os.name == "nt" else "bin")

        def pip(*arguments: object) -> str:
            done = subprocess.run(
                [programs / "python", "-m", "pip", "--disable-pip-version-check", "--quiet", *map(str, arguments)],
                check=True, stdout=subprocess.PIPE, text=True,
            )  # fmt: skip
            return done.stdout

        pip("wheel", "--no-deps", "--wheel-dir", folder, ROOT)
        (wheel,) = folder.glob("stringtrue-*.whl")
        pip("install", wheel, *(d.replace(">=", "==") for d in PROJECT["dependencies"] if oldest))
        names = [re.split("[>=]", d)[0] for d in PROJECT["dependencies"]]
        print(sys.version.split()[0], *(line for line in pip("freeze").split() if line.split("==")[0] in names))
        clean = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}
        failed = 0
        for number, arguments in enumerate(commands()):
            work = folder / f"work-{number}"
            work.mkdir()
            # what the demonstration left is what all others start from
            for file in (folder / "work-0" / "stringtrue-demo").glob("*.[ct][so][vm]*"):
                if arguments[0] != "demo" and arguments[:2] != ["start", file.name]:
                    shutil.copy(file, work)
            begin = time.perf_counter()
            done = subprocess.run(
                [programs / "stringtrue", *arguments],
                cwd=work, env=clean, input=ANSWERS.get(arguments[0], ""), capture_output=True, text=True, check=False,
            )  # fmt: skip
            took, bad = time.perf_counter() - begin, done.returncode != 0 or bool(done.stderr.strip())
            failed += bad
            print(f"{'FAILED' if bad else 'ok':<6} {took:5.1f} s  stringtrue {shlex.join(arguments)}")
            if bad:
                print(done.stdout[-500:], done.stderr[-2000:], sep="\n")
    sys.exit(f"{failed} commands failed" if failed else 0)


if __name__ == "__main__":
    main()
