"""Calls of one car go down the standards of a window, each as far as it must, until all that can has a place.

At one moment, and by one plan after the other: who found no place in a plan is content with less in the next one
(``chances_to_say.STANDARDS``); who has one keeps to what is sure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pitwall.engine import news_first
from pitwall.engine.call import Call, CallSpec
from pitwall.engine.chances_to_say import (
    LEAST_NEWS,
    NEWS,
    PRE_EMPTS,
    least_start_s,
    least_sure,
    must,
    pinned,
    slowness,
    ways_of,
)
from pitwall.engine.parts import begun
from pitwall.engine.situation import Situation
from pitwall.engine.sure import Sure
from pitwall.model.record import altered
from pitwall.radio.channel import InTicks, Sought, sought
from pitwall.radio.pending import GAP_S, Busy, PendingCall, Way
from pitwall.radio.ways import HIT_S

COMMENT_S = 9.0  # a driver who is asked something answers with a few sentences (common practice, no source)
CONTENT_WITH = {"session": NEWS, "safety": 3, "stop": 3, "box": 2}  # which standard to begin with; else the first
PINNED = -1
MOST_NODES = 60
STAKE = 10  # no number of other calls is worth a piece of news or a box call

_Span = tuple[float, float]


class GoingDown:
    """The calls that wait for one car's channel at one moment, each with the standard that it is content with."""

    def __init__(
        self, at: Situation, waiting: Sequence[CallSpec], calls: Mapping[str, Call | None],
        weights: Mapping[str, int], parts: bool,
    ) -> None:
        """Begin with each call in the windows that it would like best.

        Args:
            at: the moment.
            waiting: what is to be said.
            calls: the call of each, by its key, as far as there is one.
            weights: what each counts, by its key.
            parts: calls may be cut into parts.
        """
        self._at, self._calls, self._weights, self._parts, self._sure = at, calls, weights, parts, Sure(at)
        self._specs = {spec.key: spec for spec in waiting}
        self._news = news_first.pending(at, waiting)
        self._news_over: dict[str, float] = {}
        self._standard: dict[str, int] = {}
        self._waits: dict[str, PendingCall] = {}
        self._spans: dict[str, _Span] = {}
        for spec in sorted(waiting, key=lambda one: one.key not in self._news):
            kept = pinned(at, spec, calls[spec.key], self._sure)
            standard = self._standard[spec.key] = PINNED if kept else _content_with(spec)
            self._wait(self._pending(spec, standard, kept or ways_of(at, spec, standard, self._sure, parts)))
            if spec.key in self._news:  # known before what may have to wait for it
                over_s = news_first.over_s(at, self._waits[spec.key])
                self._news_over |= {} if over_s is None else {spec.key: over_s}

    @property
    def pending(self) -> Sequence[PendingCall]:
        """The calls with the ways that their standards leave."""
        return [*self._waits.values()]

    def plans(self, busy: tuple[Busy, ...]) -> list[Sought]:
        """The plans, of calls that can meet on the channel together, in which nobody has to be content with less."""
        known, ticks = dict[tuple[tuple[str, int], ...], Sought](), InTicks()
        while True:
            searched = list[Sought]()
            for group in self._groups():
                these = tuple([(call.key, self._standard[call.key]) for call in group])
                if these not in known:
                    known[these] = sought(group, busy, now_s=self._at.now, most_nodes=MOST_NODES, known=ticks)
                searched.append(known[these])
            eased = [key for one in searched for key in one.left if self._standard[key] < least_sure(self._specs[key])]
            if not eased:
                return searched
            for key in eased:
                self._ease(key)

    def _ease(self, key: str) -> None:
        """To the next standard by which the call has a window; to its last one where it has none by any."""
        spec, standard = self._specs[key], self._standard[key]
        least = least_sure(spec)
        # What has no window by the last standard has none by any: that is asked first of one that has none yet.
        if not self._waits[key].ways and not ways_of(self._at, spec, least, self._sure, self._parts):
            standard = least - 1
        ways: tuple[Way, ...] = ()
        while not ways and standard < least:
            standard = max(standard + 1, _content_with(spec))
            ways = ways_of(self._at, spec, standard, self._sure, self._parts)
        self._standard[key] = standard
        self._wait(altered(self._waits[key], ways=ways, hit_s=_hit_s(self._at, standard)))

    def _wait(self, call: PendingCall) -> None:
        begin, end = _span(call)
        if call.key in self._news and call.ways:
            begin = min(begin, self._at.now)  # what waits for news is planned with it, however late its stretch comes
        self._waits[call.key], self._spans[call.key] = call, (begin, end)

    def _groups(self) -> list[list[PendingCall]]:
        """Calls that can meet on the channel, together; the others apart, so that each plan is small."""
        found: list[list[PendingCall]] = []
        ends = float("-inf")
        for (begin, end), key in sorted([(span, key) for key, span in self._spans.items()]):
            if not found or begin > ends:
                found.append([])
            found[-1].append(self._waits[key])
            ends = max(ends, end)
        return found

    def _pending(self, spec: CallSpec, standard: int, ways: tuple[Way, ...]) -> PendingCall:
        return PendingCall(
            key=spec.key,
            name=spec.short,
            weight=self._weights[spec.key],
            gap_s=COMMENT_S if spec.kind == "question" else GAP_S,
            ways=ways,
            must=must(spec) or begun(self._calls[spec.key]) or names_the_cool_lap(spec),
            stake=STAKE if spec.kind in PRE_EMPTS else 1,
            pre_empts=spec.kind in PRE_EMPTS,
            hit_s=_hit_s(self._at, standard),
            after=self._before(spec),
        )

    def _before(self, spec: CallSpec) -> tuple[str, ...]:
        """Keys of news that it waits for, of calls of the same item that are acted on sooner, and of the word that the
        lap is a cool-down lap, where its switches are of use only to a driver who knows that."""
        over = self._news_over
        news = tuple(over) if over and news_first.waits(self._at, spec, max(over.values())) else ()
        of_lap = spec.kind == "switch" and spec.lap is not None
        if spec.item is None and not of_lap:
            return news
        return (*news, *sorted(
            other.key for other in self._specs.values()
            if (of_lap and names_the_cool_lap(other) and (other.run, other.lap) == (spec.run, spec.lap))
            or (spec.item is not None and other.item == spec.item and other.key != spec.key
                and (other.act_at_s or 0.0, other.key) < (spec.act_at_s or 0.0, spec.key))
        ))


def names_the_cool_lap(spec: CallSpec) -> bool:
    """Guard: it tells the driver that the lap just begun is a cool-down lap. Who does not hear it drives at the pace,
    and the switches of the lap are of no use."""
    return spec.ask.lap_kind == "cool" and spec.soon_over


def _content_with(spec: CallSpec) -> int:
    """The standard to begin with; what is soon overtaken waits for no better window than one that can be hit."""
    return LEAST_NEWS if spec.soon_over else CONTENT_WITH.get(spec.kind, 0)


def _hit_s(at: Situation, standard: int) -> float:
    # Without positions there is less room than that, and every second of it is worth more than the order in it.
    return min(HIT_S * slowness(at), least_start_s(at, max(standard, 0))) if at.track.sighted is not None else 0.0


def _span(call: PendingCall) -> _Span:
    parts = [(begin, end + part.spoken_s) for way in call.ways for part in way.parts for begin, end in part.starts]
    if not parts:
        return float("-inf"), float("-inf")
    return min([begin for begin, _ in parts]), max([end for _, end in parts]) + call.gap_s
