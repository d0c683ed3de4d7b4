"""Plain data and places from the parser's events, within limits that no file can get past.

Scalars are read the YAML 1.2 core way, because the plan has a key ``on`` and switches stand at ``off``: only
``true`` and ``false`` are truth values, and ``12:30`` is text. Keys are text as written, so ``41:`` is the key
``"41"``. Tags, merge keys and several documents in one file are not part of our formats. An alias is followed, but
what it unfolds to counts towards a limit, so a file of a kilobyte cannot become a gigabyte.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import yaml

from pitwall.app.yaml_document import Document, Mark, ReadingStopped
from pitwall.checks.codes import finding
from pitwall.errors import FilePath, Finding, path_text

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
class Composer:
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
            raise ReadingStopped(finding("PW006", file=self.name, found="an empty file",
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
            raise ReadingStopped(twice)
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
        raise ReadingStopped(finding(code, file=self.name, line=mark.line, column=mark.column, path=shown, found=found,
                               expected=expected, suggestion=suggestion))
