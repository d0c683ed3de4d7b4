"""Words that may change what is meant and are not of the shorthand: they are never kept as words, but refused.

A word that nobody knows is kept beside its remark (``loose.py``), which is safe only as long as it cannot turn the
remark round. Here are those that can, by what they may do. Common practice, no source.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping

from pitwall.comments.nearest import a_slip_from

CHANGING: Mapping[str, frozenset[str]] = {reason: frozenset(words.split()) for reason, words in {
    "deny": "no not none nil zero nothing never nor neither nobody nowhere without hardly barely scarcely rarely seldom"
            " almost nearly free absent avoid avoided avoids avoiding prevent prevented prevents minus lacking nope"
            " cannot far impossible unlikely false wrong ignore forget scrap delete correction cancel instead"
            " opposite reverse reversed contrary vice versa swapped myth",
    "end": "end ended ends ending stop stopped stops away sorted stay kill killed kills killing remove removed removes"
           " cures fixes curing fixing clear tame tamed tames recovered recovers recover finish over halved heal healed"
           " evaporated fading faded control controlled settles settled calms calmed cleaned cleans clean"
           " helps helped help helping",
    "limit": "only except excepting excluding exclude bar save besides apart aside beyond unless whether or either"
             " other another others beside else between among",
    "condition": "if would could should might may can must will shall supposed suppose expect expected expecting"
                 " expects hope hoping hopes wish wished wishes want wanted need needing try tried prefer ask asked"
                 " asking asks question wonder wondering check checking please like likes liked dislike potential"
                 " potentially imagine predicted simulated sim planned plan afraid fear feared worried",
    "compare": "than as vs versus against compared compare comparing comparison unlike better worse least"
               " most fewer half double twice doubled reverse equal equally same different differs differently exceeds"
               " ratio relative biggest smallest rather",
    "when it was": "was were had been used previously previous earlier yesterday ago last before formerly initially"
                   " initial originally original old next later tomorrow morning afternoon following first second third"
                   " final penultimate prior past once",
    "where": "hairpin hairpins chicane chicanes esses ess complex left-hander right-hander left-handers right-handers"
             " lefthander righthander lefthanders righthanders lefts rights handers hander section sections sector"
             " straight straights pitlane lane bend bends kink tunnel bridge uphill downhill hill"
             " top bottom north south east west sweeper sweepers switchback here somewhere elsewhere",
    "count": "ditto respectively each other every number times percent per points degrees clicks click turn turns"
             " corner corners laps lap gear gears seconds tenths psi rpm",
    "become": "become became turned turns turning changed change changes changing shift shifted shifts shifting switch"
              " switched switches moved went goes towards toward transition transitions reduces reduced increases",
    "wish": "hopefully ideally looking request requests requested requires required demand demands demanded aiming aim"
            " targeting target give make making",
    "over": "cancelled ceased dissolved eradicated dialled tuned subsided vanishing vanished overcome zeroed abated"
            " minimised neutralised masked",
    "in part": "partly partially practically virtually",
    "of another": "teammate rival simulator",
    "taken back": "scratch disregard dismiss meant mean sorry retracted void zilch falsely supposedly mistakenly",
}.items()}  # fmt: skip
"""What each of these words may do to a remark, by what it does."""
_REASON = {word: reason for reason, words in CHANGING.items() for word in words}
_DENIED = ("ca", "wo", "does", "did", "do", "is", "are", "was", "were", "had", "has", "have", "would", "could")
_SOUND = 6
"""A word of so many letters that is one slip away from such a word is refused, too: ``withuot``."""


@functools.lru_cache(maxsize=2048)
def changes_it(word: str) -> str:
    """What this word may do to a remark, in a word; empty where it can do nothing.

    Args:
        word: lower case.
    """
    if word in _REASON:
        return _REASON[word]
    if word.endswith(("n't", "nt")) and word[:-2].rstrip("n'") in _DENIED:
        return "deny"
    if len(word) < _SOUND:
        return ""
    return next((reason for one, reason in _REASON.items() if len(one) >= _SOUND and a_slip_from(word, one)), "")
