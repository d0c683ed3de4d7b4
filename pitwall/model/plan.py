"""The run plan: what the engineer means to do in the session. YAML in, this out; the format has a version.

``laps`` may be written as shorthand, ``out, 3 timed, cool, 1 timed, in``, or as a list of ``{kind: ..., times: ...}``.
``out-in`` is a run of one lap that leaves the pits and comes straight back (an installation lap): it stands for the
two halves ``out, in`` of that lap, so items may sit on either half.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, field_validator, model_validator

from pitwall.model.base import Frozen, Label, Name, Refused, Slug
from pitwall.model.subjects import Subject
from pitwall.model.units import Duration, Seconds, clock_text

LapKind = Literal["out", "timed", "cool", "in", "installation"]
Want = Literal["must", "should", "could"]
Alternate = Literal["dry", "wet", "short"]
Medium = Literal["two_way", "one_way", "board"]
CallClass = Literal["session", "safety", "box", "stop", "release", "brief", "switch", "procedure", "run", "pace",
                    "traffic", "care", "question", "answer", "ruling"]

Scalar = str | int | float | bool
MAX_LAPS, NOTES_MOST = 400, 10_000
LAPS_EXAMPLE = "out, 3 timed, in"

LAPS_PART = r"(?:(\d{1,3})\s*(?:x\s*)?)?(out-in|out|timed|cool|in|installation)(?:\s+laps?)?"
_PART = re.compile(f"^{LAPS_PART}$", re.ASCII)


def parse_laps(text: str) -> tuple[LapKind, ...]:
    """Read the shorthand. ``"out, 2 timed, in"`` gives ``("out", "timed", "timed", "in")``.

    Raises:
        ValueError: naming the part that could not be read.
    """
    kinds: list[LapKind] = []
    for raw in text.split(","):
        part = raw.strip().lower()
        match = _PART.match(part)
        if match is None:
            raise ValueError(f"{part!r} in laps: expected parts such as 'out', '3 timed', 'cool', 'in', or 'out-in'")
        count, kind = int(match.group(1) or 1), match.group(2)
        if kind in ("out-in", "installation"):
            if count != 1 or len(text.split(",")) != 1:
                raise ValueError("'out-in' is a whole run: it stands alone")
            return ("out", "in")
        if count < 1 or len(kinds) + count > MAX_LAPS:
            raise ValueError(f"{part!r}: the number of laps must be 1 to {MAX_LAPS}")
        kinds.extend([kind] * count)  # type: ignore[list-item]  # the pattern admits lap kinds only
    return check_lap_order(tuple(kinds))


def check_lap_order(kinds: tuple[LapKind, ...]) -> tuple[LapKind, ...]:
    """A run leaves and comes back: out first, in last, neither anywhere else.

    Raises:
        ValueError: when it does not.
    """
    if len(kinds) < 2 or kinds[0] != "out" or kinds[-1] != "in":
        wrong = f"{write_laps(kinds)!r}" if kinds else "no laps"
        raise Refused(wrong, "a run that starts with an 'out' lap and ends with an 'in' lap",
                      suggestion=f"such as {LAPS_EXAMPLE!r}")
    if any(kind in ("out", "in", "installation") for kind in kinds[1:-1]):
        raise Refused(f"{write_laps(kinds)!r}", "only 'timed' and 'cool' laps between 'out' and 'in'",
                      suggestion="a second stop is a second run")
    return kinds


def write_laps(kinds: tuple[LapKind, ...]) -> str:
    """The shorthand for these laps; reads back to the same tuple."""
    if kinds == ("out", "in"):
        return "out-in"
    parts: list[tuple[LapKind, int]] = []
    for kind in kinds:
        if parts and parts[-1][0] == kind:
            parts[-1] = (kind, parts[-1][1] + 1)
        else:
            parts.append((kind, 1))
    return ", ".join(f"{count} {kind}" if kind == "timed" or count > 1 else kind for kind, count in parts)


def lent(medium: Medium, laps: tuple[LapKind, ...], lap: int) -> bool:
    """Guard: on a pit board this cool-down lap has no settings of its own. The timed lap after it would need them back,
    and the only pass that could tell is the one that would ask for them: its switches are those of that timed lap.

    The lap after the out-lap is told in the garage, and so leaves its own pass to the put-back."""
    return medium == "board" and 1 < lap < len(laps) - 1 and laps[lap] == "cool" and laps[lap + 1] == "timed"


def laps_from_file(value: object) -> object:
    """Read what people write for ``laps``: the shorthand, or a list of kinds and ``{kind: ..., times: ...}``.

    Raises:
        ValueError: in words, when neither can be made of it.
    """
    if isinstance(value, str):
        return parse_laps(value)
    if not isinstance(value, list | tuple):
        raise Refused(_laps_found(value), f"laps such as {LAPS_EXAMPLE!r}", suggestion=_laps_meant(value))
    kinds: list[Any] = []
    for entry in value:
        if isinstance(entry, dict):
            times = entry.get("times", 1)
            if "kind" not in entry or not {"kind", "times"}.issuperset(entry):
                raise ValueError("each lap is {kind: out|timed|cool|in, times: n}")
            if type(times) is not int or not 1 <= times <= MAX_LAPS:
                raise ValueError(f"times must be a whole number from 1 to {MAX_LAPS}")
            kinds.extend([entry["kind"]] * times)
        else:
            kinds.append(entry)
        if len(kinds) > MAX_LAPS:
            raise ValueError(f"a run has at most {MAX_LAPS} laps")
    return tuple(kinds)


def _laps_found(value: object) -> str:
    return "nothing" if value is None else "keys and values" if isinstance(value, dict) else str(value)


def _laps_meant(value: object) -> str | None:
    """A bare number is mostly meant as timed laps, or as laps in all: both are named."""
    if type(value) is not int or not 1 <= value <= MAX_LAPS - 2:
        return None
    meant = f"write 'out, {value} timed, in' for {value} timed laps"
    return f"{meant}, or 'out, {value - 2} timed, in' for {value} laps in all" if value > 2 else meant


Laps = Annotated[tuple[LapKind, ...], BeforeValidator(laps_from_file)]


class LapChoice(Frozen):
    """On which laps of the run an item sits: a kind, and which of that kind (1-based; empty: each one)."""

    kind: LapKind
    numbers: tuple[int, ...] = ()


def lap_choices(value: object) -> object:
    """``out`` | ``[out, in]`` | ``{timed: 2}`` | ``{timed: [1, 3]}`` become a list of LapChoice.

    Raises:
        ValueError: when the numbers of a kind are no numbers.
    """
    if isinstance(value, str):
        return ({"kind": value},)
    if isinstance(value, dict):
        if "kind" in value:
            return (value,)
        return tuple({"kind": kind, "numbers": _lap_numbers(kind, numbers)} for kind, numbers in value.items())
    if isinstance(value, list | tuple):
        merged: list[Any] = []
        for entry in value:
            made = lap_choices(entry) if isinstance(entry, str | dict) else entry
            merged.extend(made if isinstance(made, tuple) else [made])
        return tuple(merged)
    return value


def _lap_numbers(kind: object, numbers: object) -> tuple[int, ...]:
    listed = numbers if isinstance(numbers, list | tuple) else [numbers]
    if not listed or not all(type(n) is int and 1 <= n <= MAX_LAPS for n in listed):
        raise ValueError(f"which {kind} laps? expected a number or a list, such as {{{kind}: [1, 3]}}")
    return tuple(listed)


class ItemWhen(Frozen):
    """What an item waits for. It is then done once, on the first of its laps on which the driver acts late enough."""

    not_before: Seconds | None = Field(default=None, description="a moment of the session: '+0:20:00' or seconds")
    after_item: Name | None = Field(default=None, description="another item of the run, by its procedure")

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.not_before is None and self.after_item is None:
            raise Refused("'when' that names nothing", "'not_before', 'after_item' or both",
                          needs=("not_before", "after_item"))
        return self


class Item(Frozen):
    """One scripted item: a procedure of the library with arguments, on certain laps, perhaps at a place."""

    do: Name
    on: Annotated[tuple[LapChoice, ...], BeforeValidator(lap_choices)] = ()
    after: str | None = None
    at: str | None = None
    when: ItemWhen | None = Field(default=None, description="what it waits for, beside its laps and its place")
    arguments: dict[str, Scalar] = Field(default_factory=dict, alias="with")
    want: Want = "should"
    put_back: bool = True
    why: str | None = Field(default=None, description="reason; required when put_back is false")
    times: int = Field(default=1, ge=1, le=20)

    @model_validator(mode="after")
    def _sense(self) -> Self:
        if not self.put_back and not self.why:
            raise Refused("put_back: false without a reason", "the reason, which it needs in 'why'", at=("put_back",),
                          needs=("why",), suggestion="write 'why: ...' beside it")
        if self.when is not None and not self.on:
            raise Refused("'when' without 'on'", "the laps on which it may be done, in 'on'", at=("when",),
                          needs=("on",), suggestion="it is done once, on the first of them that suits")
        if self.after is not None and self.at is not None:
            raise Refused(f"'after: {self.after}' and 'at: {self.at}'", "'after' or 'at', not both", at=("at",))
        return self


class ReleaseWindow(Frozen):
    """When the car may leave the garage."""

    not_before: Seconds | None = None
    not_after: Seconds | None = None
    gap_ahead_s: Duration | None = None

    @model_validator(mode="after")
    def _order(self) -> Self:
        if self.not_before is not None and self.not_after is not None and self.not_before > self.not_after:
            raise Refused(f"not_before {clock_text(self.not_before)}, which lies after not_after",
                          f"{clock_text(self.not_after)} or earlier", at=("not_before",))
        return self


class ThreePoint(Frozen):
    """An optimistic, a likely and a pessimistic duration, seconds."""

    low_s: float = Field(ge=0)
    likely_s: float = Field(ge=0)
    high_s: float = Field(ge=0)

    @model_validator(mode="after")
    def _order(self) -> Self:
        if not self.low_s <= self.likely_s <= self.high_s:
            raise Refused(f"[{self.low_s:g}, {self.likely_s:g}, {self.high_s:g}]", "quick <= likely <= slow")
        return self


def three_points(value: object) -> object:
    """Read ``[240, 360, 600]``, or one number for all three.

    Raises:
        ValueError: when a list has not three entries.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = [value, value, value]
    if isinstance(value, list | tuple):
        if len(value) != 3:
            raise ValueError("expected [quick, likely, slow] seconds")
        return dict(zip(("low_s", "likely_s", "high_s"), value, strict=True))
    return value


Estimate = Annotated[ThreePoint, BeforeValidator(three_points)]


class Run(Frozen):
    """One leaving of the garage to coming back, or (without laps) an item block such as starts after the flag."""

    run: Slug
    purpose: str = ""
    window: Label | None = Field(default=None, description="only in this window of the session: its name or number")
    want: Want
    value: float = Field(default=1.0, ge=0, le=1000)
    laps: Laps = ()
    tyres: Label | None = None
    fuel_kg: float | None = Field(default=None, ge=0, le=500)
    driver: Name | None = Field(default=None, description="who drives it; the plan's driver when left out")
    release: ReleaseWindow = ReleaseWindow()
    after_garage_s: Estimate = Field(default=ThreePoint(low_s=300, likely_s=540, high_s=960),
                                     description="garage work after this run, before the next")
    crew: tuple[Label, ...] = ()
    switches: dict[str, Scalar] = Field(default_factory=dict)
    items: tuple[Item, ...] = ()
    shorten_to: int | None = Field(default=None, ge=1)
    before: tuple[Slug, ...] = ()
    same_as: Slug | None = None
    group: Label | None = None
    dry_only: bool = False
    also_on: tuple[Slug, ...] = Field(default=(), description="other cars of the team that could do it as well")
    feedback: tuple[Subject, ...] = Field(default=(), description="what the driver is to comment on; else it is asked")
    after_flag: Literal["allowed", "only"] | None = None
    cut_by_flag: Literal["resume", "give_up"] = Field(
        default="resume", description="cut by the flag of a window: gone on with in the next one, or given up"
    )

    @field_validator("laps")
    @classmethod
    def _laps_make_a_run(cls, kinds: tuple[LapKind, ...]) -> tuple[LapKind, ...]:
        return check_lap_order(kinds) if kinds else kinds

    @model_validator(mode="after")
    def _enough(self) -> Self:
        if not self.laps and not self.items:
            raise Refused(f"run {self.run!r} with neither laps nor items", "laps, items, or both",
                          suggestion=f"write 'laps: {LAPS_EXAMPLE}'", needs=("laps", "items"))
        if self.shorten_to is not None and self.shorten_to > self.timed_laps:
            most = f"1 to {self.timed_laps}, for it has {self.timed_laps} timed laps"
            raise Refused(f"{self.shorten_to} for run {self.run!r}", most if self.timed_laps else
                          "no shorten_to, for it has no timed laps", at=("shorten_to",), needs=("laps",))
        return self

    @property
    def timed_laps(self) -> int:
        """How many timed laps the run asks for."""
        return self.laps.count("timed")

    @property
    def out_in(self) -> bool:
        """True for a run of one lap that leaves and comes straight back."""
        return self.laps == ("out", "in")


class StartsWith(Frozen):
    """The state of the car when the session opens."""

    tyres: Label | None = None
    fuel_kg: float | None = Field(default=None, ge=0)
    switches: Literal["wet_or_dry_default"] | dict[str, Scalar] = "wet_or_dry_default"


class TyreSet(Frozen):
    """A set of the allocation, by its label in the plan."""

    compound: str
    laps: int = Field(default=0, ge=0)
    most_laps: int | None = Field(default=None, ge=1, description="laps after which the set is not run any more")


QuietRule = Literal["all"] | tuple[CallClass, ...]


def _default_quiet() -> dict[LapKind, QuietRule]:
    return {"timed": ("session", "safety", "box")}


class Plan(Frozen):
    """One car's plan for one session."""

    plan: Literal[1]
    car: Slug
    driver: Name
    session: Slug
    medium: Medium = "two_way"
    starts_with: StartsWith = StartsWith()
    tyre_sets: dict[str, TyreSet] = Field(default_factory=dict)
    runs: tuple[Run, ...]
    alternates: dict[Alternate, str] = Field(default_factory=dict)
    minimum_laps: dict[Name, int] = Field(
        default_factory=dict, description="by driver: laps that must be driven; over the event file's"
    )
    quiet: dict[LapKind, QuietRule] = Field(
        default_factory=_default_quiet,
        description="what may be said on which kind of lap; a kind not named here: all",
    )

    notes: str = Field(
        default="", max_length=NOTES_MOST,
        description="what people should know, a line each: it stands on the run sheet and times nothing",
    )

    @model_validator(mode="after")
    def _runs_fit_together(self) -> Self:
        first: dict[str, int] = {}
        for index, run in enumerate(self.runs):
            if first.setdefault(run.run, index) != index:
                raise Refused(f"run named twice: {run.run}", "another name", at=("runs", index, "run"),
                              first=("runs", first[run.run], "run"))
        return self

    def find(self, name: str) -> Run | None:
        """The run of that name, or None."""
        return next((run for run in self.runs if run.run == name), None)

    def driver_of(self, run: Run | None) -> str:
        """Who drives this run."""
        return run.driver if run is not None and run.driver is not None else self.driver

    def original(self, run: Run) -> Run:
        """The run that ``same_as`` leads to in the end; the run itself when it repeats nothing, or a circle."""
        passed = {run.run}
        while run.same_as is not None and run.same_as not in passed:
            following = self.find(run.same_as)
            if following is None:
                break
            passed.add(following.run)
            run = following
        return run

    def changes_wait(self, before: LapKind) -> bool:
        """What a lap that is not timed needs is told as it begins: a driver who acts at once spoils no timed lap."""
        return before == "timed" or not self.may_say("switch", before)

    def may_say(self, call: str, lap: LapKind | None) -> bool:
        """The quiet rule: may this class of call be spoken on this kind of lap? Session, safety and stop always may,
        and a board disturbs nobody."""
        allowed = "all" if lap is None or self.medium == "board" else self.quiet.get(lap, "all")
        return allowed == "all" or call in allowed or call in ("session", "safety", "stop")
