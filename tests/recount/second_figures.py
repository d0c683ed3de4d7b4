"""What is drawn in the figures of a debrief against our own numbers: scales, bars, marks and the numbers in words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from tests.recount.figure_reader import Figure, Scale
from tests.recount.own import Account, Own, numbers, seconds
from tests.recount.second_laps import statuses_of
from tests.recount.sessions import Row, Told

NEAR_PX = 0.06
"""Drawings are written to a millionth of a point; what is drawn lies so near its place."""
LEGEND_SHARE = "90"
Span = tuple[float, float]


def account_for(account: Account, kind: str, figure: Figure, told: Told, own: Row, car: Row) -> None:
    """Everything that is drawn in a figure, ``plan``, ``laps``, ``radio`` or ``switches``, is our own, and is all."""
    for words in (*figure.legend, *(label for _, label in figure.y.ticks if ":" not in label and not label.isdigit())):
        _legend(account, words, car)
    {"plan": _plan, "laps": _laps, "radio": _radio, "switches": _switches}[kind](account, figure, told, own, car)


def _value(one: Any) -> Any:
    return one.value if isinstance(one, Own) else one


def _legend(account: Account, words: str, car: Row) -> None:
    """Names of runs and switches, and the share of the interval."""
    for one in numbers(words):
        if one == LEGEND_SHARE:
            account.kinds["fixed"] += 1
        elif any(words == _value(run["run"]) for run in car["runs"]):
            account.kinds["name"] += 1
        else:
            account.lacking.append(f"figure: {words!r}")


def _scale(account: Account, scale: Scale, where: str, unit: float) -> dict[float, float]:
    """Ticks and what they stand for; all lie on one straight line."""
    read = {place: seconds(label) * unit for place, label in scale.ticks if numbers(label) and place == place}
    (first, one), (last, other) = min(read.items()), max(read.items())
    rate = (last - first) / (other - one)
    for place, value in read.items():
        if abs(first + (value - one) * rate - place) > NEAR_PX:
            account.lacking.append(f"{where}: the tick {value} stands at {place}")
        else:
            account.kinds["axis"] += 1
    return read


def _time(account: Account, figure: Figure, where: str) -> Any:
    """Session seconds of a place on the axis of session time."""
    read = _scale(account, figure.x, where, 60.0)
    return lambda at: figure.x.value(at, read)


def _same_spans(account: Account, found: Sequence[Span], ours: Sequence[Span], where: str, off: float) -> None:
    pairs = list(zip(sorted(found), sorted(ours), strict=False))
    if len(found) != len(ours) or any(abs(a - b) > off for one, other in pairs
                                      for a, b in zip(one, other, strict=True)):  # fmt: skip
        account.lacking.append(f"{where}: drawn {sorted(found)}, ours {sorted(ours)}")
        return
    account.kinds["facts"] += 2 * len(ours)


def _end(told: Told, own: Row) -> float:
    """The last flag: as it fell, else as it is to fall."""
    windows = own["session"]["windows"]
    planned = [_value(end) for _, _, end in windows] or [_value(own["session"]["scheduled_s"])]
    seen = [since for status, since, _, _ in statuses_of(told) if status == "finished"]
    return float(sorted([*seen, *planned[len(seen) :]])[-1])


def _stops(told: Told, own: Row) -> list[Span]:
    end, windows = _end(told, own), own["session"]["windows"]
    stops = [(since, min(until, end)) for status, since, until, _ in statuses_of(told)
             if status in ("red", "slow") and since < end]  # fmt: skip
    return stops + [(_value(one[2]), _value(other[1])) for one, other in pairwise(windows)
                    if _value(other[1]) > _value(one[2])]  # fmt: skip


def _boxes(figure: Figure, at: Any, low: float, high: float) -> list[Span]:
    """From and to of what is drawn, as far as the axes reach."""
    found = [(max(at(left), low), min(at(right), high)) for left, _, right, _ in figure.boxes]
    return [one for one in found if one[1] > one[0]]


def _plan(account: Account, figure: Figure, told: Told, own: Row, car: Row) -> None:
    at = _time(account, figure, "plan")
    low, high = at(figure.frame[0]), at(figure.frame[2])
    last = max([_value(own["session"]["ended_s"]), *(_value(lap["end_s"]) for lap in car["laps"])])
    bars = _stops(told, own)
    for run in car["runs"]:
        bars += [] if run["planned_span_s"] is None else [tuple(_value(one) for one in run["planned_span_s"])]
        bars += [(_value(one["from_s"]), last if one["to_s"] is None else _value(one["to_s"])) for one in run["stints"]]
    ours = [(max(begin, low), min(end, high)) for begin, end in bars]
    per_px = (high - low) / (figure.frame[2] - figure.frame[0])
    _same_spans(account, _boxes(figure, at, low, high), ours, "plan", max(NEAR_PX * per_px, 0.06))
    ends = [_value(lap["end_s"]) for lap in car["laps"] if lap["kind"] == "timed"]
    for x, _ in figure.marks:
        if min(abs(at(x) - one) for one in ends) > NEAR_PX * per_px:
            account.lacking.append(f"plan: a timed lap ends at {at(x)}")
        else:
            account.kinds["facts"] += 1


def _laps(account: Account, figure: Figure, told: Told, own: Row, car: Row) -> None:
    laps, (left, _, right, _) = car["laps"], figure.frame
    read = _scale(account, figure.y, "laps", 1.0)
    strip = next((place for place, label in figure.y.ticks if label == "slower"), None)
    per_px = abs((max(read.values()) - min(read.values())) / (max(read) - min(read)))

    def index(x: float) -> int:
        return round((x - left) / (right - left) * (len(laps) + 0.4) - 0.7)

    drawn = {index(x): y for x, y in figure.marks}
    if set(drawn) != {at for at, lap in enumerate(laps) if lap["lap_time_s"] is not None}:
        account.lacking.append(f"laps: marks at {sorted(drawn)}")
    for at, y in drawn.items():
        time = _value(laps[at]["lap_time_s"])
        slow = strip is not None and abs(y - strip) < NEAR_PX and time > max(read.values())
        if not slow and abs(figure.y.value(y, read) - time) > NEAR_PX * per_px:
            account.lacking.append(f"laps: {figure.y.value(y, read)} is drawn, ours {time}")
        account.kinds["facts"] += 1
    for x0, y0, x1, y1 in figure.boxes:
        wanted = laps[index((x0 + x1) / 2)]["expected"]
        top, bottom = figure.y.value(y0, read), figure.y.value(y1, read)
        cut = abs(y0 - figure.frame[1]) < 0.2 * (figure.frame[3] - figure.frame[1])
        if abs(bottom - wanted["low_s"].value) > NEAR_PX * per_px + 0.001 or not (
                abs(top - wanted["high_s"].value) < NEAR_PX * per_px + 0.001 or (cut and top < wanted["high_s"].value)):
            account.lacking.append(f"laps: {bottom} to {top} is drawn, ours {wanted}")
        account.kinds["engine"] += 2
    for x, label in figure.x.ticks:
        at, begun = index(x), index(x)
        while begun and _value(laps[begun - 1]["run"]) == _value(laps[at]["run"]):
            begun -= 1
        if label != str(at - begun + 1):
            account.lacking.append(f"laps: lap {at} is numbered {label}")
        account.kinds["facts"] += 1


def _radio(account: Account, figure: Figure, told: Told, own: Row, car: Row) -> None:
    at = _time(account, figure, "radio")
    read = _scale(account, figure.y, "radio", 1.0)
    rate = abs((max(read.values()) - min(read.values())) / (max(read) - min(read)))
    low, high = at(figure.frame[0]), at(figure.frame[2])
    found = [(begin, figure.y.value(y0, read)) for (x0, y0, x1, y1) in figure.boxes
             if (begin := at(x0)) < high and abs(at(x1) - begin - 60.0) < 0.5 and abs(y1 - figure.frame[3]) < NEAR_PX]
    minutes = [(one["from_s"], _value(one["spoken_s"])) for one in car["radio"]["load"] if one["from_s"] < high]
    per_px = (high - low) / (figure.frame[2] - figure.frame[0])
    _same_spans(account, found, minutes, "radio", NEAR_PX * max(rate, per_px))


def _switches(account: Account, figure: Figure, told: Told, own: Row, car: Row) -> None:
    at = _time(account, figure, "switches")
    end = max([_end(told, own), *(_value(lap["end_s"]) for lap in car["laps"])])
    lanes: dict[str, list[Row]] = {}
    for move in car["switches"]:
        lanes.setdefault(move["switch"], []).append(move)
    bars, positions = list(_stops(told, own)), set[str]()
    for moves in lanes.values():
        if len({str(_value(move["position"])) for move in moves}) < 2:
            continue
        begins = [max(_value(move["t"]), 0.0) for move in moves]
        bars += [(begin, until) for begin, until in zip(begins, [*begins[1:], end], strict=True) if begin < until]
        positions |= {f"{value:g}" if isinstance(value, float) else str(value)
                      for value in (_value(move["position"]) for move in moves)}
    low, high = at(figure.frame[0]), at(figure.frame[2])
    per_px = (high - low) / (figure.frame[2] - figure.frame[0])
    _same_spans(account, _boxes(figure, at, low, high), [one for one in bars if one[1] - one[0] > 0], "switches",
                max(NEAR_PX * per_px, 0.01))  # fmt: skip
    for words in figure.words:
        if numbers(words) and words.replace("−", "-") not in positions:
            account.lacking.append(f"switches: {words!r} is written")
        account.kinds["facts"] += len(numbers(words))
