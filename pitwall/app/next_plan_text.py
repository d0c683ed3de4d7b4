"""The draft of a plan as YAML, with what came from where as comments."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from pitwall.app.next_plan import Draft
from pitwall.app.plan_sheets import yaml_of

WIDTH = 110
RUN = "- run: "


def draft_text(draft: Draft) -> str:
    """The file: a head of comments, then the plan, a comment above each run that was carried."""
    head = (f"Draft of a plan of car {draft.plan.car} for {draft.plan.session}, made from what {draft.session} left "
            f"over (journal {draft.journal}).")  # fmt: skip
    lines = [*_comment(head), "#"]
    lines += _list("To be filled in or decided", draft.decide or ("nothing",))
    return "\n".join([*lines, *_plan(draft)]) + "\n"


def _list(head: str, lines: Iterable[str]) -> Iterator[str]:
    rows = list(lines)
    if rows:
        yield f"# {head}:"
        for row in rows:
            yield from _comment(row, "- ")
        yield "#"


def _comment(text: str, mark: str = "") -> Iterator[str]:
    # A control character would end the comment, or the file.
    plain = " ".join("".join(one if one.isprintable() else " " for one in text).split())
    for number, line in enumerate(textwrap.wrap(plain, WIDTH - len(mark) - 2) or [""]):
        yield f"# {mark if number == 0 else ' ' * len(mark)}{line}"


def _plan(draft: Draft) -> Iterator[str]:
    for line in yaml_of(draft.plan).splitlines():
        name = line.removeprefix(RUN).strip().strip('"') if line.startswith(RUN) else None
        if name in draft.sources:
            yield from _comment(draft.sources[name])
        yield line
