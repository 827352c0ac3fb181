"""
Single faults put into modules one at a time: ``python -m tests.tools.mutants MODULE ...`` prints those no test sees.

Each fault swaps an operator, a comparison, a constant or a branch. Faults are drawn by a seed; texts, annotations,
docstrings, decorators and messages of errors are left alone. A fault in what a function does is put into the loaded
function, in a fork, and tried by the tests that ran its line (``python -m tests.tools.ran`` keeps which did), those of
its room first, the quickest before the others, and before them by those of its room written since. One in what an
import alone runs is put into a copy of the tree and tried by the tests that ran a line which names it. A fault that no
test fails on was not seen.
"""

from __future__ import annotations

import argparse
import ast
import copy
import gc
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from types import CodeType, FunctionType

import pytest
from _pytest.runner import runtestprotocol

from tests.tools.ran import ROOT, forget, last_run, modules, text_of

# loaded once, for all runs; none that pytest wants to load itself
LIBRARIES = (
    "numpy", "pandas", "matplotlib.figure", "matplotlib.backends.backend_svg", "matplotlib.backends.backend_agg",
    "scipy.special", "scipy.stats", "scipy.optimize", "scipy.linalg", "openpyxl", "typer.testing", "typst", "pypdf",
    "jinja2", "PIL.Image", "highspy", "anyascii",
)  # fmt: skip

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


@dataclass(frozen=True)
class Fault:
    """
    A spoiled module.

    Attributes
    ----------
    line : int
    what : str
        How.
    names : set of str
        What the module calls the spoiled constant, class or function.
    lines : range
        Of the statement.
    called : bool
        Whether a function's call runs it, not the import.
    spoiled : ast.Module
        All of it.
    """

    line: int
    what: str
    names: set[str]
    lines: range
    called: bool
    spoiled: ast.Module


def faults(source: str, count: int, seed: int) -> Iterator[Fault]:
    """Faults drawn from all of a module."""
    tree = ast.parse(source)
    total = len(list(places(tree)))
    for number in sorted(random.Random(seed).sample(range(total), min(count, total))):  # noqa: S311
        spoiled = copy.deepcopy(tree)
        node, how = list(places(spoiled))[number]
        before = ast.unparse(node).splitlines()[0]
        held = statement_of(spoiled, node)
        assert held is not None
        spoil(node, how)
        top = next(part for part in spoiled.body if part.lineno <= node.lineno <= (part.end_lineno or 0))  # type: ignore
        stored = {n.id for n in ast.walk(top) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
        names = {top.name} if isinstance(top, ast.ClassDef | ast.FunctionDef) else stored
        yield Fault(node.lineno, f"{how}: {before[:90]}", names, *held, ast.fix_missing_locations(spoiled))


def statement_of(
    node: ast.AST, sought: ast.AST, lines: range = range(0), called: bool = False
) -> tuple[range, bool] | None:
    """Lines of the statement that holds a node, without those of its body, and whether a call runs them."""
    if isinstance(node, ast.stmt):
        body = getattr(node, "body", None)
        end = body[0].lineno if body else node.end_lineno + 1  # type: ignore[operator]
        lines = range(node.lineno, max(end, node.lineno + 1))
    if node is sought:
        return lines, called
    for field, value in ast.iter_fields(node):
        runs = called or (field == "body" and isinstance(node, ast.FunctionDef | ast.Lambda))
        for child in value if isinstance(value, list) else [value]:
            found = statement_of(child, sought, lines, runs) if isinstance(child, ast.AST) else None
            if found:
                return found
    return None


def changes(functions: list[FunctionType], module: str, spoiled: ast.Module) -> list[tuple[FunctionType, CodeType]]:
    """Functions of a loaded module that are spoiled, each with its spoiled code."""
    sound = compile(text_of(module), module, "exec", dont_inherit=True)
    before, after = list(within(sound)), list(within(compile(spoiled, module, "exec", dont_inherit=True)))
    if len(before) != len(after):
        # what a fault leaves without use may be compiled away: then it is put into a copy of the tree
        return []
    codes = dict(zip(before, after, strict=True))
    return [(f, codes[f.__code__]) for f in functions if codes.get(f.__code__, f.__code__) != f.__code__]


def within(code: CodeType) -> Iterator[CodeType]:
    """All code in a code."""
    for part in code.co_consts:
        if isinstance(part, CodeType):
            yield part
            yield from within(part)


def limited(seconds: float) -> None:
    """End this process after so much time of the processor; beside other work a sound run may take long."""
    resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds)))
    signal.alarm(20 * int(seconds))


class Trial:
    """Pytest's hook: tries faults instead of running the tests that were collected, and prints those not seen."""

    def __init__(self, asked: argparse.Namespace, tree: Path) -> None:
        self.asked, self.tree, self.ran = asked, tree, last_run()
        self.clean: dict[tuple[str, ...], bool] = {}
        # pytest keeps what is printed
        self.out = os.fdopen(os.dup(1), "w", encoding="utf-8", buffering=1)

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Every fault of every module."""
        self.items = {item.nodeid: item for item in session.items}
        modules = [asked.partition(":")[::2] for asked in self.asked.modules]
        for module, _ in modules:
            import_module(module.removesuffix(".py").removesuffix("/__init__").replace("/", "."))
        self.functions = [f for f in gc.get_objects() if isinstance(f, FunctionType)]
        # what is there is not looked through again, so that forks go on sharing its memory
        gc.freeze()
        for module, lines in modules:
            tried = faults(text_of(module), self.asked.each, self.asked.seed)
            wanted = [fault for fault in tried if not lines or str(fault.line) in lines.split(",")]
            found = [(fault, self.try_out(module, fault)) for fault in wanted]
            print(f"{module}: {sum(seen for _, seen in found)} of {len(found)} seen", file=self.out)
            for fault in [fault for fault, seen in found if not seen]:
                print(f"    not seen: line {fault.line}, {fault.what}", file=self.out)
        return True

    def try_out(self, module: str, fault: Fault) -> bool:
        """Whether a fault is seen."""
        own = room_of(module)
        new = [name for name in self.items if name not in self.ran.seconds and name.startswith(own)]
        functions = changes(self.functions, module, fault.spoiled) if fault.called else []
        if functions:
            return self.is_seen(functions, [*new, *self.tests({module: fault.lines}, module)])
        tests = [*new, *self.tests(lines_naming(fault.names), module)]
        spoiled = self.tree / module
        spoiled.write_text(ast.unparse(fault.spoiled), encoding="utf-8")
        failed = bool(tests) and seen(self.tree, tests, 3 * self.asked.most)
        shutil.copyfile(ROOT / module, spoiled)
        return failed and self.is_clean(tests)

    def tests(self, lines: dict[str, range | list[int]], module: str) -> list[str]:
        """Tests of today that ran a line, those of the module's room first."""
        return [name for name in self.ran.tests(lines, self.asked.most, room_of(module)) if name in self.items]

    def is_clean(self, tests: list[str]) -> bool:
        """Whether tests pass on the copy of the tree as it is."""
        if tuple(tests) not in self.clean:
            self.clean[tuple(tests)] = not seen(self.tree, tests, 3 * self.asked.most)
        return self.clean[tuple(tests)]

    def is_seen(self, functions: list[tuple[FunctionType, CodeType]], names: list[str]) -> bool:
        """Whether one of the tests fails on spoiled functions; tests that fail without do not count."""
        while names:
            failed = self.first_failure(names, functions)
            if failed is None or failed not in self.items:
                return failed is not None
            sound = self.clean.get((failed,)) or self.first_failure([failed], []) is None
            self.clean[failed,] = sound
            if sound:
                return True
            names = names[names.index(failed) + 1 :]
        return False

    def first_failure(self, names: list[str], functions: list[tuple[FunctionType, CodeType]]) -> str | None:
        """The first of the tests that fails in a fork; an empty name for a run that does not end."""
        reads, writes = os.pipe()
        child = os.fork()
        if not child:
            limited(2 * self.asked.most)
            forget()
            for function, code in functions:
                function.__code__ = code
            items = [self.items[name] for name in names]
            for item, after in zip(items, [*items[1:], None], strict=True):
                if any(report.failed for report in runtestprotocol(item, log=False, nextitem=after)):
                    os.write(writes, item.nodeid.encode())
                    os._exit(1)
            os._exit(0)
        os.close(writes)
        with os.fdopen(reads, encoding="utf-8") as told_back:
            failed = told_back.read()
        return None if os.waitpid(child, 0)[1] == 0 else failed


def seen(tree: Path, tests: list[str], limit: int) -> bool:
    """Whether tests fail on a spoiled tree; a run that does not end is seen, too."""
    child = os.fork()
    if not child:
        # libraries are loaded once, in the parent; the tree's own modules here, as they are spoiled
        os.chdir(tree)
        limited(limit)
        sys.path[:] = [str(tree), *(p for p in sys.path if p and Path(p).resolve() != ROOT)]
        for name in [name for name in sys.modules if name.partition(".")[0] in ("tests", "alignment", "cli")]:
            del sys.modules[name]
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1)
        os.dup2(null, 2)
        os._exit(int(pytest.main(["-q", "-x", "-p", "no:cacheprovider", "-m", "not slow", *tests])))
    return os.waitpid(child, 0)[1] != 0


def main() -> int:
    """Spoil each module a few times and print what no test saw."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "modules", nargs="+", metavar="MODULE[:LINE,LINE]", help="lines: those faults of the draw alone"
    )
    parser.add_argument("--each", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--most", type=int, default=30, help="seconds of processor time of the tests tried on a fault")
    asked = parser.parse_args()
    os.chdir(ROOT)
    for library in LIBRARIES:
        import_module(library)
    with tempfile.TemporaryDirectory() as folder:
        trial = Trial(asked, copied(Path(folder)))
        return int(pytest.main(["-q", "-p", "no:cacheprovider", "-m", "not slow"], plugins=[trial]))


def room_of(module: str) -> str:
    """Folder of the tests of a module's room."""
    path = Path(module).parts
    return f"tests/{path[0] if path[0] == 'cli' else path[1] if len(path) > 2 else 'ground'}/"


def lines_naming(names: set[str]) -> dict[str, list[int]]:
    """Lines of all modules that name one of these."""
    word = re.compile(rf"\b({'|'.join(names)})\b" if names else "(?!)")
    found = {}
    for module in modules():
        found[module] = [n for n, line in enumerate(text_of(module).splitlines(), 1) if word.search(line)]
    return found


def copied(folder: Path) -> Path:
    """A copy of the tree to spoil; nothing compiled of it is kept from here on."""
    sys.dont_write_bytecode, os.environ["PYTHONDONTWRITEBYTECODE"] = True, "1"
    tree = folder / "tree"
    shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", "__pycache__", ".*cache", "mutants"))
    return tree


if __name__ == "__main__":
    sys.exit(main())
