"""Golden journals: what the engine decides on a few stored journals, as text whose diff shows a change of behaviour.

    python -m tests.replay.golden_journals             decide anew on the stored journals and write what was decided
    python -m tests.replay.golden_journals --record    record the journals anew as well (the setup's shape changed)

Run it from the top of the repository after a change of behaviour that is meant, read the diff of ``golden/*.txt``, and
commit it with the change. A stored journal is never edited: it stands for the ones that people have.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from pitwall.engine.session import Session
from pitwall.journal.codec import digest
from pitwall.journal.replay import decisions, read_lines, write_lines
from pitwall.model.events import CommandGiven, Event, Stamped, StatusChanged
from pitwall.model.outputs import Alert, Answered, LapJudged, Output, PlanState, Prompt, Refused
from tests.replay.fork import decided
from tests.replay.recorded import everything, quiet_run, red_flag
from tests.replay.recorded_questions import questions

GOLDEN = Path(__file__).parent / "golden"
RECORD: dict[str, Callable[[], tuple[Stamped, ...]]] = {
    "everything": everything,
    "questions": questions,
    "quiet_run": quiet_run,
    "red_flag": red_flag,
}


def journal_of(name: str) -> tuple[Stamped, ...]:
    """A stored journal."""
    return read_lines(GOLDEN / f"{name}.jsonl")


def told(events: Sequence[Stamped]) -> str:
    """Everything that is decided on these events: a digest of it whole, and the lines that a person reads."""
    lines: list[str] = []
    whole = hashlib.sha256()
    for one in decisions(events, Session()):
        if one.failed:
            lines.append(_line(one.stamped.received_t, f"the engine FAILED on event {one.stamped.seq}"))
        if (heard := _heard(one.stamped.event)) is not None:
            lines.append(_line(one.stamped.received_t, f"> {heard}"))
        for output in decided(one.outputs):
            whole.update(json.dumps(output.model_dump(mode="json"), sort_keys=True).encode())
        lines += [_line(one.stamped.received_t, words) for words in _words(one.outputs)]
    head = [f"journal {digest(events)}", f"decided {whole.hexdigest()}", f"events  {len(events)}", ""]
    return "\n".join([*head, *lines, ""])


def _line(t: float, words: str) -> str:
    return f"{t:8.2f}  {words}"


def _heard(event: Event) -> str | None:
    if isinstance(event, CommandGiven):
        return f"{event.by}: {event.command} {event.call or event.run or event.alert or event.text or ''}".rstrip()
    if isinstance(event, StatusChanged):
        where = "" if event.scope == "all" else f" in sector {', '.join(event.scope)}"
        pit_exit = f" pit exit {event.pit_exit}" if event.pit_exit else ""
        return f"race control: {event.status or ''}{where}{pit_exit}"
    if event.type in ("car_crossed", "car_pitted"):
        return f"car {event.car} {getattr(event, 'loop', None) or 'pit ' + getattr(event, 'where', '')}"
    return None


def _words(outputs: Iterable[Output]) -> list[str]:
    lines: list[str] = []
    for output in outputs:
        match output:
            case Prompt():
                window = f"{output.say_from_s:.1f} to {output.say_by_s:.1f}"
                reason = f" [{output.reason}]" if output.reason else ""
                lines.append(f"  {output.state:<11} {output.id}  {output.text}  {window}{reason}")
            case Alert():
                lines.append(f"  alert {'up' if output.active else 'over'}: {output.id}  {output.text}")
            case Answered():
                lines.append(f"  answer: {output.effect}")
            case Refused():
                lines.append(f"  refused: {output.reason}")
            case LapJudged(at="line" | "pit"):
                lines.append(
                    f"  lap {output.lap_number} was {output.kind}, {output.lap_time_s or '-'} s, run {output.run}"
                )
            case PlanState():
                lines.append("  plan: " + ", ".join(f"{one.run} {one.state} {one.timed_done}" for one in output.runs))
            case _:
                pass
    return lines


def main(arguments: Sequence[str]) -> int:
    """Write the golden files; says which changed."""
    parser = argparse.ArgumentParser(description="decide anew on the golden journals")
    parser.add_argument("--record", action="store_true", help="record the journals anew as well")
    record = parser.parse_args(arguments).record
    GOLDEN.mkdir(exist_ok=True)
    for name, make in RECORD.items():
        if record or not (GOLDEN / f"{name}.jsonl").exists():
            write_lines(GOLDEN / f"{name}.jsonl", make())
        path, now = GOLDEN / f"{name}.txt", told(journal_of(name))
        before = path.read_text(encoding="utf-8") if path.exists() else ""
        path.write_text(now, encoding="utf-8", newline="\n")
        print(f"{name}: {'unchanged' if now == before else 'written'}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
