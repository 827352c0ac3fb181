"""Every notebook runs from its first cell to its last, and is kept with its outputs."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from pathlib import Path

import nbformat
import pytest
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient

FOLDER = Path(__file__).parent.parent.parent / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
names = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)


class ThisPython(AsyncKernelManager):
    """A kernel of the interpreter that runs the tests, whatever kernels are installed beside it."""

    @property
    def kernel_spec(self) -> KernelSpec:
        """How it is started."""
        argv = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
        return KernelSpec(argv=argv, display_name="this Python", language="python")


def test_there_is_one():
    assert "main_job.ipynb" in [path.name for path in NOTEBOOKS]


@names
def test_runs(path, tmp_path, monkeypatch):
    for name in ("IPYTHONDIR", "JUPYTER_RUNTIME_DIR", "JUPYTER_DATA_DIR"):
        monkeypatch.setenv(name, str(tmp_path / name))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(FOLDER.parent), os.environ.get("PYTHONPATH", "")]))
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook, timeout=120, kernel_manager_class=ThisPython, resources={"metadata": {"path": str(tmp_path)}}
    )
    asyncio.run(client.async_execute())
    assert all(cell.execution_count for cell in notebook.cells if cell.cell_type == "code")


@names
def test_is_kept_with_outputs_of_a_run_without_error(path):
    """So that it can be read where nothing runs; in the order of its cells, pictures no wider than a window."""
    cells = [c for c in json.loads(path.read_text(encoding="utf-8"))["cells"] if c["cell_type"] == "code"]
    assert [c["execution_count"] for c in cells] == list(range(1, len(cells) + 1))
    outputs = [o for c in cells for o in c["outputs"]]
    assert outputs
    assert not [o for o in outputs if o["output_type"] == "error"]
    for found in outputs:
        if "image/png" in found.get("data", {}):
            assert found["metadata"]["image/png"]["width"] <= 1000
