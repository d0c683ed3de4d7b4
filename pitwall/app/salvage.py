"""Going on after errors: what is left of a file once the parts that pydantic refused are taken out.

A typist makes several mistakes at once. A misspelt key in run 2 must not hide an unknown switch in run 4, so the
broken parts are cut out, a stand-in is put where a key must not be missing, and the rest is checked against the
other files. The paths of the rest are kept as they are in the file, and a finding that only the cutting may have
caused is dropped (:meth:`Rest.trusts`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from pitwall.app.plain_words import reason_of
from pitwall.errors import FilePath, Finding
from pitwall.model.base import Refused

M = TypeVar("M", bound=BaseModel)
MAX_ROUNDS = 8
MISSPELT = 0.6

_WHOLE_FILE = ("PW502", "PW503", "PW504", "PW506", "PW507", "PW514")
"""Findings that add up fuel or time over runs: only trusted when no part of a run is missing."""

_IN_PLACE_OF: Mapping[str, Any] = {"laps": ["out", *["timed"] * 150, *["cool"] * 150, "in"]}
"""What a key holds once its value was cut out, where a run without it would be refused for other keys' sake."""

UNREAD, NO_NAME = "unread", "(without a name)"

_NEIGHBOURS = ("PW2", "PW4", "PW5")
"""Findings that depend on other keys of the same run or item."""

_ALONE = ("run", "purpose", "want", "value", "after_garage_s", "crew", "shorten_to", "why")
"""Keys of a run or an item that none of those findings depends on."""

_WHATEVER_IS_DONE = ("PW204",)
"""Findings on an item that hold whatever its procedure is: a place is known or not."""


@dataclass(frozen=True)
class Late:
    """A refusal that showed late, with its path in the file and that of the value it disagrees with."""

    path: FilePath
    reason: Refused
    first: FilePath | None


@dataclass(frozen=True)
class Rest(Generic[M]):
    """A model made of the sound parts of a file.

    Attributes:
        model: the model; None when nothing could be made of the file.
        removed: the paths, as in the file, that were taken out or stood in for; empty when the whole file is sound.
        origins: path in the cut data -> path in the file, for lists whose entries moved up.
        late: what the models refused only once the broken parts were out of the way.
    """

    model: M | None
    removed: frozenset[FilePath]
    origins: dict[FilePath, FilePath]
    late: tuple[Late, ...] = ()
    stand_ins: Mapping[str, str] = field(default_factory=dict)

    def as_written(self, text: str | None) -> str | None:
        """The same words with what stands in the file where a name stands in for it."""
        for name, written in self.stand_ins.items():
            text = text.replace(name, written) if text is not None else None
        return text

    def in_file(self, path: FilePath) -> FilePath:
        """The path of the model as a path of the file."""
        for length in range(len(path), -1, -1):
            known = self.origins.get(path[:length])
            if known is not None:
                return (*known, *path[length:])
        return path

    def trusts(self, found: Finding) -> bool:
        """False when a part that was cut out may be all there is behind this finding (its path is as in the file)."""
        if self.removed and found.code in _WHOLE_FILE:
            return False
        here = found.path
        for cut in self.removed:
            if cut[: len(here)] == here or here[: len(cut)] == cut:
                return False
            holder = cut[:-1]
            beside = bool(holder) and isinstance(cut[-1], str) and here[: len(holder)] == holder
            stands_alone = cut[-1] in _ALONE or (cut[-1] == "do" and found.code in _WHATEVER_IS_DONE)
            if beside and not stands_alone and found.code.startswith(_NEIGHBOURS):
                return False
        return True


def salvage(model: type[M], data: Any, error_paths: list[FilePath]) -> Rest[M]:
    """Cut out what is refused until the rest is valid.

    Args:
        model: what the file should be.
        data: the whole data.
        error_paths: where pydantic found errors in it, as paths of the data; for a missing key the mapping without it.
    """
    work = _Salvage(model, data)
    removed = {path for path in error_paths if path and work.is_leaf_or_key(path)}
    for _ in range(MAX_ROUNDS):
        cut, origins = work.cut(removed)
        try:
            made = model.model_validate(cut)
        except ValidationError as error:
            if not work.mend(error, cut, origins, removed):
                break
        else:
            return Rest(made, frozenset({*removed, *work.stand_ins}), origins, tuple(work.late), work.names())
    return Rest(None, frozenset(removed), {}, tuple(work.late))


class _Salvage:
    """The data of one file, with what stands in for keys that must not be missing."""

    def __init__(self, model: type[BaseModel], data: Any) -> None:
        self.model, self.data = model, data
        self.stand_ins: dict[FilePath, Any] = {}
        self.late: list[Late] = []

    def names(self) -> dict[str, str]:
        """What stands in the file where a name stands in: the name that is refused, or that there is none."""
        found = {}
        for path, value in self.stand_ins.items():
            if isinstance(value, str) and value.startswith(UNREAD):
                here = self.data
                for part in path[:-1]:
                    here = here[part]
                found[value] = str(here.get(path[-1], NO_NAME))
        return found

    def is_leaf_or_key(self, path: FilePath) -> bool:
        """Entries of lists and whole mappings are not cut at first: a stand-in for what they miss may do."""
        here = self.data
        for part in path:
            try:
                here = here[part]
            except (KeyError, IndexError, TypeError):
                return False
        return not isinstance(here, dict) or isinstance(path[-1], str)

    def cut(self, removed: set[FilePath]) -> tuple[Any, dict[FilePath, FilePath]]:
        """The data without ``removed``, with the stand-ins, and where each path of it comes from."""
        origins: dict[FilePath, FilePath] = {}

        def copy(value: Any, here: FilePath, origin: FilePath) -> Any:
            origins[here] = origin
            if isinstance(value, dict):
                kept = {key: copy(one, (*here, key), (*origin, key))
                        for key, one in value.items() if (*origin, key) not in removed}
                kept |= {key: _IN_PLACE_OF[key] for key in value if (*origin, key) in removed and key in _IN_PLACE_OF}
                kept |= {path[-1]: one for path, one in self.stand_ins.items() if path[:-1] == origin}
                return kept
            if isinstance(value, list):
                entries = [(index, one) for index, one in enumerate(value) if (*origin, index) not in removed]
                return [copy(one, (*here, new), (*origin, index)) for new, (index, one) in enumerate(entries)]
            return value

        return copy(self.data, (), ()), origins

    def mend(
        self, error: ValidationError, cut: Any, origins: dict[FilePath, FilePath], removed: set[FilePath]
    ) -> bool:
        """Cut more, or stand in for what is missing; False when nothing new can be done."""
        before = (len(removed), len(self.stand_ins))
        for details in error.errors(include_url=False):
            place, reason = _place(cut, details["loc"]), reason_of(details)
            holder = place
            if reason is not None:
                place = _place(cut, (*holder, *reason.at))
            origin = origins.get(place, ())
            if reason is not None:
                self._tell_late(origin, reason, holder, origins, removed)
            if details["type"] == "missing":
                self._stand_in((*origin, str(details["loc"][-1])), cut, place, removed)
            elif origin:
                removed.add(origin)
        return before != (len(removed), len(self.stand_ins))

    def _tell_late(
        self, path: FilePath, reason: Refused, holder: FilePath, origins: dict[FilePath, FilePath],
        removed: set[FilePath],
    ) -> None:
        """Keep a refusal, unless a part that was cut out may be all there is behind it."""
        first = origins.get((*holder, *reason.first)) if reason.first is not None else None
        here = origins.get(holder, ())
        rests_on = [path, *((*here, key) for key in reason.needs)]
        # A key that it rests on may stand there misspelt, and was cut out as one that nobody knows.
        rests_on += [cut for cut in removed
                     if cut[:-1] == here and get_close_matches(str(cut[-1]), reason.needs, n=1, cutoff=MISSPELT)]
        if not any(cut[: len(one)] == one for cut in (*removed, *self.stand_ins) for one in rests_on):
            self.late.append(Late(path, reason, first))

    def _stand_in(self, path: FilePath, cut: Any, place: FilePath, removed: set[FilePath]) -> None:
        for value in _candidates(len(self.stand_ins)):
            trial = _with(cut, (*place, path[-1]), value)
            try:
                self.model.model_validate(trial)
            except ValidationError as error:
                if any(_place(trial, details["loc"]) == (*place, path[-1]) for details in error.errors()):
                    continue
            self.stand_ins[path] = value
            return
        if path[:-1]:
            removed.add(path[:-1])


def _candidates(number: int) -> Iterator[Any]:
    yield from (f"{UNREAD}-{number}", f"{UNREAD}_{number}", 1, 30, 500, "must", [], {})


def _with(data: Any, path: FilePath, value: Any) -> Any:
    if not path:
        return value
    if isinstance(data, dict):
        return {**data, path[0]: _with(data.get(str(path[0])), path[1:], value)}
    if isinstance(data, list):
        return [_with(one, path[1:], value) if index == path[0] else one for index, one in enumerate(data)]
    return data


def _place(data: Any, loc: tuple[int | str, ...]) -> FilePath:
    """The part of a location that the data has."""
    path: list[int | str] = []
    for part in loc:
        if isinstance(data, dict) and str(part) in data:
            path.append(str(part))
            data = data[str(part)]
        elif isinstance(data, list) and isinstance(part, int) and part < len(data):
            path.append(part)
            data = data[part]
    return tuple(path)
