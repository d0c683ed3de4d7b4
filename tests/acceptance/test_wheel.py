"""The wheel carries everything: installed elsewhere, it checks the demo event and rehearses the practice hour."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from this tree with the build backend that is installed."""
    out = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(ROOT)],
        capture_output=True, text=True, check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    (found,) = out.glob("pitwall_callclock-*.whl")
    return found


@pytest.fixture(scope="module")
def command(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """`pitwall` in a new environment that has the wheel, and the dependencies of this one on its path."""
    folder = tmp_path_factory.mktemp("elsewhere")
    venv.create(folder, with_pip=False, symlinks=True)
    bin_folder = folder / ("Scripts" if sys.platform == "win32" else "bin")
    python = bin_folder / "python"
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", str(python), "install", "-q", "--no-deps", "--no-index", str(wheel)],
        check=True,
    )
    (site,) = folder.glob("lib/python*/site-packages") if sys.platform != "win32" else [folder / "Lib/site-packages"]
    packages = [path for path in sys.path if path.endswith("site-packages")]
    # The dependencies come last, and the editable install of this tree is not followed: .pth files there are not read.
    (site / "dependencies.pth").write_text("\n".join(packages) + "\n", encoding="utf-8")
    return bin_folder / "pitwall"


def _run(command: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    words = [str(command), *arguments]
    return subprocess.run(words, cwd=folder, env=environment, capture_output=True, text=True, check=False, timeout=300)


def test_wheel_carries_config_and_scenarios(wheel: Path) -> None:
    """Every file of config/ and simulations/ is in the wheel, and the licence; tests and pictures are not."""
    names = set(zipfile.ZipFile(wheel).namelist())
    for kind in ("config", "simulations"):
        for path in sorted((ROOT / kind).rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts and "gallery" not in path.parts:
                assert f"pitwall/_shipped/{path.relative_to(ROOT)}" in names
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert not any(name.startswith(("tests/", "config/", "simulations/")) or name.endswith(".png") for name in names)


def test_installed_package_is_not_this_tree(command: Path, tmp_path: Path) -> None:
    """The command under test runs the installed copy."""
    code = "import pitwall, pathlib; print(pathlib.Path(pitwall.__file__).resolve())"
    python = command.with_name("python")
    done = subprocess.run([str(python), "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert ROOT not in Path(done.stdout.strip()).parents


@pytest.mark.parametrize(
    ("name", "session_s"),
    [("short_demo.yaml", 1200.0), ("simulations/short_demo.yaml", 1200.0)],
)
def test_wheel_rehearses_what_it_ships(command: Path, tmp_path: Path, name: str, session_s: float) -> None:
    """Outside the repository a shipped scenario is found by name or by its path there, and runs to a report."""
    done = _run(command, tmp_path, "rehearse", name, "--instant", "--json", "--seed", "3")
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["session_s"] == session_s
    assert report["calls"]["planned"] > 30
    assert report["laps"]["timed"] > 0


def test_wheel_checks_the_demo_event(command: Path, tmp_path: Path) -> None:
    """The shipped event passes `check` where it was installed."""
    event = command.parent.parent
    (shipped,) = event.rglob("_shipped/config/event.yaml")
    done = _run(command, tmp_path, "check", str(shipped), "--json")
    assert done.returncode == 0, done.stdout + done.stderr
    assert json.loads(done.stdout)["errors"] == 0
