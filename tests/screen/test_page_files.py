"""The page's files: libraries as they came, types as the models make them, no inline code, nothing from elsewhere."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import pytest

from pitwall.cli.terminal.desk import ANSWERS, KEYS
from pitwall.cli.terminal.detail import HELP
from pitwall.screen.server import FILES, is_own, own_names
from tests.screen.make_types import TARGET, types
from tests.screen.vendored import FOLDER, LIBRARIES, LIST


def test_libraries_are_as_they_came_from_the_registry() -> None:
    """Each vendored file has the digest that was noted when it was taken, its version is the one named, and its licence
    lies beside it."""
    noted = json.loads(LIST.read_text(encoding="utf-8"))["libraries"]
    assert [(one["package"], one["version"]) for one in noted] == list(LIBRARIES)
    for library in noted:
        assert any("LICENSE" in name for name in library["files"])
        for name, digest in library["files"].items():
            assert hashlib.sha256((FOLDER / name).read_bytes()).hexdigest() == digest, name


def test_types_are_what_the_models_make() -> None:
    """The page is checked against the messages as they are now: run tests/screen/make_types.py after a change."""
    assert TARGET.read_text(encoding="utf-8") == types()


OURS = [path for path in sorted(FILES.rglob("*")) if path.suffix in (".html", ".js") and "vendor" not in path.parts]


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.name)
def test_nothing_inline_and_nothing_from_elsewhere(path: Path) -> None:
    """No inline script or style, no address of another server, and text is never inserted as markup."""
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"<script(?![^>]*src=)|\son[a-z]+=\"|innerHTML|insertAdjacentHTML|\beval\(|new Function", text)
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", text)


def test_the_terminal_has_the_keys_of_the_page() -> None:
    """Each letter of the page's help that gives a command gives one in `pitwall watch`, and the other way round; its
    help names each too. Only the page's colours are the page's alone."""
    help_text = (FILES / "app" / "help.js").read_text(encoding="utf-8")
    page = set(re.findall(r'\["([a-z])", "', help_text)) - {"t"}
    assert page == {*KEYS, *ANSWERS}
    told = "\n".join(HELP)
    assert [key for key in sorted(page) if not re.search(rf"(^|\s){key}  |{key} adopts", told)] == []


def test_nothing_flashes() -> None:
    """No style is animated: only the bar moves on smoothly, for who wants movement."""
    styles = "".join(path.read_text(encoding="utf-8") for path in sorted((FILES / "style").glob("*.css")))
    assert not re.search(r"animation|@keyframes|blink", styles)
    assert re.findall(r"transition: ([a-z]+)", styles) == ["transform"]


@pytest.mark.parametrize(("host", "own"), [
    ("127.0.0.1:8200", True), ("192.168.1.20", True), ("[::1]:8200", True), ("localhost:1", True), ("wall:8200", True),
    ("wall.local", True), ("elsewhere.example:8200", False), ("127.0.0.1.elsewhere.example", False), ("", False),
    ("[::1", False),
])  # fmt: skip
def test_only_names_that_no_foreign_site_can_have(host: str, own: bool) -> None:
    """An address, localhost or this machine's own name: a page that rebinds its own name to us is kept out."""
    assert is_own(host, frozenset({"localhost", "wall", "wall.local"})) is own


def test_this_machine_knows_its_names() -> None:
    """Also as a small network announces it."""
    assert "localhost" in own_names()
    assert any(name.endswith(".local") for name in own_names())
