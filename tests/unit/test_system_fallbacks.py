"""Each fallback for a system that lacks something: lock, keys, loop, signals, folders, consoles, names of files."""

from __future__ import annotations

import asyncio
import importlib.util
import io
import json
import os
import signal
import sys
import threading
from pathlib import Path, PureWindowsPath
from types import ModuleType

import pytest

from pitwall.app import lifecycle
from pitwall.app.settings import DEVICES, Settings, file_name, journal_file, state_folder
from pitwall.cli.console import take_every_character
from pitwall.cli.terminal import keys
from pitwall.journal import lock


class Terminal(io.StringIO):
    """A standard input that is a terminal."""

    def isatty(self) -> bool:
        """It is one."""
        return True


class FakeMsvcrt(ModuleType):
    """Windows' own module: a keyboard with keys pressed already, and locks on open files."""

    LK_NBLCK = 2

    def __init__(self, pressed: str = "") -> None:
        super().__init__("msvcrt")
        self.pressed = list(pressed)
        self.held: dict[tuple[int, int], int] = {}

    def kbhit(self) -> bool:
        """Is there a key?"""
        return bool(self.pressed)

    def getwch(self) -> str:
        """The next key."""
        return self.pressed.pop(0)

    def locking(self, handle: int, mode: int, length: int) -> None:
        """Lock the file at its place, or say who is first."""
        file = os.fstat(handle).st_ino, os.lseek(handle, 0, os.SEEK_CUR)
        holder = self.held.get(file)
        if holder is not None and holder != handle and _is_open(holder):
            raise OSError(36, "Resource deadlock avoided")
        self.held[file] = handle


def _is_open(handle: int) -> bool:
    try:
        os.fstat(handle)
    except OSError:
        return False
    return True


@pytest.fixture
def windows_lock(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The module of the journal's lock as Windows would import it."""
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setitem(sys.modules, "msvcrt", FakeMsvcrt())
    monkeypatch.setitem(sys.modules, "fcntl", None)
    assert lock.__file__ is not None
    spec = importlib.util.spec_from_file_location("lock_on_windows", lock.__file__)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_lock_on_windows(windows_lock: ModuleType, tmp_path: Path) -> None:
    """Windows locks a byte far behind the text: one writer, the second is told which process holds it, and after a
    release the next may."""
    journal = tmp_path / "session.sqlite"
    first = windows_lock.WriterLock(journal)
    with pytest.raises(Exception, match=f"in use by process {os.getpid()}"):
        windows_lock.WriterLock(journal)
    first.release()
    first.release()
    windows_lock.WriterLock(journal).release()


async def test_keys_on_windows_are_polled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Letters, enter and the two-part arrows arrive; unknown two-part keys are dropped."""
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setitem(sys.modules, "msvcrt", FakeMsvcrt("s\r\xe0H\x00P\xe0G\tq"))
    monkeypatch.setattr(sys, "stdin", Terminal())
    seen: list[str] = []
    with keys.key_presses(seen.append):
        await asyncio.sleep(0)
    assert seen == ["s", "enter", "up", "down", "tab", "q"]


async def test_no_keys_where_there_is_no_terminal_module(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a system that has neither termios nor msvcrt the view runs without keys."""
    for name in ("termios", "tty"):
        monkeypatch.setitem(sys.modules, name, None)
    monkeypatch.setattr(sys, "stdin", Terminal())
    with keys.key_presses(lambda key: None):
        await asyncio.sleep(0)


@pytest.mark.parametrize("stdin", [None, io.StringIO("")])
async def test_no_keys_without_a_console(monkeypatch: pytest.MonkeyPatch, stdin: object) -> None:
    """Without standard input, or with one that is no terminal, nothing is read."""
    monkeypatch.setattr(sys, "stdin", stdin)
    seen: list[str] = []
    with keys.key_presses(seen.append):
        await asyncio.sleep(0)
    assert seen == []


def test_loop_on_windows_is_the_selector_loop(monkeypatch: pytest.MonkeyPatch) -> None:
    """aiomqtt needs add_reader, which Windows' usual loop lacks: ours is the selector loop, by name."""

    async def which() -> type[asyncio.AbstractEventLoop]:
        return type(asyncio.get_running_loop())

    made: list[str] = []

    class Selector(asyncio.SelectorEventLoop):
        def __init__(self) -> None:
            made.append("selector")
            super().__init__()

    monkeypatch.setattr(asyncio, "SelectorEventLoop", Selector)
    monkeypatch.setattr(sys, "platform", "win32")
    assert lifecycle.run(which()) is Selector
    assert made == ["selector"]


async def test_signals_beside_the_main_thread_are_somebody_elses() -> None:
    """In a thread no handler can be set: nothing breaks, and undoing is harmless."""
    failures: list[BaseException] = []

    async def work() -> None:
        lifecycle.stop_on_signals(asyncio.Event())()

    def in_thread() -> None:
        try:
            asyncio.run(work())
        except BaseException as failure:
            failures.append(failure)

    thread = threading.Thread(target=in_thread)
    thread.start()
    await asyncio.to_thread(thread.join)
    assert failures == []


async def test_ctrl_break_is_a_wish_to_stop_where_there_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows' third signal, which another process can send, is taken too and put back."""

    def none(*_: object) -> None:
        raise NotImplementedError

    number = signal.SIGUSR1  # stands in for it here
    monkeypatch.setattr(signal, "SIGBREAK", number, raising=False)
    monkeypatch.setattr(asyncio.get_running_loop(), "add_signal_handler", none)
    before, stopping = signal.getsignal(number), asyncio.Event()
    undo = lifecycle.stop_on_signals(stopping)
    os.kill(os.getpid(), number)
    await asyncio.wait_for(stopping.wait(), 20)
    undo()
    assert signal.getsignal(number) is before


def test_state_folder_on_windows(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """LOCALAPPDATA, and where it is not set the folder that it usually names."""
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "Local"))
    assert state_folder(Settings()) == tmp_path / "Local" / "pitwall"
    monkeypatch.delenv("LOCALAPPDATA")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert state_folder(Settings()) == tmp_path / "AppData" / "Local" / "pitwall"


@pytest.mark.parametrize(
    ("event", "session"),
    [
        ("Round 1: \"wet\" <dry>?", "practice-1"), ("CON", "con"), ("a|b*c", "nul"), ("COM1", "lpt9"), ("..", "p"),
        ("trailing dot.", "p-1"), ("\u0141\u00f3d\u017a", "p"),
    ],
)
def test_names_of_files_are_legal_on_windows(event: str, session: str) -> None:
    """No character that Windows refuses, no device, no trailing dot or blank.

    Source: Microsoft, "Naming Files, Paths, and Namespaces": reserved characters < > : " / \\ | ? *, reserved names
    CON, PRN, AUX, NUL, COM1 to COM9, LPT1 to LPT9 also with an extension, no trailing period or space. From memory.
    """
    path = journal_file(Settings(state_dir=Path("state")), event, session)
    for part in path.parts:
        assert not set(part) & set('<>:"/\\|?*')
        assert part[-1] not in ". "
        assert part.lower().split(".")[0] not in DEVICES
    assert PureWindowsPath(*path.parts).parts == path.parts


def test_file_names_stay_apart_from_devices() -> None:
    """Every device gets another name; an ordinary one stays."""
    assert all(file_name(device) not in DEVICES for device in DEVICES)
    assert file_name("practice-1") == "practice-1"


def test_console_of_a_code_page_shows_escapes() -> None:
    """A name that a Western console cannot show is written as an escape; JSON stays JSON, outside the BMP too."""
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="cp1252", errors="strict", newline="")
    take_every_character(stream, None)
    name = "\u0141uk\u00e1\u0161 \U0001f3c1"
    stream.write(json.dumps({"driver": name}, ensure_ascii=False))
    stream.flush()
    assert raw.getvalue() == b'{"driver": "\\u0141uk\xe1\x9a \\ud83c\\udfc1"}'
    assert json.loads(raw.getvalue().decode("cp1252")) == {"driver": name}


def test_console_of_utf_8_is_left_alone() -> None:
    """Where every character can be written nothing is escaped, and what is no such stream is passed over."""
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="utf-8", newline="")
    take_every_character(stream, io.StringIO())
    stream.write("\u0141")
    stream.flush()
    assert raw.getvalue() == "\u0141".encode()
    assert stream.errors == "strict"


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "cp437"])
def test_commands_print_on_any_console(encoding: str, tmp_path: Path) -> None:
    """Check, day and a refusal print on consoles of one byte a character, names and all, without breaking off."""
    import shutil
    import subprocess

    from pitwall.app.resources import shipped

    folder = Path(shutil.copytree(shipped("config"), tmp_path / "config"))
    event = folder / "event.yaml"
    event.write_text(event.read_text(encoding="utf-8").replace("Saltmarsh Park", "\u0141\u0105ka \u2192 Park"),
                     encoding="utf-8")
    environment = os.environ | {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    code = (
        "from pitwall.cli.main import main\n"
        f"assert main(['check', {str(event)!r}]) == 0\n"
        f"assert main(['day', {str(event)!r}]) == 0\n"
        "assert main(['check', '\\u0141.yaml']) == 2\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False, env=environment, timeout=300)
    assert done.returncode == 0, done.stderr.decode(encoding)
    assert "\\u0141\\u0105ka \\u2192 Park" in done.stdout.decode(encoding)
