"""What is found at the same moment is one alert: one cause, one look, one sentence to the driver.

Several switches are out of place as a lap begins because one call was forgotten; each as an alert of its own is noise
(ISA-18.2 and EEMUA 191: one alert for one cause, and each needs a response of its own). What is found later is news,
and an alert of its own, so that nobody who noted or shelved the first one misses it. What joined stays with its alert
for as long as it holds, noted, shelved or held back; the alert is over when nothing of it holds. A shelf is for
what was shelved, each by its own name: what was not shelved is told though it is found together with what was.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, field


@dataclass
class Together:
    """Mutable: of each kind and car, which conditions share an alert. An alert goes by the first of those it began
    with, and by a number where that name is still taken."""

    _alerts: dict[tuple[str, str], dict[str, tuple[str, ...]]] = field(default_factory=dict)

    def sort(
        self, kind: str, car: str, holding: Mapping[str, str], standing: Callable[[str], Container[str]],
        shelved_until: Callable[[str], float | None],
    ) -> Iterator[tuple[str, dict[str, str]]]:
        """Every alert of this kind and car that there ever was: its detail, and what holds of it, with its words;
        nothing where it is over.

        Args:
            kind: of the alerts.
            car: the car concerned.
            holding: all that holds now.
            standing: what the alert of a detail says on the screens; nothing where it is on none.
            shelved_until: the session second until which a condition is shelved; None where it is not.
        """
        alerts = self._alerts.setdefault((kind, car), {})
        for detail, names in alerts.items():
            alerts[detail] = tuple(name for name in names if name in holding)
        taken = {name for names in alerts.values() for name in names}
        groups: dict[tuple[str | None, float | None], list[str]] = {}
        for name in (name for name in holding if name not in taken):
            # What a kept alert still says goes back to it, or it would be told twice.
            kept = next((detail for detail, names in alerts.items() if not names and name in standing(detail)), None)
            key = (kept, shelved_until(name) if kept is None else None)  # what nobody shelved hides behind no shelf
            groups.setdefault(key, []).append(name)
        back = next((key for key in groups if key[0] is not None), None)
        if back is not None:
            groups[back] += groups.pop((None, None), [])
        for (kept, _), news in groups.items():
            alerts[kept or _free(news[0], alerts)] = tuple(news)
        yield from ((detail, {name: holding[name] for name in names}) for detail, names in alerts.items())

    def of(self, kind: str, car: str, name: str) -> str | None:
        """The detail of the alert that this condition is told by; None when it is told by none."""
        alerts = self._alerts.get((kind, car), {})
        return next((detail for detail, names in alerts.items() if name in names), None)


def words_of(holding: Mapping[str, str]) -> str:
    """One text for all that holds."""
    return "; ".join(holding.values())


def _free(name: str, alerts: Mapping[str, Iterable[str]]) -> str:
    """A detail that no alert which still holds goes by."""
    detail, number = name, 1
    while alerts.get(detail):
        number += 1
        detail = f"{name}-{number}"
    return detail
