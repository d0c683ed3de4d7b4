"""Who may import whom, and who may read a clock: the contracts of pyproject.toml, held by the tests too."""

from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PURE = ("model", "track", "pace", "radio", "comments", "forecast", "checks", "engine")
BANNED_IN_PURE = {
    "asyncio", "sqlite3", "aiomqtt", "amqtt", "logging", "structlog", "time", "threading", "socket", "subprocess",
    "random", "uuid", "secrets", "datetime.datetime.now",
}
CLOCKS = {"time", "uuid", "secrets", "random"}
CLOCK_FILE = ROOT / "pitwall" / "runtime" / "clock.py"

ALLOWED = {
    "errors": set(),
    "model": {"errors"},
    "track": {"errors", "model"},
    "pace": {"errors", "model", "track"},
    "radio": {"errors", "model", "track"},
    "comments": {"model"},
    "forecast": {"errors", "model", "pace"},
    "checks": {"errors", "model", "track", "radio", "forecast"},
    "engine": {"errors", "model", "track", "pace", "radio", "comments"},
    "runtime": {"errors", "model", "engine"},
    "journal": {"errors", "model", "runtime", "engine"},
    "bus": {"errors", "model", "runtime"},
    "feeds": {"errors", "model", "runtime"},
    "debrief": {"errors", "model", "track", "pace", "comments", "runtime"},
    "sheets": {"errors", "model"},
    "rehearsal": {"errors", "model", "track"},
    "app": None,
    "cli": {"errors", "model", "app", "comments", "checks"},
    "testing": None,
}
"""Package -> the packages of ours that it may import, besides itself; None: all but cli."""


def _imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


def _sources(package: str) -> list[Path]:
    folder = ROOT / "pitwall" / package
    return sorted(folder.rglob("*.py")) if folder.is_dir() else [folder.with_suffix(".py")]


@pytest.mark.parametrize("package", sorted(ALLOWED))
def test_package_imports_only_what_it_may(package: str) -> None:
    """The table above is DEVELOPERS.md's; a package that is not in it may not be imported."""
    allowed = ALLOWED[package]
    for path in _sources(package):
        if not path.exists():
            continue
        ours = {name.split(".")[1] for name in _imports(path) if name.startswith("pitwall.")} - {"__version__", package}
        if allowed is None:
            assert package == "cli" or "cli" not in ours, path
        else:
            assert ours <= allowed, f"{path.relative_to(ROOT)} imports {sorted(ours - allowed)}"


@pytest.mark.parametrize("package", PURE)
def test_pure_package_does_no_io(package: str) -> None:
    """The engine and what it stands on neither wait, store, send, log nor look at a clock."""
    for path in _sources(package):
        roots = {name.split(".")[0] for name in _imports(path)}
        assert not roots & BANNED_IN_PURE, f"{path.relative_to(ROOT)}: {sorted(roots & BANNED_IN_PURE)}"


def test_one_file_reads_a_clock() -> None:
    """Only runtime/clock.py imports a clock; nobody imports randomness of the standard library."""
    readers = [
        path.relative_to(ROOT)
        for path in sorted((ROOT / "pitwall").rglob("*.py"))
        if path != CLOCK_FILE and {name.split(".")[0] for name in _imports(path)} & CLOCKS
    ]
    assert readers == []


def test_every_package_is_in_the_table() -> None:
    """A new package must first be given its place in the order."""
    found = {path.name for path in (ROOT / "pitwall").iterdir() if (path / "__init__.py").exists()}
    assert found <= set(ALLOWED) | {"screen", "debrief"}


def test_banned_calls_are_in_the_lint_rules() -> None:
    """ruff holds the same line at the point of use, with one file and the two outer trees excepted."""
    lint = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["ruff"]["lint"]
    banned = lint["flake8-tidy-imports"]["banned-api"]
    assert {"time", "uuid", "secrets", "random", "datetime.datetime.now"} <= set(banned)
    excepted = [pattern for pattern, rules in lint["per-file-ignores"].items() if "TID251" in rules]
    assert sorted(excepted) == ["pitwall/runtime/clock.py", "simulations/*", "tests/*"]


def test_importing_the_command_line_is_cheap() -> None:
    """`pitwall --help` imports neither numpy nor pydantic nor any command's module."""
    code = (
        "import sys; from pitwall.cli import main; main.build_parser(None);"
        "heavy = {'numpy', 'pydantic', 'aiomqtt', 'amqtt', 'structlog', 'rich'} & set(sys.modules);"
        "known = ('pitwall.cli.main', 'pitwall.cli.console');"
        "ours = {name for name in sys.modules if name.startswith('pitwall.cli.') and name not in known};"
        "print(sorted(heavy | ours)); raise SystemExit(bool(heavy | ours))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
