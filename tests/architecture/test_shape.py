"""The shape of the source tree: sizes, names and words that review would otherwise have to watch for."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "pitwall"
MOST_LINES = 400
MOST_FUNCTION_LINES = 50
BANNED_FILES = {"utils.py", "util.py", "helpers.py", "common.py", "misc.py"}
BANNED_SUFFIXES = ("Manager", "Service")
LONG_FUNCTIONS: dict[str, str] = {}
"""``file:function`` -> why it may be longer than the rule allows."""

SOURCES = sorted(path for path in PACKAGE.rglob("*.py") if "_shipped" not in path.parts)
TESTS = sorted((ROOT / "tests").rglob("test_*.py"))


def _statements(tree: ast.AST) -> Iterator[ast.AST]:
    """Every statement, at any depth. Expressions, nine tenths of a tree, define nothing and are not gone through."""
    ahead = [tree]
    while ahead:
        node = ahead.pop()
        yield node
        for part in ("body", "orelse", "finalbody", "handlers", "cases"):
            inside = getattr(node, part, None)
            ahead += inside if isinstance(inside, list) else []


def _functions(tree: ast.AST) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    return [node for node in _statements(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_source_file_is_small_and_honestly_named(path: Path) -> None:
    """A source file has at most 400 lines, functions of at most 50, and no catch-all name."""
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES, "split this file"
    assert path.name not in BANNED_FILES
    tree = ast.parse(text)
    for function in _functions(tree):
        length = (function.end_lineno or function.lineno) - function.lineno + 1
        name = f"{path.relative_to(ROOT)}:{function.name}"
        assert length <= MOST_FUNCTION_LINES or name in LONG_FUNCTIONS, f"{name} has {length} lines"
    for node in _statements(tree):
        if isinstance(node, ast.ClassDef):
            assert not node.name.endswith(BANNED_SUFFIXES), f"{node.name}: say what it does"


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_source_file_says_what_it_is_for(path: Path) -> None:
    """Each module and each public class and function has a docstring; nothing is left for later."""
    text = path.read_text(encoding="utf-8")
    tree = ast.parse(text)
    if text.strip():
        assert ast.get_docstring(tree), "the module needs a docstring"
    for node in tree.body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{node.name} needs a docstring"
    for word in ("TODO", "FIXME", "XXX", "HACK"):
        assert word not in text


@pytest.mark.parametrize("path", TESTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_test_states_its_behaviour(path: Path) -> None:
    """Each test has a docstring, and none is skipped or expected to fail."""
    text = path.read_text(encoding="utf-8")
    for function in _functions(ast.parse(text)):
        if function.name.startswith("test_"):
            assert ast.get_docstring(function), f"{function.name} needs a docstring"
    for mark in ("mark." + "skip", "mark." + "xfail", "pytest." + "skip", "pytest." + "xfail"):
        assert mark not in text


def test_test_files_have_unique_names() -> None:
    """Two test files of one name would shadow each other in reports."""
    names = [path.name for path in TESTS]
    assert sorted(set(names)) == sorted(names)


def test_long_function_list_is_current() -> None:
    """An exception whose function is gone or has become short is struck off the list."""
    lengths = {
        f"{path.relative_to(ROOT)}:{function.name}": (function.end_lineno or 0) - function.lineno + 1
        for path in SOURCES if any(name.startswith(f"{path.relative_to(ROOT)}:") for name in LONG_FUNCTIONS)
        for function in _functions(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert [name for name in LONG_FUNCTIONS if lengths.get(name, 0) <= MOST_FUNCTION_LINES] == []


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_documents_are_plain_ascii_prose(name: str) -> None:
    """No typographic dashes or quotes: plain characters that every editor can type."""
    text = (ROOT / name).read_text(encoding="utf-8")
    assert sorted({character for character in text if ord(character) > 127}) == []


def test_top_level_holds_nothing_else() -> None:
    """Beside dotfiles and LICENSE the top level is README, DEVELOPERS, pyproject and four folders."""
    wanted = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "pitwall", "config", "tests", "simulations"}
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert found - {"dist", "build"} <= wanted
