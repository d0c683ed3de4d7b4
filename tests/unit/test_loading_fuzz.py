"""Whatever is in the files: findings, never another exception. Random text, and shipped files with random changes."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pitwall.app.loading import Loaded, read_event, read_plan
from pitwall.app.resources import shipped

NAMES = [str(path.relative_to(shipped("config"))) for path in sorted(shipped("config").rglob("*.yaml"))
         if path.name != "circuit_timing_only.yaml"]
PIECES = ["", " ", "\n", "\t", ":", ": ", "- ", "{", "}", "[", "]", "&a ", "*a", "!x ",
          "'", '"', "#", "null", "true", "-1",
          "1e9", ".nan", "9" * 30, "on", "~", "?", "|", ">", "---", "\x00", "é", "plan", "41", "out-in", "{after}", "%",
          "0", "", "turn 4", "{timed: [1, 99]}", "[out, [in]]", "{kind: out}", "<<: ", "-00:08:00", "2031-02-30"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo event; each example writes one file and puts it back."""
    return Path(shutil.copytree(shipped("config"), tmp_path_factory.mktemp("fuzz") / "event"))


def read_with(folder: Path, name: str, content: bytes) -> Loaded:
    """Read the event with one file's content replaced."""
    path = folder / name
    original = path.read_bytes()
    path.write_bytes(content)
    try:
        return read_event(folder / "event.yaml")
    finally:
        path.write_bytes(original)


def check_result(loaded: Loaded) -> None:
    """Either a setup without errors, or errors with a file each and no setup."""
    assert (loaded.setup is None) == bool(loaded.errors)
    for found in loaded.findings:
        assert found.file
        assert found.text()
        assert found.as_record()["path"] == list(found.path)


SLOW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@SLOW
@given(name=st.sampled_from(NAMES), where=st.floats(0, 1), cut=st.integers(0, 12), piece=st.sampled_from(PIECES))
def test_a_shipped_file_with_a_piece_changed_gives_findings_only(
    folder: Path, name: str, where: float, cut: int, piece: str
) -> None:
    """Any few characters of any file replaced by something that YAML, a model or a check may stumble over."""
    text = (folder / name).read_text(encoding="utf-8")
    at = int(where * len(text))
    check_result(read_with(folder, name, (text[:at] + piece + text[at + cut:]).encode()))


@SLOW
@given(name=st.sampled_from(NAMES), line=st.integers(0, 200), value=st.sampled_from(PIECES))
def test_a_value_changed_to_anything_gives_findings_only(folder: Path, name: str, line: int, value: str) -> None:
    """The value behind any key of any file replaced: mostly still YAML, so the models and checks see it."""
    lines = (folder / name).read_text(encoding="utf-8").splitlines()
    keyed = [index for index, text in enumerate(lines) if ": " in text and not text.lstrip().startswith("#")]
    index = keyed[line % len(keyed)]
    lines[index] = lines[index].split(": ", 1)[0] + ": " + value
    check_result(read_with(folder, name, "\n".join(lines).encode()))


@SLOW
@given(name=st.sampled_from(NAMES), keep=st.lists(st.booleans(), min_size=120, max_size=120))
def test_a_file_with_lines_missing_gives_findings_only(folder: Path, name: str, keep: list[bool]) -> None:
    """Any lines left out: keys go missing and structures change their owners."""
    lines = (folder / name).read_text(encoding="utf-8").splitlines()
    check_result(read_with(folder, name, "\n".join(
        line for index, line in enumerate(lines) if keep[index % len(keep)]).encode()))


@SLOW
@given(raw=st.binary(max_size=200), name=st.sampled_from(NAMES))
def test_random_bytes_give_findings_only(folder: Path, raw: bytes, name: str) -> None:
    """Any bytes in the place of any file."""
    check_result(read_with(folder, name, raw))


def test_a_plan_may_be_any_file_of_the_event(folder: Path) -> None:
    """Each shipped file given as the plan: the plans are plans, those of the test day are for a session that this event
    does not have, everything else is called what it is."""
    for name in NAMES:
        codes = {found.code for found in read_plan(folder / name, folder / "event.yaml").errors}
        another_day = {"PW107"} if "test_day" in name else set()
        assert codes == (another_day if name.startswith("plans") else {"PW017"}), name
