"""Which switch a desk means: by its name in the car file, or by the word that stands on every screen."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches

from pitwall.engine.answers import Refusal
from pitwall.engine.plan_guards import meant
from pitwall.model.car import Switch


def switch_named(name: str, switches: Sequence[Switch]) -> Switch:
    """The switch of that name, else the only one with that word.

    Args:
        name: as it was typed: ``engine_map``, or ``engine``; large or small, with blanks, hyphens or underscores.
        switches: those of the car.

    Raises:
        Refusal: when there is none, or several have that word; it tells their names.
    """
    for one in switches:
        if one.switch == name:
            return one
    found = [one for one in switches if _plain(name) in (_plain(one.switch), _plain(one.word))]
    if len(found) > 1:
        raise Refusal(f"{name!r} may be each of {', '.join(one.switch for one in found)}: give one of these names")
    if not found:
        near = get_close_matches(_plain(name), [_plain(one.word) for one in switches], n=1, cutoff=0.6)
        names = [one.switch for one in switches if [_plain(one.word)] == near] or [one.switch for one in switches]
        raise Refusal(f"no switch {name!r}{meant(names[0] if near else name, names)}")
    return found[0]


def _plain(name: str) -> str:
    """As names are compared."""
    return " ".join(name.casefold().replace("_", " ").replace("-", " ").split())
