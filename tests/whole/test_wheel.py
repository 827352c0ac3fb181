"""The wheel: built, installed elsewhere, and the demonstration run from it."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent


def pip(*arguments: object) -> None:
    subprocess.run(
        [sys.executable, "-m", "pip", "--disable-pip-version-check", *map(str, arguments)],
        check=True,
        capture_output=True,
        text=True,
        timeout=300,
    )


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The project's wheel, built without leaving anything in the checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    pip("wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", folder, ROOT)
    (found,) = folder.glob("stringtrue-*.whl")
    return found


def test_what_is_in_it(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names}
    assert {"alignment", "cli"} <= tops
    assert all(top in ("alignment", "cli") or top.endswith(".dist-info") for top in tops)
    for path in (ROOT / "sample_readings").iterdir():
        assert f"alignment/sample_readings/{path.name}" in names
    assert any(name.endswith("/licenses/LICENSE") for name in names)


def test_demo_from_it(wheel, tmp_path):
    """With the checkout out of reach: the code and the samples come from the wheel."""
    target, elsewhere = tmp_path / "installed", tmp_path / "elsewhere"
    elsewhere.mkdir()
    pip("install", "--no-deps", "--target", target, wheel)
    ask = "import alignment, sys; from cli.app import run; print(alignment.__file__, file=sys.stderr); sys.exit(run())"
    done = subprocess.run(
        [sys.executable, "-c", ask, "demo"],
        capture_output=True,
        text=True,
        cwd=elsewhere,
        env=os.environ | {"PYTHONPATH": str(target), "PYTHONDONTWRITEBYTECODE": "1"},
        check=False,
        timeout=100,
    )
    assert done.returncode == 0, done.stderr
    assert Path(done.stderr.strip()).is_relative_to(target)
    assert "MOVES, in this order" in done.stdout
    assert (elsewhere / "stringtrue-demo" / "train.png").stat().st_size > 10_000
    assert (elsewhere / "stringtrue-demo" / "machine.toml").is_file()
