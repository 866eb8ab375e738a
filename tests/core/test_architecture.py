"""The shape of the library: arrows one way, cheap imports, every public name documented."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from pathlib import Path
from types import FunctionType, ModuleType

import pytest

import outfeed

ROOT = Path(outfeed.__file__).parent
MODULES = sorted(
    info.name for info in pkgutil.walk_packages([str(ROOT)], prefix="outfeed.") if not info.ispkg
)


def imports_of(module: str) -> set[str]:
    """Modules of the library that a module imports anywhere in its text."""
    path = ROOT.parent / Path(*module.split("."))
    path = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
    return names


def public_functions(module: ModuleType) -> list[FunctionType]:
    return [
        item
        for name, item in vars(module).items()
        if isinstance(item, FunctionType)
        and not name.startswith("_")
        and item.__module__ == module.__name__
    ]


def test_the_library_never_imports_the_service():
    for module in MODULES:
        assert not any(name.startswith("outfeed_api") for name in imports_of(module)), module


def test_no_two_modules_import_each_other():
    graph = {module: imports_of(module) & set(MODULES) for module in MODULES}
    done: set[str] = set()

    def visit(module: str, above: tuple[str, ...]) -> None:
        assert module not in above, " -> ".join([*above[above.index(module) :], module])
        if module not in done:
            for below in sorted(graph[module]):
                visit(below, (*above, module))
            done.add(module)

    for module in MODULES:
        visit(module, ())


def test_importing_the_whole_library_does_not_import_scipy():
    code = "import sys, importlib\n" + "".join(f"import {name}\n" for name in MODULES)
    code += "print(sorted(name for name in sys.modules if name.split('.')[0] in "
    code += "{'scipy', 'matplotlib', 'fastapi', 'pydantic'}))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


@pytest.mark.parametrize("name", MODULES)
def test_every_public_function_documents_its_arguments(name):
    module = importlib.import_module(name)
    assert module.__doc__, name
    for function in public_functions(module):
        text = inspect.getdoc(function) or ""
        arguments = [item for item in inspect.signature(function).parameters if item != "self"]
        assert text, f"{name}.{function.__name__} has no docstring"
        for argument in arguments:
            assert re.search(rf"\b{re.escape(argument)}\b", text), (
                f"{name}.{function.__name__} does not document {argument}"
            )


@pytest.mark.parametrize("name", MODULES)
def test_every_public_function_says_what_it_returns(name):
    module = importlib.import_module(name)
    for function in public_functions(module):
        text = inspect.getdoc(function) or ""
        short = not inspect.signature(function).parameters
        assert short or "Returns" in text or "Yields" in text or "Raises" in text, (
            f"{name}.{function.__name__} does not say what it returns"
        )


def names_used(paths: list[Path]) -> set[str]:
    """Names that code speaks of, other than where they are defined."""
    used: set[str] = set()
    for path in paths:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Name):
                used.add(node.id)
            elif isinstance(node, ast.Attribute):
                used.add(node.attr)
            elif isinstance(node, ast.alias):
                used.add(node.name)
    return used


def test_a_public_name_that_only_tests_use_is_listed_for_users_of_the_library():
    text = (ROOT.parents[1] / "DEVELOPERS.md").read_text()
    section = text.split("## The library by itself")[1].split("## ")[0]
    listed = set(re.findall(r"^\| `(outfeed\.[\w.]+)` \|", section, re.MULTILINE))
    for name in listed:
        assert pkgutil.resolve_name(name).__doc__, name
    service = ROOT.parents[1] / "api"
    used = names_used([*ROOT.rglob("*.py"), *service.rglob("*.py")])
    defined = {
        node.name
        for path in ROOT.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")
    }
    assert defined - used == {name.rpartition(".")[2] for name in listed}


def test_no_module_is_past_six_hundred_lines():
    long = {
        str(path.relative_to(ROOT)): lines
        for path in ROOT.rglob("*.py")
        if (lines := len(path.read_text().splitlines())) > 600
    }
    assert long == {}
