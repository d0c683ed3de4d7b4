"""How often is the static proof wrong? Random small plans against every afternoon that each can have.

    python simulations/prove_plans.py --plans 2000 --jobs 2 python simulations/prove_plans.py --plans 200 --seed 7
    --json

Each plan is judged twice: by ``pitwall/checks/flow`` switch by switch, and by ``prove_plans_truth.py``, which lives
through every afternoon on the daemon's own switch board. For no missed call and for at most one: a *false safe* is a
plan (or a single lap and switch) that truly can start wrong and was not told; a *false unsafe* the reverse. Where both
tell the same wrong start, the fewest things out of plan that lead to it are compared, too: they are the same, save that
the proof lets a preset be missed apart from what is said in the same call. Plans with more than ``--worlds`` different
worlds are not small: they are left out and replaced by the next. Ends with 1 on a false safe, or when too few plans are
unsafe or too many falsely so for the study to mean anything.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from prove_plans_cases import PROCEDURES, Case, case
from prove_plans_truth import MOST_WORLDS, TooManyWorlds, Wrong, live_all

from pitwall.checks.flow.search import SwitchProof, prove

UNSAFE_SHARE, FALSE_UNSAFE_SHARE = 0.30, 0.05
MISSES = (0, 1)


def told(found: Case, proofs: Sequence[SwitchProof], missed: int) -> dict[Wrong, int]:
    """What the proof tells of a plan in the words of the truth: wrong starts and how much is out of plan before
    each."""
    runs = [run.run for run in found.plan.runs if run.laps]
    return {
        (proof.switch, runs[at[0]], at[1]): len(wrong.events)
        for proof in proofs for at, wrong in (proof.wrong, proof.wrong_missed)[missed].items()
    }


def judge(seed: int, worlds: int, most_runs: int, number: int) -> Counter[str]:
    """One plan, counted. ``plans`` is 0 when it is not small."""
    found, count = case(seed, number, most_runs), Counter[str]()
    began = time.perf_counter()
    try:
        truth = live_all(found.plan, found.car, PROCEDURES, found.wet, most_worlds=worlds)
    except TooManyWorlds:
        count["not_small"] += 1
        return count
    lived = time.perf_counter()
    proofs = prove(found.plan, found.car, PROCEDURES, found.wet)
    count["proof_us"] += round(1e6 * (time.perf_counter() - lived))
    count["truth_us"] += round(1e6 * (lived - began))
    count["plans"] += 1
    count["worlds"] += truth.worlds
    for missed in MISSES:
        true, said = truth.wrong[missed], told(found, proofs, missed)
        count[f"unsafe_{missed}"] += bool(true)
        count[f"false_safe_{missed}"] += bool(true) and not said
        count[f"false_unsafe_{missed}"] += bool(said) and not true
        count[f"starts_{missed}"] += len(true)
        count[f"starts_not_told_{missed}"] += len(set(true) - set(said))
        count[f"starts_told_wrongly_{missed}"] += len(set(said) - set(true))
        count[f"stories_not_shortest_{missed}"] += sum(said[one] > true[one] for one in set(said) & set(true))
        count[f"stories_too_short_{missed}"] += sum(said[one] < true[one] for one in set(said) & set(true))
        if all(switch.kind != "preset" for switch in found.car.switches):
            differ = sum(said.get(one) != true.get(one) for one in {*said, *true})
            count[f"stories_differ_without_presets_{missed}"] += differ
    return count


def study(plans: int, seed: int, jobs: int, worlds: int, most_runs: int = 3) -> Counter[str]:
    """So many small plans, counted together."""
    total, begin = Counter[str](), 0
    with ProcessPoolExecutor(jobs) as pool:
        while total["plans"] < plans:
            more = plans - total["plans"]
            for count in pool.map(partial(judge, seed, worlds, most_runs), range(begin, begin + more), chunksize=4):
                total.update(count)
            begin += more
    return total


def verdict(total: Counter[str]) -> list[str]:
    """What is wrong with the result, in words; nothing when all is well."""
    plans, faults = total["plans"], []
    for missed in MISSES:
        if total[f"false_safe_{missed}"] or total[f"starts_not_told_{missed}"]:
            faults.append(f"false safe with {missed} missed: {total[f'false_safe_{missed}']} plans, "
                          f"{total[f'starts_not_told_{missed}']} starts")
        if total[f"unsafe_{missed}"] < UNSAFE_SHARE * plans:
            faults.append(f"only {total[f'unsafe_{missed}']} plans of {plans} are unsafe with {missed} missed")
        if total[f"false_unsafe_{missed}"] > FALSE_UNSAFE_SHARE * plans:
            faults.append(f"false unsafe with {missed} missed: {total[f'false_unsafe_{missed}']} plans")
    return faults


def _text(total: Counter[str]) -> str:
    plans = total["plans"]
    lines = [f"{plans} plans lived through, {total['not_small']} left out as not small; {total['worlds']} worlds, "
             f"{total['truth_us'] / 1e6:.0f} s; the proof took {total['proof_us'] / 1e3 / plans:.1f} ms a plan"]
    for missed in MISSES:
        name = "no call missed" if not missed else "at most one call missed"
        lines.append(
            f"{name}: unsafe {total[f'unsafe_{missed}']} ({total[f'unsafe_{missed}'] / plans:.0%}), false safe "
            f"{total[f'false_safe_{missed}']}, false unsafe {total[f'false_unsafe_{missed}']} "
            f"({total[f'false_unsafe_{missed}'] / plans:.1%}); of {total[f'starts_{missed}']} wrong starts "
            f"{total[f'starts_not_told_{missed}']} not told, {total[f'starts_told_wrongly_{missed}']} told wrongly; "
            f"stories longer than need be {total[f'stories_not_shortest_{missed}']}, shorter than can be "
            f"{total[f'stories_too_short_{missed}']}")
    return "\n".join(lines)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the study; 0 when the proof holds."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--plans", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--worlds", type=int, default=MOST_WORLDS, help="a plan with more worlds is not small")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args(argv)
    total = study(args.plans, args.seed, args.jobs, args.worlds)
    faults = verdict(total)
    if args.json:
        print(json.dumps({**dict(sorted(total.items())), "faults": faults}, indent=2))
    else:
        print("\n".join([_text(total), *faults]))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
