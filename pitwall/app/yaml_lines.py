"""YAML with line numbers: plain data, and for each path in it the line and column where it stands.

Scalars are read the YAML 1.2 core way, because the plan has a key ``on`` and switches stand at ``off``: only
``true`` and ``false`` are truth values, and ``12:30`` is text. Keys are text as written, so ``41:`` is the key
``"41"``. Tags, merge keys and several documents in one file are not part of our formats. An alias is followed, but
what it unfolds to counts towards a limit, so a file of a kilobyte cannot become a gigabyte.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from pitwall.checks.codes import finding
from pitwall.errors import FilePath, FileProblem, Finding, path_text

MAX_BYTES = 1 << 20
MAX_NODES = 50_000
MAX_DEPTH = 30
MAX_TWICE = 20

# libyaml's parser where PyYAML was built with it: the same events, some twenty times faster.
_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

_NULL = frozenset({"", "~", "null", "Null", "NULL"})
_TRUTH = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_INT = re.compile(r"^[-+]?[0-9]{1,18}$", re.ASCII)
_BASED = re.compile(r"^0(?:o[0-7]{1,20}|x[0-9a-fA-F]{1,15})$", re.ASCII)
_FLOAT = re.compile(r"^[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]{1,3})?$", re.ASCII)
_NOT_FINITE = re.compile(r"^(?:[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN))$", re.ASCII)


@dataclass(frozen=True, slots=True)
class Mark:
    """A place in the text, counted from 1."""

    line: int
    column: int


@dataclass(frozen=True)
class Document:
    """A file as read: its data, and where each path of it stands (for a key, the place of the key).

    ``findings`` are faults that reading got past: a key named twice, of which the last counts.
    """

    name: str
    data: Any
    marks: dict[FilePath, Mark]
    findings: tuple[Finding, ...] = ()

    def mark(self, path: FilePath) -> Mark | None:
        """Where this path stands, or the nearest thing around it that the file has."""
        for length in range(len(path), -1, -1):
            found = self.marks.get(path[:length])
            if found is not None:
                return found
        return None

    def line(self, path: FilePath) -> int | None:
        """The line of this path, or of the nearest thing around it."""
        mark = self.mark(path)
        return mark.line if mark is not None else None


class _Refused(Exception):
    """Reading stops here; carries the finding."""

    def __init__(self, found: Finding) -> None:
        self.finding = found
        super().__init__(found.found)


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
    except _Refused as refused:
        raise FileProblem([refused.finding]) from None


def parse_document(text: str, name: str) -> Document:
    """Read YAML text. ``name`` is how messages call it.

    Raises:
        FileProblem: as for :func:`read_document`.
    """
    try:
        return _Composer(name).compose(text)
    except _Refused as refused:
        raise FileProblem([refused.finding]) from None
    except yaml.YAMLError as error:
        raise FileProblem([_syntax_finding(error, text, name)]) from None


def _read_text(path: Path, name: str) -> str:
    try:
        if path.is_dir():
            raise _Refused(finding("PW002", file=name, found="a folder", expected="a file"))
        with path.open("rb") as handle:
            raw = handle.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise _Refused(finding("PW001", file=name, found="no such file", suggestion=_near_file(path))) from None
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _Refused(finding("PW003", file=name, found=f"a file that cannot be read ({reason})")) from None
    if len(raw) > MAX_BYTES:
        raise _Refused(finding("PW004", file=name, found="more than 1 MiB", expected="a file that a person wrote"))
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        byte = f"byte 0x{raw[error.start]:02x}"
        raise _Refused(finding("PW005", file=name, line=line, found=f"{byte}, which is not UTF-8",
                               expected="text in UTF-8", suggestion="save the file as UTF-8")) from None


def _near_file(path: Path) -> str | None:
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


@dataclass
class _Open:
    """A sequence or mapping whose end has not come yet."""

    path: FilePath
    value: Any
    anchor: str | None
    mark: Mark
    key: str | None = None
    nodes_before: int = 0


@dataclass
class _Composer:
    """Builds data from parser events with a stack of its own, so that depth is a limit and never a crash."""

    name: str
    marks: dict[FilePath, Mark] = field(default_factory=dict)
    anchors: dict[str, tuple[Any, int]] = field(default_factory=dict)
    stack: list[_Open] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    nodes: int = 0
    root: Any = None
    documents: int = 0

    def compose(self, text: str) -> Document:
        """Read the one document of the text."""
        for event in self._events(text):
            self._take(event)
        if self.root is None:
            raise _Refused(finding("PW006", file=self.name, found="an empty file",
                                   expected="keys and values such as 'plan: 1'"))
        return Document(self.name, self.root, self.marks, tuple(self.findings))

    def _events(self, text: str) -> Iterator[Any]:
        return iter(yaml.parse(text, Loader=_Loader))

    def _take(self, event: Any) -> None:
        mark = Mark(event.start_mark.line + 1, event.start_mark.column + 1)
        if isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                self._refuse("PW009", mark, "a second document ('---')", "one document in a file")
        elif isinstance(event, yaml.AliasEvent):
            self._take_alias(event, mark)
        elif isinstance(event, yaml.ScalarEvent):
            self._take_scalar(event, mark)
        elif isinstance(event, yaml.SequenceStartEvent | yaml.MappingStartEvent):
            self._open(event, mark)
        elif isinstance(event, yaml.SequenceEndEvent | yaml.MappingEndEvent):
            self._close()

    def _take_scalar(self, event: Any, mark: Mark) -> None:
        if self._wants_key():
            self._set_key(event.value, mark)
            return
        self._count(1, mark)
        if event.tag is not None and event.tag not in ("!", "tag:yaml.org,2002:str"):
            self._refuse("PW009", mark, f"the tag {event.tag!r}", "plain values")
        value = self._plain(event.value, mark) if event.implicit[0] else event.value
        if event.anchor is not None:
            self.anchors[event.anchor] = (value, 1)
        self._put(value, mark)

    def _plain(self, text: str, mark: Mark) -> Any:
        if text in _NULL:
            return None
        if text in _TRUTH:
            return _TRUTH[text]
        if _INT.match(text):
            return int(text)
        if _BASED.match(text):
            return int(text, 0)
        if _FLOAT.match(text):
            number = float(text)
            if number in (float("inf"), float("-inf")):
                self._refuse("PW015", mark, f"{text[:40]}, a number beyond all bounds", "a finite number")
            return number
        if _NOT_FINITE.match(text):
            self._refuse("PW015", mark, text, "a finite number")
        return text

    def _take_alias(self, event: Any, mark: Mark) -> None:
        if self._wants_key():
            self._refuse("PW009", mark, "an alias as a key", "a plain key")
        if event.anchor not in self.anchors:
            self._refuse("PW009", mark, f"the alias '*{event.anchor}'", f"an anchor '&{event.anchor}' above it",
                         "an alias can only repeat what is complete further up")
        value, size = self.anchors[event.anchor]
        self._count(size, mark)
        self._put(value, mark)

    def _open(self, event: Any, mark: Mark) -> None:
        if self._wants_key():
            self._refuse("PW009", mark, "a list or mapping as a key", "a plain key", "is a bracket or a '?' too many?")
        if len(self.stack) >= MAX_DEPTH:
            self._refuse("PW009", mark, f"more than {MAX_DEPTH} levels of nesting", "a flat file")
        if event.tag not in (None, "!", "tag:yaml.org,2002:map", "tag:yaml.org,2002:seq"):
            self._refuse("PW009", mark, f"the tag {event.tag!r}", "plain values")
        self._count(1, mark)
        value: Any = {} if isinstance(event, yaml.MappingStartEvent) else []
        self.stack.append(_Open(self._next_path(), value, event.anchor, mark, nodes_before=self.nodes - 1))

    def _close(self) -> None:
        done = self.stack.pop()
        if done.anchor is not None:
            self.anchors[done.anchor] = (done.value, self.nodes - done.nodes_before)
        self._put(done.value, done.mark)

    def _wants_key(self) -> bool:
        return bool(self.stack) and isinstance(self.stack[-1].value, dict) and self.stack[-1].key is None

    def _set_key(self, key: str, mark: Mark) -> None:
        holder = self.stack[-1]
        path = (*holder.path, key)
        if key in holder.value:
            self._note_twice(key, path, mark)
        holder.key = key
        holder.value[key] = None
        self.marks[path] = mark

    def _note_twice(self, key: str, path: FilePath, mark: Mark) -> None:
        first = self.marks[path]
        twice = finding("PW008", file=self.name, line=mark.line, column=mark.column, path=path,
                        found=f"the key {key!r} for the second time", expected="each key once",
                        suggestion=f"it stands in line {first.line} already")
        if len(self.findings) >= MAX_TWICE:
            raise _Refused(twice)
        self.findings.append(twice)
        for known in [known for known in self.marks if known[: len(path)] == path]:
            del self.marks[known]

    def _next_path(self) -> FilePath:
        if not self.stack:
            return ()
        holder = self.stack[-1]
        if isinstance(holder.value, list):
            return (*holder.path, len(holder.value))
        return holder.path if holder.key is None else (*holder.path, holder.key)

    def _put(self, value: Any, mark: Mark) -> None:
        path = self._next_path()
        self.marks.setdefault(path, mark)
        if not self.stack:
            self.root = value
            return
        holder = self.stack[-1]
        if isinstance(holder.value, list):
            holder.value.append(value)
        else:
            holder.value[str(holder.key)] = value
            holder.key = None

    def _count(self, more: int, mark: Mark) -> None:
        self.nodes += more
        if self.nodes > MAX_NODES:
            self._refuse("PW009", mark, f"more than {MAX_NODES} values once every alias is unfolded", "a smaller file")

    def _refuse(self, code: str, mark: Mark, found: str, expected: str, suggestion: str | None = None) -> None:
        path = self._next_path()
        shown = path if len(path_text(path)) < 120 else ()
        raise _Refused(finding(code, file=self.name, line=mark.line, column=mark.column, path=shown, found=found,
                               expected=expected, suggestion=suggestion))
