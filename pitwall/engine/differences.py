"""One plan against another, told in the trade's words: one short sentence for each difference.

A run that stands elsewhere is a move, not one run less and one more; the fewest moves that explain the new order are
told. A run with other timed laps only is told by their number.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from pitwall.model.car import position_text
from pitwall.model.plan import Item, LapChoice, LapKind, Plan, Run, Scalar, ThreePoint, TyreSet, write_laps
from pitwall.model.run_line import brief_run
from pitwall.model.units import clock_text

_KIND_WORDS: dict[LapKind, str] = {
    "out": "out-lap",
    "timed": "timed lap",
    "cool": "cool-down lap",
    "in": "in-lap",
    "installation": "installation lap",
}


def differences(old: Plan, new: Plan) -> tuple[str, ...]:
    """What changes from one plan to the other, a sentence each, runs in the order of the new plan."""
    lines = [*_head(old, new)]
    known, wanted = {run.run: run for run in old.runs}, {run.run: run for run in new.runs}
    gone = [name for name in known if name not in wanted]
    if gone:
        lines.append(f"run {gone[0]} is dropped" if len(gone) == 1 else f"runs {', '.join(gone)} are dropped")
    moved = moved_runs([name for name in known if name in wanted], [name for name in wanted if name in known])
    before: str | None = None
    for name, run in wanted.items():
        if name not in known:
            lines.append(_new_run(run, before))
        else:
            if name in moved:
                lines.append(f"{name} moves {_behind(before)}")
            lines += _run(known[name], run)
        before = name
    return tuple(lines)


def _behind(name: str | None) -> str:
    return "to the front" if name is None else f"after {name}"


def _new_run(run: Run, before: str | None) -> str:
    items = ", ".join(dict.fromkeys(item.do for item in run.items))
    where = "first" if before is None else f"after {before}"
    return f"new run {run.run} {where}: {brief_run(run)}{f' · items: {items}' if items else ''}"


def moved_runs(old: Sequence[str], new: Sequence[str]) -> set[str]:
    """The names that must move to make the new order of the old one: all but a longest stretch that keeps its order."""
    place = {name: index for index, name in enumerate(old)}
    best: list[list[str]] = []
    for name in new:
        longest = max((chain for chain in best if place[chain[-1]] < place[name]), key=len, default=[])
        best.append([*longest, name])
    stays = max(best, key=len, default=[])
    return set(new) - set(stays)


def _head(old: Plan, new: Plan) -> Iterator[str]:
    if old.driver != new.driver:
        yield f"driver: {new.driver} instead of {old.driver}"
    if old.medium != new.medium:
        yield f"medium: {new.medium} instead of {old.medium}"
    for driver in dict.fromkeys((*old.minimum_laps, *new.minimum_laps)):
        fewest, becomes = old.minimum_laps.get(driver), new.minimum_laps.get(driver)
        yield from _instead(f"laps that {driver} must drive", fewest, becomes)
    if old.tyre_sets and not new.tyre_sets:
        yield f"no allocation of tyre sets is given instead of {', '.join(old.tyre_sets)}: any set may be named"
    for label in dict.fromkeys((*old.tyre_sets, *new.tyre_sets)) if new.tyre_sets else ():
        before, after = old.tyre_sets.get(label), new.tyre_sets.get(label)
        if before is None and after is not None:
            yield f"new tyre set {label}: {_set_words(after)}"
        elif after is None:
            yield f"tyre set {label} is no longer in the allocation"
        elif before is not None and before != after:
            yield f"tyre set {label}: {_set_words(after)}, instead of {_set_words(before)}"
    for kind in dict.fromkeys((*old.quiet, *new.quiet)):
        said, says = old.quiet.get(kind, "all"), new.quiet.get(kind, "all")
        if said != says:
            yield f"said on a {_KIND_WORDS[kind]}: {_said(says)} instead of {_said(said)}"
    noted, notes = (dict.fromkeys(line for line in plan.notes.splitlines() if line.strip()) for plan in (old, new))
    yield from (f"note: {line.strip()}" for line in notes if line not in noted)
    yield from (f"note taken out: {line.strip()}" for line in noted if line not in notes)


def _set_words(tyres: TyreSet) -> str:
    """Compound and laps, then whatever else the file says of the set."""
    more = {name: value for name, value in tyres if name not in ("compound", "laps") and name in tyres.model_fields_set}
    words = [f"{name.replace('_', ' ')} {value}" for name, value in more.items() if value is not None]
    return ", ".join([tyres.compound, f"{tyres.laps} laps", *words])


def _said(rule: str | tuple[str, ...]) -> str:
    return rule if isinstance(rule, str) else ", ".join(rule) or "nothing"


def _run(old: Run, new: Run) -> Iterator[str]:
    name = new.run
    if old.laps != new.laps:
        yield f"{name}: {_laps(old, new)}"
    yield from _instead(f"tyres of {name}", old.tyres, new.tyres)
    yield from _instead(f"fuel of {name}", _kg(old.fuel_kg), _kg(new.fuel_kg))
    yield from _instead(f"driver of {name}", old.driver, new.driver)
    if old.want != new.want:
        yield f"{name} is a {new.want} instead of a {old.want}"
    yield from _instead(f"value of {name}", f"{old.value:g}", f"{new.value:g}")
    yield from _release(old, new)
    for switch in dict.fromkeys((*old.switches, *new.switches)):
        yield from _instead(f"{switch} of {name}", _position(old.switches, switch), _position(new.switches, switch))
    yield from _instead(f"garage work after {name}", _work(old.after_garage_s), _work(new.after_garage_s))
    yield from _instead(f"crew after {name}", ", ".join(old.crew) or None, ", ".join(new.crew) or None)
    yield from _instead(f"fewest timed laps of {name}", old.shorten_to, new.shorten_to)
    yield from _instead(f"{name} comes before", ", ".join(old.before) or None, ", ".join(new.before) or None)
    yield from _instead(f"{name} repeats", old.same_as, new.same_as)
    yield from _instead(f"group of {name}", old.group, new.group)
    if old.dry_only != new.dry_only:
        yield f"{name}: {'for the dry only' if new.dry_only else 'no longer for the dry only'}"
    yield from _instead(f"{name} could be done by car", ", ".join(old.also_on) or None, ", ".join(new.also_on) or None)
    yield from _instead(f"comments wanted of {name}", ", ".join(old.feedback) or None, ", ".join(new.feedback) or None)
    yield from _instead(f"{name} after the flag", old.after_flag, new.after_flag)
    yield from _instead(f"window of {name}", old.window, new.window)
    if old.cut_by_flag != new.cut_by_flag:
        yield f"{name} is {'gone on with' if new.cut_by_flag == 'resume' else 'given up'} when a window's flag cuts it"
    yield from _instead(f"purpose of {name}", old.purpose or None, new.purpose or None)
    yield from _items(old, new)


def _instead(subject: str, old: object, new: object) -> Iterator[str]:
    if old == new:
        return
    if old is None:
        yield f"{subject}: {new}"
    else:
        yield f"{subject}: {'none given' if new is None else new} instead of {old}"


def _laps(old: Run, new: Run) -> str:
    only_number = old.laps and new.laps and set(old.laps[1:-1]) == {"timed"} == set(new.laps[1:-1])
    if only_number:
        was = old.timed_laps
        return f"{was} timed lap{'s' if was > 1 else ''} become{'' if was > 1 else 's'} {new.timed_laps}"
    was_text, becomes = (write_laps(run.laps) if run.laps else "no laps" for run in (old, new))
    return f"laps {becomes} instead of {was_text}"


def _release(old: Run, new: Run) -> Iterator[str]:
    was, becomes, name = old.release, new.release, new.run
    yield from _instead(f"earliest leaving of {name}", _clock(was.not_before), _clock(becomes.not_before))
    yield from _instead(f"latest leaving of {name}", _clock(was.not_after), _clock(becomes.not_after))
    yield from _instead(f"gap ahead of {name}", _seconds(was.gap_ahead_s), _seconds(becomes.gap_ahead_s))


def _kg(value: float | None) -> str | None:
    return None if value is None else f"{value:g} kg"


def _clock(value: float | None) -> str | None:
    return None if value is None else clock_text(value)


def _seconds(value: float | None) -> str | None:
    return None if value is None else f"{value:g} s"


def _work(work: ThreePoint) -> str:
    return f"{work.low_s:g}, {work.likely_s:g}, {work.high_s:g} s"


def _position(switches: Mapping[str, Scalar], name: str) -> str | None:
    return position_text(switches[name]) if name in switches else None


# -- items -------------------------------------------------------------------------------------------------------------


def matched_items(old: Sequence[Item], new: Sequence[Item]) -> list[int | None]:
    """For each new item the index of the old one that it is, or None: the equal one first, else one of that procedure
    that nothing equals."""
    free = list(range(len(old)))
    found: list[int | None] = [None] * len(new)
    for at, item in enumerate(new):
        same = next((index for index in free if old[index] == item), None)
        if same is not None:
            found[at] = same
            free.remove(same)
    for at, item in enumerate(new):
        alike = next((index for index in free if old[index].do == item.do), None) if found[at] is None else None
        if alike is not None:
            found[at] = alike
            free.remove(alike)
    return found


def _items(old: Run, new: Run) -> Iterator[str]:
    matched = matched_items(old.items, new.items)
    for index, item in enumerate(old.items):
        if index not in matched:
            yield f"{item.do} of {new.run} ({laps_words(item.on)}) is dropped"
    for item, at in zip(new.items, matched, strict=True):
        if at is None:
            waits = f", {_when(item)}" if item.when is not None else ""
            yield f"new item on {new.run}: {item.do}, {laps_words(item.on)}{_place(item)}{waits}"
        elif old.items[at] != item:
            yield from _item(old.items[at], item, f"{item.do} of {new.run}")


def _item(old: Item, new: Item, name: str) -> Iterator[str]:
    if old.on != new.on:
        yield f"{name} moves from {laps_words(old.on)} to {laps_words(new.on)}"
    if (old.after, old.at) != (new.after, new.at):
        yield f"{name}:{_place(new) or ' no place'} instead of{_place(old) or ' no place'}"
    if old.when != new.when:
        yield f"{name}: {_when(new) or 'waits for nothing'}, instead of {_when(old) or 'nothing it waited for'}"
    for argument in dict.fromkeys((*old.arguments, *new.arguments)):
        was, becomes = _position(old.arguments, argument), _position(new.arguments, argument)
        yield from _instead(f"{argument} of {name}", was, becomes)
    yield from _instead(f"class of {name}", old.want, new.want)
    yield from _instead(f"{name}, times", old.times, new.times)
    if old.put_back != new.put_back:
        yield f"{name}: put back afterwards" if new.put_back else f"{name}: not put back afterwards ({new.why})"
    elif old.why != new.why:
        yield from _instead(f"reason of {name}", old.why, new.why)


def _place(item: Item) -> str:
    return f" after {item.after}" if item.after else f" at {item.at}" if item.at else ""


def _when(item: Item) -> str:
    """What the item waits for: ``not before 20:00, once brake_bedding is done``."""
    if item.when is None:
        return ""
    parts = [] if item.when.not_before is None else [f"not before {clock_text(item.when.not_before)}"]
    parts += [] if item.when.after_item is None else [f"once {item.when.after_item} is done"]
    return ", ".join(parts)


def laps_words(choices: Sequence[LapChoice]) -> str:
    """On which laps an item sits, in words: ``timed laps 1 and 3, out-lap``."""
    return ", ".join(_choice(one) for one in choices) or "first lap"


def _choice(choice: LapChoice) -> str:
    word = _KIND_WORDS[choice.kind]
    if not choice.numbers:
        return word if choice.kind in ("out", "in", "installation") else f"each {word}"
    numbers = [str(number) for number in choice.numbers]
    if len(numbers) == 1:
        return f"{word} {numbers[0]}"
    return f"{word}s {', '.join(numbers[:-1])} and {numbers[-1]}"
