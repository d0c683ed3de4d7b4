"""The proof as findings of a plan, and as the few lines on what hangs on a single call."""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.flow.course import spot
from pitwall.checks.flow.search import SwitchProof, Wrong, prove
from pitwall.checks.flow.stakes import Stake, stakes
from pitwall.checks.flow.story import Teller, spot_text
from pitwall.checks.items import placed_items
from pitwall.errors import FilePath, Finding
from pitwall.model.car import Switch
from pitwall.model.plan import Plan
from pitwall.track.likely import lap_indices

HANDFUL = 3


def check_flow(plan: Plan, around: Around) -> Iterator[Finding]:
    """Timed laps that can start with a switch where the run does not want it, though every call is made."""
    if around.car is None:
        return
    teller = Teller(plan, around.car, around.procedures)
    for proof in prove(plan, around.car, around.procedures, around.wet, misses=0):
        if not proof.complete:
            yield finding("PW409", path=("runs",), found=f"too many ways in which {proof.switch!r} may go",
                          expected="a plan that can be followed to its end")
        for wrong, others in _grouped(proof):
            yield _finding(plan, around, teller, wrong, others)


def _grouped(proof: SwitchProof) -> Iterator[tuple[Wrong, int]]:
    """One story for each switch and run, the shortest, with the number of further laps of the run."""
    by_run: dict[int, list[Wrong]] = {}
    for wrong in proof.wrong.values():
        by_run.setdefault(wrong.at[0], []).append(wrong)
    for run in sorted(by_run):
        stories = sorted(by_run[run], key=lambda one: (len(one.events), one.at))
        yield stories[0], len(stories) - 1


def _finding(plan: Plan, around: Around, teller: Teller, wrong: Wrong, others: int) -> Finding:
    assert around.car is not None
    switch = around.car.switch(wrong.switch)
    assert switch is not None
    more = f" (and {others} more timed lap{'' if others == 1 else 's'} of the run)" if others else ""
    return finding(
        "PW406" if not wrong.events else "PW407", path=_path(plan, around, wrong),
        found=f"{teller.story(wrong)}{more}", expected=f"{teller.word(wrong.switch)} at {spot_text(wrong.wanted)}",
        suggestion=_mend(around, switch, wrong))


def _path(plan: Plan, around: Around, wrong: Wrong) -> FilePath:
    """Where in the plan it comes from: the run's own position, the item that moves it, else the run."""
    index = [number for number, run in enumerate(plan.runs) if run.laps][wrong.at[0]]
    run, names = plan.runs[index], _movers(around, wrong.switch)
    for name in names:
        if name in run.switches:
            return ("runs", index, "switches", name)
    for placed in placed_items(plan, around):
        touched = {str(value) for value in placed.item.arguments.values()} | set(
            placed.procedure.switches if placed.procedure is not None else ())
        if placed.index == index and touched & set(names) and min(
                lap_indices(run, placed.item.on), default=wrong.at[1]) <= wrong.at[1]:
            return placed.path
    return ("runs", index)


def _movers(around: Around, name: str) -> list[str]:
    assert around.car is not None
    presets = [one.switch for one in around.car.switches if name in one.sets]
    return [name, *presets]


def _mend(around: Around, switch: Switch, wrong: Wrong) -> str | None:
    assert around.car is not None
    if switch.kind == "stationary":
        return f"{switch.switch} only moves while the car stands: want the same position on out-laps and on timed laps"
    if switch.kind == "paged" and switch.home is not None:
        return f"{switch.switch} goes home to {spot_text(spot(switch.home))}: want it there on timed laps"
    presets = [one for one in around.car.switches
               if switch.switch in one.sets and spot(one.sets[switch.switch]) == wrong.stands]
    if presets:
        preset = presets[0].switch
        return (f"{preset} sets {switch.switch} to {spot_text(wrong.stands)}: write that under 'switches' of the run, "
                f"or leave {preset} out of it")
    return None


# -- one missed call -----------------------------------------------------------------------------------------------


def one_missed_words(plan: Plan, around: Around, every: bool = False) -> list[str]:
    """What hangs on a single call, in a few lines for the summary of a plan.

    Args:
        plan, around: a plan without errors, and the files around it.
        every: every such call, and for switches and runs that have none the stories in which one missed call and
            something else out of plan come together.
    """
    if around.car is None or not any(run.timed_laps for run in plan.runs):
        return []
    found = stakes(plan, around.car, around.procedures, around.wet, around.lap)
    teller = Teller(plan, around.car, around.procedures)
    spoilt = len({at for stake in found for at in stake.spoilt})
    if not found:
        lines = ["one missed call alone spoils no timed lap"]
    else:
        unseen, timed = sum(not stake.seen for stake in found), sum(run.timed_laps for run in plan.runs)
        watch = f"{unseen} of these calls with no telemetry to show it" if unseen else "telemetry shows each at once"
        lines = [f"one missed call can spoil {spoilt} of {timed} timed laps, {watch}:"]
    shown = found if every else found[:HANDFUL]
    lines += [f"  {teller.stake(stake)}{'' if stake.seen else ' (not measured)'}" for stake in shown]
    if every:
        lines += [f"  {teller.story(wrong)}" for wrong in _rare(plan, around, found)]
    elif len(found) > len(shown):
        rest = len(found) - len(shown)
        lines.append(f"  and {rest} more call{'' if rest == 1 else 's'}: --every-call")
    return lines


def _rare(plan: Plan, around: Around, known: tuple[Stake, ...]) -> list[Wrong]:
    """The shortest story of each switch in which a missed call is not enough by itself, where no call of that run
    is."""
    assert around.car is not None
    covered = {(name, at[0]) for stake in known for name in stake.switches for at in stake.spoilt}
    found = []
    for proof in prove(plan, around.car, around.procedures, around.wet):
        stories = [wrong for at, wrong in proof.wrong_missed.items()
                   if (proof.switch, at[0]) not in covered and at not in proof.wrong]
        found += sorted(stories, key=lambda one: (len(one.events), one.at))[:1]
    return found


def may_stand(plan: Plan, around: Around) -> dict[str, dict[str, list[str]]]:
    """For each timed lap, where each switch that must be in place may stand as it starts: while every call is made, and
    (after ``or:``) with one call missed."""
    if around.car is None:
        return {}
    teller = Teller(plan, around.car, around.procedures)
    found: dict[str, dict[str, list[str]]] = {}
    for proof in prove(plan, around.car, around.procedures, around.wet):
        for at, missed in proof.positions_missed.items():
            if not proof.guarded or teller.runs[at[0]].laps[at[1]] != "timed":
                continue
            calm = proof.positions.get(at, frozenset())
            words = [spot_text(one) for one in sorted(calm, key=str)]
            words += [f"or: {spot_text(one)}" for one in sorted(missed - calm, key=str)]
            found.setdefault(teller.lap(at), {})[proof.switch] = words
    return found
