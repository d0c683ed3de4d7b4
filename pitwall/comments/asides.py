"""What people say of when and on which lap, beside a remark: read over, and kept with it as free text.

``rears hot after 4 laps`` is the remark *rears hot*, and its words as they were typed: when it was is not lost, and not
counted.
"""

from __future__ import annotations

import re

from pitwall.comments.splitting import Word
from pitwall.comments.words import NUMBERS

_COUNT = rf"(?:\d{{1,2}}|{'|'.join(NUMBERS)}|a few|few|a couple of|couple of|several)"
_ORDER = "(?:first|second|third|last|out|in|next|same|cool down|timed|push)"
_ASIDES = re.compile("|".join((
    rf"(?:(?:after|for|from|until|over|within|in|on|by|needs|need) )?(?:the )?(?:about )?(?:{_ORDER} )?"
    rf"(?:{_COUNT} laps|(?:1|one|a) lap)"
    r"(?: or so| only)?",
    rf"(?:on|from|after|until|in|by|for) (?:the )?{_ORDER} laps?",
    r"(?:(?:from|on|after|until|by|in) )?laps? \d{1,2}(?: ?(?:and|&|to|till|until|or|-|/) ?\d{1,2})*"
    r"(?: on| onwards)?",
    r"(?:on|along|down|at the end of) (?:the )?(?:main |back |front |pit )?straights?",
    r"(?:in |with )?(?:traffic|dirty air)",
    r"(?:behind|following) (?:another |other |a |the )?cars?",
    r"(?:at|in|towards|by|near) (?:the )?(?:start|beginning|end|middle) of (?:the |this )?(?:run|stint|lap|session)",
    r"(?:over|through|during) (?:the |a |this )?(?:run|stint)",
    r"(?:on|with|at) (?:high|low|full|less|more|heavy) (?:fuel|tanks)",
    r"in (?:the )?(?:wet|dry|wind)",
    r"at the top end",
    r"(?:in|into|to) (?:first|second|third|fourth|fifth|sixth|seventh|\d(?:st|nd|rd|th)) gear",
)))  # fmt: skip


def aside(words: tuple[Word, ...], at: int) -> int:
    """How many words from here on say when or on which lap; 0 where they say something else."""
    keys = [word.key for word in words[at:]]
    match = _ASIDES.match(" ".join(keys))
    if match is None:
        return 0
    taken, length = 0, 0
    while length < match.end():  # a key of two words, such as "cool-down", is one word of the comment
        length += len(keys[taken]) + (1 if taken else 0)
        taken += 1
    return taken if length == match.end() else 0
