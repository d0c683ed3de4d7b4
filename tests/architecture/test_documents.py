"""What the documents say is so: commands, paths, diagrams, the import table."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pitwall.app.diagrams import drawn, redrawn
from pitwall.cli.main import COMMANDS
from pitwall.engine.transitions import TABLES

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = ("README.md", "DEVELOPERS.md")


def _text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_command_named_exists(name: str) -> None:
    """A `pitwall WORD` in a document is a command of the table."""
    words = set(re.findall(r"(?:^|[`/ ])pitwall ([a-z]+)\b", "\n".join(_shell_lines(_text(name))), re.MULTILINE))
    assert words
    assert words <= set(COMMANDS)


def test_every_command_is_explained() -> None:
    """The README shows each command at least once."""
    assert [name for name in COMMANDS if f"pitwall {name}" not in _text("README.md")] == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_path_named_exists(name: str) -> None:
    """A path in back-ticks that looks like one of ours is there."""
    for path in re.findall(r"`((?:pitwall|config|simulations|tests|\.ci)/[\w./-]*)`", _text(name)):
        assert (ROOT / path).exists(), path


def test_pictures_are_there_and_small() -> None:
    """Each picture that the README shows exists and says in words what is to be seen; together they are small."""
    shown = re.findall(r"!\[([^]]*)\]\(([^)]+)\)", _text("README.md"))
    assert shown
    for words, path in shown:
        assert (ROOT / path).is_file(), path
        assert len(words) > 20, path
    assert sum(path.stat().st_size for path in (ROOT / "simulations" / "gallery").glob("*.png")) < 3_000_000


def test_module_paths_in_the_guide_exist() -> None:
    """`engine/transitions.py` and its like in DEVELOPERS.md are files of the package, and a name alone is one's too."""
    packages = "|".join(sorted(path.name for path in (ROOT / "pitwall").iterdir() if path.is_dir()))
    paths = re.findall(rf"`((?:{packages})/[\w./-]+\.(?:py|js|css))`", _text("DEVELOPERS.md"))
    assert [path for path in paths if not (ROOT / "pitwall" / path).exists()] == []
    folders = [ROOT / name for name in ("pitwall", "simulations", "tests")]
    files = {path.name for folder in folders for path in folder.rglob("*.*")}
    names = re.findall(r"`(\w+\.(?:py|js|css|yaml))`", _text("DEVELOPERS.md"))
    assert [name for name in names if name not in files] == []


def test_state_diagrams_are_drawn_from_the_tables() -> None:
    """Drawing the diagrams anew changes nothing, and none is missing."""
    text = _text("DEVELOPERS.md")
    assert set(drawn(text)) == set(TABLES)
    assert redrawn(text) == text, "run: python -m pitwall.app.diagrams DEVELOPERS.md"


def _shell_lines(text: str) -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)```", text, flags=re.DOTALL)
    return [line.strip() for block in blocks for line in block.splitlines()]
