"""
Single faults put into modules one at a time, on a copy of the tree: ``python -m tests.tools.mutants MODULE ...``.

Each fault swaps an operator, a comparison, a constant or a branch. A test run that passes has not seen it. Faults are
drawn by a seed; texts, annotations, docstrings, decorators and messages of errors are left alone.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

# loaded once, for all runs; none that pytest wants to load itself
LIBRARIES = (
    "numpy", "pandas", "matplotlib.figure", "matplotlib.backends.backend_svg", "matplotlib.backends.backend_agg",
    "scipy.special", "scipy.stats", "scipy.optimize", "scipy.linalg", "openpyxl", "typer.testing", "typst", "pypdf",
    "jinja2", "PIL.Image", "highspy", "anyascii",
)  # fmt: skip

ROOT = Path(__file__).parents[2]
NEAREST = 5
"""Test files beside those of its room that run on a spoiled module."""
SWAPS: dict[type, type] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip
CALLS = {"max": "min", "min": "max", "any": "all", "all": "any", "hypot": "sum"}


def places(tree: ast.Module) -> Iterator[tuple[ast.AST, str]]:
    """Nodes that can be spoiled, with what is done to them."""
    skipped: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.AnnAssign):
            skipped |= {id(n) for n in ast.walk(node.annotation)}
        if isinstance(node, ast.ClassDef):
            skipped |= {id(n) for part in node.decorator_list for n in ast.walk(part)}
        if isinstance(node, ast.FunctionDef):
            for part in [
                *node.decorator_list,
                node.returns,
                *(a.annotation for a in [*node.args.args, *node.args.kwonlyargs]),
            ]:
                skipped |= {id(n) for n in ast.walk(part)} if part else set()
        if isinstance(node, ast.Raise | ast.JoinedStr):
            skipped |= {id(n) for n in ast.walk(node)}
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.BinOp | ast.AugAssign | ast.BoolOp) and type(node.op) in SWAPS:
            yield node, "operator"
        elif isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
            yield node, "comparison"
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
            yield node, "sign"
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float) and node.value not in (None,):
            yield node, "number"
        elif isinstance(node, ast.Constant) and type(node.value) is bool:
            yield node, "truth"
        elif isinstance(node, ast.IfExp | ast.If):
            yield node, "branch"
        elif (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id in ("max", "min", "any", "all")
        ):
            yield node, "call"


def spoil(node: ast.AST, how: str) -> None:
    """Put one fault into a node."""
    if how == "operator":
        node.op = SWAPS[type(node.op)]()  # type: ignore[attr-defined]
    elif how == "comparison":
        node.ops[0] = SWAPS[type(node.ops[0])]()  # type: ignore[attr-defined]
    elif how == "sign":
        node.op = ast.UAdd() if isinstance(node.op, ast.USub) else node.op  # type: ignore[attr-defined]
        if isinstance(node.op, ast.Not):  # type: ignore[attr-defined]
            node.operand = ast.UnaryOp(op=ast.Not(), operand=node.operand)  # type: ignore[attr-defined]
    elif how == "number":
        node.value = node.value * 2 if node.value else 1  # type: ignore[attr-defined]
    elif how == "truth":
        node.value = not node.value  # type: ignore[attr-defined]
    elif how == "branch":
        node.test = ast.UnaryOp(op=ast.Not(), operand=node.test)  # type: ignore[attr-defined]
    else:
        node.func.id = CALLS[node.func.id]  # type: ignore[attr-defined]


def mutants(source: str, count: int, seed: int) -> Iterator[tuple[str, str]]:
    """Spoiled texts of a module, each with where and how."""
    tree = ast.parse(source)
    total = len(list(places(tree)))
    for number in sorted(random.Random(seed).sample(range(total), min(count, total))):  # noqa: S311
        spoiled = copy.deepcopy(tree)
        node, how = list(places(spoiled))[number]
        before = ast.unparse(node).splitlines()[0]
        spoil(node, how)
        after = ast.unparse(ast.fix_missing_locations(spoiled))
        yield f"line {node.lineno}, {how}: {before[:90]}", after  # type: ignore[attr-defined]


def seen(tree: Path, tests: list[str], limit: int) -> bool:
    """Whether the tests fail on a spoiled tree; a run that does not end is seen, too."""
    child = os.fork()
    if not child:
        # libraries are loaded once, in the parent; the tree's own modules here, as they are spoiled
        os.chdir(tree)
        # of the processor: beside other work a sound run may take long
        resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
        signal.alarm(20 * limit)
        sys.path[:] = [str(tree), *(p for p in sys.path if p and Path(p).resolve() != ROOT)]
        for name in [name for name in sys.modules if name.partition(".")[0] in ("tests", "alignment", "cli")]:
            del sys.modules[name]
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1)
        os.dup2(null, 2)
        os._exit(int(pytest.main(["-q", "-x", "-p", "no:cacheprovider", "-m", "not slow", *tests])))
    return os.waitpid(child, 0)[1] != 0


def main() -> None:
    """Spoil each module a few times and print what no test saw."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("modules", nargs="+")
    parser.add_argument("--tests", nargs="+", help="by default those that import the module, then its room's")
    parser.add_argument("--each", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--limit", type=int, default=120, help="seconds of processor time for one run")
    asked = parser.parse_args()
    for library in LIBRARIES:
        import_module(library)
    with tempfile.TemporaryDirectory() as folder:
        tree = copied(Path(folder))
        sound: set[str] = set()
        for name in asked.modules:
            tests = asked.tests or tests_of(name)
            untried = [test for test in tests if test not in sound]
            if untried and seen(tree, untried, 2 * asked.limit):
                print(f"{name}: tests fail on the clean tree: {' '.join(untried)}", flush=True)
            else:
                sound |= set(tests)
                path = tree / name
                source = path.read_text(encoding="utf-8")
                found = []
                for where, text in mutants(source, asked.each, asked.seed):
                    write(path, text)
                    found.append((where, seen(tree, tests, asked.limit)))
                write(path, source)
                print(f"{name}: {sum(s for _, s in found)} of {len(found)} seen", flush=True)
                for where in [where for where, s in found if not s]:
                    print(f"    not seen: {where}", flush=True)


def tests_of(module: str) -> list[str]:
    """Test files that import a module, those that name it most first, then the tests of its room."""
    path = Path(module)
    package, stem = ".".join(path.parent.parts), path.stem
    imports = rf"from {package}\.{stem} import|from {package} import [^\n(]*\b{stem}\b|import {package}\.{stem}\b"
    found = {}
    for test in sorted((ROOT / "tests").rglob("test_*.py")):
        text, own = test.read_text(encoding="utf-8"), test.stem == f"test_{stem}"
        if own or re.search(imports, text):
            found[str(test.relative_to(ROOT))] = (own, len(re.findall(rf"\b{stem}\b", text)))
    room = "cli" if path.parts[0] == "cli" else path.parts[1] if len(path.parts) > 2 else "ground"
    return [*sorted(found, key=lambda name: found[name], reverse=True)[:NEAREST], f"tests/{room}"]


def copied(folder: Path) -> Path:
    """A copy of the tree to spoil."""
    tree = folder / "tree"
    shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", "__pycache__", ".*cache"))
    return tree


def write(path: Path, text: str) -> None:
    """Write a module's text, and forget what was compiled of it."""
    path.write_text(text, encoding="utf-8")
    for kept in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
        kept.unlink()
    sys.dont_write_bytecode = True


if __name__ == "__main__":
    main()
