"""`rehearse` as people run it: instantly, over MQTT with others looking on, and against a daemon. (That an instant
rehearsal is the same to the byte in every process: ``test_session_many_seeds.py``.)"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys

import pytest

from tests.acceptance.processes import QUICK_DAY, Processes, leave, until


def test_instant_keeps_a_journal_when_asked(processes: Processes) -> None:
    """--journal keeps the very facts whose digest the report tells; a second run puts the first aside."""
    from pitwall.journal.codec import digest
    from pitwall.journal.sqlite import read_journal

    path = processes.folder / "demo.sqlite"
    words = ("rehearse", str(QUICK_DAY), "--instant", "--json", "--journal", str(path))
    first = processes.run(*words)
    assert first.returncode == 0, first.stderr
    assert digest(read_journal(path)) == json.loads(first.stdout)["digest"]
    assert processes.run(*words).stdout == first.stdout
    assert (processes.folder / "demo.1.sqlite").exists()


def test_speed_shows_prompts_and_lets_others_look_on(processes: Processes) -> None:
    """Over MQTT: prompts as lines, a report at the end, and an independent client that sees the wire meanwhile."""
    independent = shutil.which("mosquitto_sub")
    assert independent, "install the Debian package mosquitto-clients"
    lines = processes.folder / "lines.txt"
    rehearsal = processes.start("rehearse", "short_demo", "--speed", "200", "--seed", "2", out=lines)
    assert rehearsal.stderr is not None
    said = rehearsal.stderr.readline()
    port = said.rpartition(":")[2].strip()
    heard = subprocess.run(
        [independent, "-h", "127.0.0.1", "-p", port, "-t", "pitwall/1/practice-1/#", "-W", "5", "-F", "%t %r"],
        capture_output=True, text=True, check=False,
    ).stdout.splitlines()
    assert rehearsal.wait(60) == 0
    text = lines.read_text(encoding="utf-8")
    assert text.startswith("rehearsing 'short demo'")
    assert "car 41 demo_41.yaml" in text.splitlines()[2]
    assert "SAY NOW" in text
    assert "procedures" in text, "the report stands at the end"
    topics = {line.split()[0].removeprefix("pitwall/1/practice-1/") for line in heard}
    wanted = {"clock", "health", "prompt/41", "prompt/58", "desk/41/state", "plan/41", "timing/clock", "field"}
    assert wanted <= topics


def test_speed_beyond_meaning_is_told(processes: Processes) -> None:
    """At 900 times life a sentence says what becomes of the figures; the rehearsal runs and reports all the same."""
    done = processes.run("rehearse", str(QUICK_DAY), "--speed", "900", "--json")
    assert done.returncode == 0, done.stderr
    assert "at 900 times life a tenth of a second in this machine is 90 s of the session" in done.stderr
    assert json.loads(done.stdout)["scenario"] == "quick day"


def test_broken_off_rehearsal_says_so(processes: Processes) -> None:
    """Ctrl-C in the middle ends it with 1, no report and no traceback."""
    lines = processes.folder / "lines.txt"
    rehearsal = processes.start("rehearse", "short_demo", "--speed", "10", out=lines)
    until(lambda: "SAY NOW" in lines.read_text(encoding="utf-8"))
    code, _, err = leave(rehearsal)
    assert code == 1
    assert "broken off" in err
    assert "Traceback" not in err


def test_own_event_is_rehearsed_and_named(processes: Processes) -> None:
    """--event puts an own event in the scenario's place; header and report name it and its plans, without paths."""
    processes.copy_folder("config")
    event = processes.folder / "config" / "event.yaml"
    event.write_text(event.read_text(encoding="utf-8").replace("Saltmarsh Park spring test", "Our own day"))
    words = ("rehearse", str(QUICK_DAY), "--event", "config/event.yaml", "--instant", "--json")
    done = processes.run(*words)
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert (report["event"], report["plans"]) == ("Our own day", {"41": "plan_41.yaml", "58": "plan_58.yaml"})
    assert "event  Our own day (config/event.yaml)" in done.stderr
    assert str(processes.folder) not in done.stdout
    wrong = processes.run("rehearse", "config/event.yaml")
    assert wrong.returncode == 2
    assert "this is an event: pitwall rehearse practice_hour.yaml --event config/event.yaml" in wrong.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["nowhere.yaml", "--instant"], "practice_hour.yaml"),
        (["practice_hour", "--speed", "0"], "expected a number above 0"),
        (["practice_hour", "--speed", "5", "--instant"], "not allowed with"),
        (["practice_hour", "--seed", "-1"], "seed"),
        (["practice_hour", "--instant", "--attach", "mqtt://127.0.0.1:1"], "--attach"),
        (["practice_hour", "--attach", "http://127.0.0.1"], "mqtt://"),
        (["practice_hour", "--port", "70000"], "65535"),
    ],
)
def test_wrong_usage_is_told(processes: Processes, words: list[str], says: str) -> None:
    """A wrong argument ends with 2 and names what was expected."""
    done = processes.run("rehearse", *words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_scenario_with_mistakes_names_each(processes: Processes) -> None:
    """A scenario file with two mistakes gives two findings with their lines, and ends with 1."""
    path = processes.folder / "bad.yaml"
    path.write_text("scenario: 1\nname: bad\nevent: event.yaml\nseed: -4\nflags: {red_per_hour: lots}\n")
    done = processes.run("rehearse", str(path), "--instant")
    assert done.returncode == 1
    assert "bad.yaml:4" in done.stderr
    assert "bad.yaml:5" in done.stderr


def test_python_dash_m_is_the_command() -> None:
    """`python -m pitwall` takes the same words."""
    done = subprocess.run([sys.executable, "-m", "pitwall", "--version"], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("pitwall ")
