"""Words that are not of the shorthand and turn nothing round, whatever they stand beside: the only ones that are kept.

A list and no rule: a word that nobody knows may end what it stands beside, deny it, wish for it, praise it, or be of
another car, and no ending of a word tells. No word here praises: ``t4 us and t5 lovely`` is no understeer in turn 5.
Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


ADDING = ("too", "also")
"""What may stand beside a place alone, behind a comma: it is there as well."""
SOFT = _words(
    "keep keeps kept keeping staying tends tend tending continues looks sounds seem appears so actually though however"
    " that this these those which my his her their its our your me him them you itself myself himself quite pretty"
    " such gets got makes gives lot kind obviously overall thanks yes yeah mate report reports reported reporting"
    " tells told mentions mentioned notes noted suffer suffers suffering shows showing have having usual nasty"
    " annoying horrid weird strange odd funny typical classic noticeable obvious definite constant persistent sudden"
    " progressive gradual serious severe"
    " suddenly slowly abruptly easily readily quickly constantly consistently annoyingly noticeably definitely clearly"
    " certainly seriously severely honestly frankly surprisingly repeatedly continuously persistently immediately"
    " instantly sharply violently horribly terribly awfully weirdly strangely oddly generally especially particularly"
    " frequently gradually progressively unpredictably unexpectedly aggressively"
) | set(ADDING)
"""Words of no weight: of how it is told, and of how it is done."""
BESIDE = _words(
    "scary frightening frustrating irritating infuriating tiring exhausting painful ugly unpleasant horrific hideous"
    " disgusting disturbing worrying troublesome tricky stuff controllable manageable steady builds building starting"
    " started begins caught catches throws sideways cliff felt feels rails box marbles new burn lunch much thinks says"
    " come back stubborn unpredictable unsettling aggressive violent"
)
"""Words beside a finding: of what it is like, and what often stands there."""
BESIDE_A_WORD: Mapping[str, tuple[str, ...]] = {
    "strike": ("kerb", "kerbs"), "strikes": ("kerb", "kerbs"), "up": ("builds", "building"),
    "out": ("rear", "tail", "back", "end"), "happy": ("really",), "line": ("on", "off"),
}  # fmt: skip
"""Words that are harmless only right behind one of these: ``strike us`` takes it back, ``kerb strike`` does not."""
