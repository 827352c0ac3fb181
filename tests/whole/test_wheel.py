"""The wheel: built, installed elsewhere, alone and beside others that have folders of the same names, and run."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
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


@pytest.fixture(scope="module")
def others(tmp_path_factory) -> list[Path]:
    """Wheels of two other projects: one has our folder ``cli``, one ``tests``, with modules of the same names."""
    folder = tmp_path_factory.mktemp("others")
    found = []
    for name in ("cli", "tests"):
        info = f"other_{name}-1.dist-info"
        files = {f"{name}/{module.name}": "print('another program')\n" for module in (ROOT / name).glob("*.py")}
        files[f"{info}/METADATA"] = f"Metadata-Version: 2.1\nName: other-{name}\nVersion: 1\n"
        files[f"{info}/WHEEL"] = "Wheel-Version: 1.0\nGenerator: by hand\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        found.append(folder / f"other_{name}-1-py3-none-any.whl")
        with zipfile.ZipFile(found[-1], "w") as out:
            for path, text in files.items():
                out.writestr(path, text)
            out.writestr(f"{info}/RECORD", "".join(f"{path},,\n" for path in (*files, f"{info}/RECORD")))
    return found


def test_what_is_in_it(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"alignment"}
    for path in (ROOT / "cli").glob("*.py"):
        assert f"alignment/cli/{path.name}" in names
    for path in (ROOT / "sample_readings").iterdir():
        assert f"alignment/sample_readings/{path.name}" in names
    assert not [name for name in names if "__pycache__" in name or name.endswith(".pyc")]
    assert any(name.endswith("/licenses/LICENSE") for name in names)


def run(*command: object, path: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a program with the checkout out of reach, but for what `path` names."""
    clean = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    return subprocess.run(
        [str(part) for part in command],
        capture_output=True,
        text=True,
        cwd=folder,
        env=clean | {"PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"},
        check=False,
        timeout=100,
    )


def test_demo_from_it(wheel, tmp_path):
    """With the checkout out of reach: the code and the samples come from the wheel."""
    target, elsewhere = tmp_path / "installed", tmp_path / "elsewhere"
    elsewhere.mkdir()
    pip("install", "--no-compile", "--no-deps", "--target", target, wheel)
    where = run(sys.executable, "-c", "import alignment; print(alignment.__file__)", path=str(target), folder=elsewhere)
    assert Path(where.stdout.strip()).is_relative_to(target)
    done = run(sys.executable, "-m", "alignment", "demo", path=str(target), folder=elsewhere)
    assert (done.returncode, done.stderr) == (0, "")
    assert "MOVES, IN THIS ORDER" in done.stdout
    assert (elsewhere / "stringtrue-demo" / "train.png").stat().st_size > 10_000
    assert (elsewhere / "stringtrue-demo" / "machine.toml").is_file()


@pytest.mark.parametrize("last", [True, False], ids=["installed last", "installed first"])
def test_beside_other_wheels(wheel, others, tmp_path, last):
    """A folder ``cli`` or ``tests`` of another project neither replaces the command nor is replaced by it."""
    for each in (others, [wheel]) if last else ([wheel], others):
        pip("install", "--no-compile", "--no-deps", "--ignore-installed", "--prefix", tmp_path / "there", *each)
    scheme = {"base": str(tmp_path / "there"), "platbase": str(tmp_path / "there")}
    here = sysconfig.get_path("purelib", "venv", vars=scheme)
    program = Path(sysconfig.get_path("scripts", "venv", vars=scheme)) / "stringtrue"
    for command in ([program], [sys.executable, "-m", "alignment"]):
        done = run(*command, "square", "18-3/8", "18-7/16", "--length", "15", "--json", path=here, folder=tmp_path)
        assert (done.returncode, done.stderr) == (0, "")
        assert '"skew"' in done.stdout
        assert "another program" not in done.stdout
    for name in ("cli.app", "tests.conftest"):
        done = run(sys.executable, "-c", f"import {name}", path=here, folder=tmp_path)
        assert done.stdout == "another program\n" * 2  # the folder's own and the module's


def test_checkout_beside_other_wheels(others, tmp_path):
    """An editable install comes after what is installed: its command is its own all the same."""
    pip("install", "--no-compile", "--no-deps", "--target", tmp_path / "there", *others)
    path = os.pathsep.join([str(tmp_path / "there"), str(ROOT)])
    done = run(sys.executable, "-m", "alignment", "--version", path=path, folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("stringtrue ")
