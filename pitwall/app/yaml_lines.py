"""YAML with line numbers, from a file or a text: whatever keeps it from being read is told with a place and a remedy.

``yaml_composer`` says what of YAML is read, ``yaml_document`` what comes of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from shlex import quote

import yaml

from pitwall.app.journal_names import SQLITE_MAGIC
from pitwall.app.yaml_composer import Composer
from pitwall.app.yaml_document import Document, ReadingStopped
from pitwall.checks.codes import finding
from pitwall.errors import FileProblem, Finding

SPREADSHEET = b"PK\x03\x04"  # how a workbook begins: it is a ZIP file (ECMA-376, part 2)
MAX_BYTES = 1 << 20


def read_document(path: Path, name: str | None = None) -> Document:
    """Read one YAML file.

    Args:
        path: the file.
        name: how messages call it; its path as given when left out.

    Raises:
        FileProblem: when it is missing, a folder, too large, not UTF-8, empty, or not YAML.
    """
    shown = name or str(path)
    try:
        return parse_document(_read_text(path, shown), shown)
    except ReadingStopped as refused:
        raise FileProblem([refused.finding]) from None


def parse_document(text: str, name: str) -> Document:
    """Read YAML text. ``name`` is how messages call it.

    Raises:
        FileProblem: as for :func:`read_document`.
    """
    try:
        return Composer(name).compose(text)
    except ReadingStopped as refused:
        raise FileProblem([refused.finding]) from None
    except yaml.YAMLError as error:
        raise FileProblem([_syntax_finding(error, text, name)]) from None


def _read_text(path: Path, name: str) -> str:
    try:
        if path.is_dir():
            raise ReadingStopped(finding("PW002", file=name, found="a folder", expected="a file"))
        with path.open("rb") as handle:
            raw = handle.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise ReadingStopped(finding("PW001", file=name, found="no such file", suggestion=near_file(path))) from None
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ReadingStopped(finding("PW003", file=name, found=f"a file that cannot be read ({reason})")) from None
    if len(raw) > MAX_BYTES:
        raise ReadingStopped(
            finding("PW004", file=name, found="more than 1 MiB", expected="a file that a person wrote")
        )
    if raw.startswith(SPREADSHEET):
        raise ReadingStopped(finding("PW005", file=name, found="a spreadsheet", expected="text in UTF-8",
                               suggestion=_of_a_workbook(path)))
    if raw.startswith(SQLITE_MAGIC):
        raise ReadingStopped(finding("PW005", file=name, found="a journal of a session", expected="text in UTF-8",
                               suggestion="pitwall debrief, export and replay take a journal"))
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        byte = f"byte 0x{raw[error.start]:02x}"
        raise ReadingStopped(finding("PW005", file=name, line=line, found=f"{byte}, which is not UTF-8",
                               expected="text in UTF-8", suggestion="save the file as UTF-8")) from None


def _of_a_workbook(path: Path) -> str:
    """The commands that make a plan of it, as a shell takes them. ``plan convert`` goes by the name: with another
    ending it would be taken for something else, or be written over by itself."""
    book, made = (quote(path.with_suffix(suffix).name) for suffix in (".xlsx", ".yaml"))
    if path.suffix.lower() == ".xlsx":
        return f"make a plan of it: pitwall plan convert {quote(path.name)} {made}"
    return (f"if it is a workbook, rename it first: mv {quote(path.name)} {book}; then make a plan of it: "
            f"pitwall plan convert {book} {made}")


def near_file(path: Path) -> str | None:
    """``did you mean 'x'?`` for the file beside it that was probably meant; None where there is none."""
    try:
        names = sorted(entry.name for entry in path.parent.iterdir())[:2000]
    except (OSError, ValueError):
        return f"there is no folder {str(path.parent)!r} either" if str(path.parent) != "." else None
    near = near_file_name(path.name, names)
    return f"did you mean {near!r}?" if near else None


def near_file_name(name: str, names: Iterable[str]) -> str | None:
    """The one of ``names`` that was probably meant. Endings count for nothing, and figures are no slips: the plan of
    car 41 is not that of car 58."""
    from difflib import get_close_matches

    figures = re.sub(r"\D", "", name)
    by_stem = {Path(one).stem: one for one in names if re.sub(r"\D", "", one) == figures}
    near = get_close_matches(Path(name).stem, list(by_stem), n=1, cutoff=0.75)
    return by_stem[near[0]] if near else None


def _syntax_finding(error: yaml.YAMLError, text: str, name: str) -> Finding:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    line = mark.line + 1 if mark is not None else None
    column = mark.column + 1 if mark is not None else None
    problem = getattr(error, "problem", None) or getattr(error, "reason", None) or "something that cannot be read"
    lines = text.splitlines()
    shown = lines[line - 1] if line is not None and 0 < line <= len(lines) else ""
    suggestion = None
    if "\t" in shown[: len(shown) - len(shown.lstrip())]:
        suggestion = "this line is indented with a tab: YAML wants spaces"
    elif "mapping values are not allowed" in problem:
        suggestion = "a text with ': ' in it needs quotes, or this line is indented too far"
    elif _starts_with_a_blank(lines, line):
        suggestion = "a text that begins with '{' needs quotes"
    elif "could not find expected ':'" in problem or "did not find expected" in problem:
        suggestion = "look at the indentation and the brackets of this line and the one above"
    return finding("PW007", file=name, line=line, column=column, suggestion=suggestion,
                   found=f"text that breaks the rules of YAML ({problem})")


def _starts_with_a_blank(lines: list[str], line: int | None) -> bool:
    """Guard: on this line or the one before, a text begins with a blank in braces and goes on after it."""
    near = lines[max(0, (line or 1) - 2) : line or 1]
    return any(re.match(r"\s*(- )?[\w-]+:\s+\{\w+\}\s*\S", one) for one in near)
