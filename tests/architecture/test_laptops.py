"""Linux, macOS and Windows: no call that one of them lacks without something in its place; 127.0.0.1 by number."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCES = sorted(path for path in (ROOT / "pitwall").rglob("*.py") if "_shipped" not in path.parts)

MODULES = {"fcntl", "termios", "tty", "pty", "pwd", "grp", "resource", "crypt", "syslog", "posix", "readline", "curses",
           "msvcrt", "winreg", "_winapi"}
"""Modules of the standard library that one of the three systems lacks."""
NAMES = {
    "fork", "forkpty", "kill", "killpg", "getuid", "geteuid", "getgid", "getegid", "setuid", "setgid", "getpgid",
    "setsid", "getsid", "getppid", "mkfifo", "mknod", "uname", "chown", "fchown", "fchmod", "pread", "pwrite", "nice",
    "getloadavg", "sched_setaffinity", "sched_getaffinity", "wait", "waitpid", "O_NOFOLLOW", "O_DIRECTORY",
    "O_NONBLOCK",
    "SIGKILL", "SIGHUP", "SIGUSR1", "SIGUSR2", "SIGALRM", "SIGCHLD", "SIGQUIT", "SIGPIPE", "setitimer", "alarm",
    "pause", "sigwait", "pthread_kill", "poll", "epoll", "kqueue", "devpoll", "AF_UNIX", "SO_REUSEPORT", "socketpair",
    "create_subprocess_exec", "create_subprocess_shell", "add_signal_handler", "add_reader", "add_writer",
    "start_unix_server", "open_unix_connection", "tzset", "clock_gettime", "startfile",
}
KEYWORDS = {"preexec_fn", "start_new_session", "process_group", "pass_fds"}
"""Attributes, and keywords of a child process, that one of them lacks; asyncio's children among them (aiomqtt needs the
selector loop on Windows, and asyncio has children there on the other one only)."""

SHARED_NAMES = {"kill", "wait", "poll", "pause", "alarm", "uname"}
"""Methods of processes, events and locks have these names too: only those of the modules below count."""
SYSTEM = {"os", "signal", "select", "posix"}

GUARDED: dict[tuple[str, str], str] = {
    ("app/debrief_files.py", "nice"): "where it is missing all processes are equal",
    ("app/lifecycle.py", "add_signal_handler"): "NotImplementedError leads to plain signal handlers",
    ("bus/mosquitto.py", "start_new_session"): "creationflags on Windows",
    ("bus/mosquitto_files.py", "chown"): "not on Windows",
    ("bus/mosquitto_files.py", "geteuid"): "not on Windows",
    ("bus/mosquitto_files.py", "pwd"): "not on Windows",
    ("cli/terminal/keys.py", "add_reader"): "a terminal of POSIX; Windows is polled",
    ("cli/terminal/keys.py", "msvcrt"): "Windows only",
    ("cli/terminal/keys.py", "termios"): "without it there are no keys",
    ("cli/terminal/keys.py", "tty"): "without it there are no keys",
    ("journal/lock.py", "fcntl"): "msvcrt on Windows",
    ("journal/lock.py", "msvcrt"): "fcntl elsewhere",
    ("runtime/clock.py", "clock_gettime"): "chosen by system, monotonic where it is missing",
}
"""(file, name) -> what stands in for it, or why it is none. Every entry has a test of its fallback."""


def _used(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names} & MODULES
        elif isinstance(node, ast.ImportFrom):
            module = (node.module or "").split(".")[0]
            named = {alias.name for alias in node.names} & NAMES
            found |= {module} & MODULES | (named if module in SYSTEM else named - SHARED_NAMES)
        elif isinstance(node, ast.Attribute):
            shared = node.attr in SHARED_NAMES and not (isinstance(node.value, ast.Name) and node.value.id in SYSTEM)
            found |= set() if shared else {node.attr} & NAMES
        elif isinstance(node, ast.keyword):
            found |= {node.arg or ""} & KEYWORDS
        elif isinstance(node, ast.Dict):
            keys = {key.value for key in node.keys if isinstance(key, ast.Constant) and isinstance(key.value, str)}
            found |= keys & KEYWORDS
    return found


def test_no_call_of_one_system_without_a_fallback() -> None:
    """Whatever one system lacks is in the list of guarded places, and the list names nothing that is gone."""
    used = {(path.relative_to(ROOT / "pitwall").as_posix(), name) for path in SOURCES for name in _used(path)}
    assert sorted(used - set(GUARDED)) == []
    assert sorted(set(GUARDED) - used) == []


def test_loopback_is_a_number() -> None:
    """Some systems look ``localhost`` up as IPv6 first: only the places that translate it may name it."""
    translate = {"bus/address.py", "bus/sockets.py", "screen/server.py"}  # the last: a name that pages may use
    named = {
        path.relative_to(ROOT / "pitwall").as_posix()
        for path in SOURCES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and re.search(r"\blocalhost\b", node.value)
    }
    assert named <= translate
    others = [*(ROOT / "config").rglob("*.yaml"), *(ROOT / "simulations").rglob("*.py"), ROOT / "README.md"]
    assert [path.name for path in others if "localhost" in path.read_text(encoding="utf-8")] == []


def test_time_zones_travel_with_the_program() -> None:
    """Windows and small systems have no time zones: the package that brings them is a dependency, and pinned."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert "tzdata" in project["dependencies"]
    assert re.search(r"^tzdata==", (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8"), re.MULTILINE)


WITHOUT_POSIX = """
import asyncio, importlib, os, pkgutil, signal, sys, types
import aiomqtt, amqtt.broker, apscheduler.schedulers.asyncio, numpy, psutil, pydantic, pydantic_settings, rich.live
import starlette.applications, starlette.staticfiles, uvicorn
import structlog, yaml, zoneinfo, sqlite3, subprocess, tempfile, shutil, logging.handlers, concurrent.futures.thread
for name in ("fcntl", "termios", "tty", "pty", "pwd", "grp", "resource"):
    sys.modules[name] = None
for name in ("fork", "getuid", "geteuid", "getgid", "setsid", "killpg", "getpgid", "chown", "pread", "mkfifo", "uname"):
    if hasattr(os, name):
        delattr(os, name)
for name in ("SIGKILL", "SIGHUP", "SIGUSR1", "SIGALRM", "setitimer", "pause"):
    if hasattr(signal, name):
        delattr(signal, name)
def none(*given, **named):
    raise NotImplementedError
for name in ("add_signal_handler", "remove_signal_handler"):
    setattr(asyncio.SelectorEventLoop, name, none)
fake = sys.modules["msvcrt"] = types.ModuleType("msvcrt")
fake.LK_NBLCK, fake.locking, fake.kbhit, fake.getwch = 2, lambda *given: None, lambda: False, lambda: ""
sys.platform = "win32"
import pitwall
for module in pkgutil.walk_packages(pitwall.__path__, "pitwall."):
    if module.name != "pitwall.__main__":
        importlib.import_module(module.name)
"""


@pytest.mark.parametrize("work", ["", "rehearse"])
def test_runs_where_nothing_of_posix_is(work: str, tmp_path: Path) -> None:
    """Without the modules, calls and signals that Windows lacks every module imports, a journal on disk is locked and
    opened, and a session is rehearsed."""
    code = WITHOUT_POSIX
    if work:
        code += (
            "from pathlib import Path\nfrom pitwall.app import lifecycle\nfrom pitwall.cli.main import main\n"
            "from pitwall.journal.sqlite import SqliteJournal\n"
            f"lifecycle.run(lifecycle.run(SqliteJournal.open(Path({str(tmp_path / 'j.sqlite')!r}))).close())\n"
            "raise SystemExit(main(['rehearse', 'tests/acceptance/quick_day.yaml', '--instant', '--json']))\n"
        )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT, timeout=300
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "Traceback" not in done.stderr
