"""What people say of when and on which lap, beside a remark: read over, and kept with it as free text.

``rears hot after 4 laps`` is the remark *rears hot*, and its words as they were typed: when it was is not lost, and not
counted.
"""

from __future__ import annotations

import re

from pitwall.comments.splitting import CLOCK_MARK, Word
from pitwall.comments.words import NUMBERS, by_form

_COUNT = rf"(?:\d{{1,2}}|{'|'.join(NUMBERS)}|a few|few|a couple of|couple of|several)"
_ORDER = "(?:first|second|third|last|out|in|next|same|cool down|timed|push)"
_SETTING = ("(?:tc|traction control|abs|bb|brake bias|bias|diff|differential|map|mode|mix"
            "|(?:engine|torque|power|throttle|fuel) map"
            "|(?:front |rear )?(?:wing|flap|arb|bar))")
_MOVED = "(?:on|off|up|down|forwards?|back|backwards?|rearwards?|open|closed|softer|stiffer|change|changed)"
_PLACED = r"(?:(?:to|at|position|pos) )?[-+]?\d{1,2}(?:\.\d)?(?: clicks?)?"
_HOW_STRONG = "(?:strong|big|slight|light|bit of|bit of a|a bit of|gusting|gusty)"
_SET = "(?:tyres|tires|fronts|rears|set|rubber|softs?|mediums?|hards?|inters?|wets?|slicks?)"
_ASIDES = re.compile("|".join((
    rf"(?:(?:after|for|from|until|over|within|in|on|by|needs|need|takes|take|took) )?(?:the )?(?:about )?(?:{_ORDER} )?"
    rf"(?:{_COUNT} laps|(?:1|one|a) lap)"
    r"(?: or so| only)?",
    rf"(?:(?:on|from|after|until|in|by|for) )?(?:the )?{_ORDER} laps?",
    r"(?:(?:from|on|after|until|by|in) )?laps? \d{1,2}(?: ?(?:and|&|to|till|until|or|-|/) ?\d{1,2})*"
    r"(?: only| onwards| on)?|l\d{1,2}|(?:on )?(?:every|each) lap",
    r"(?:on|onto|along|down|(?:at )?(?:the )?end of) (?:the )?(?:main |back |front |pit )?straights?(?: (?:(?:in)?to"
    r"|before|after|towards|from|out of|between|behind) (?:turns? )?t?\d{1,2}"
    r"(?: (?:and|to|into) (?:turn )?t?\d{1,2})?)?",
    r"(?:the )?(?:main|back|front|pit|long|start) straights?",
    r"(?:takes?|taking|took|needs?|needing)"
    r" (?:a (?:while|long time|bit)|ages|forever|(?:too |so |very )?long|time|a few corners)",
    r"straight (?:into|to|before|after|towards) (?:turn )?t?\d{1,2}",
    r"(?:in|through|over) (?:the )?(?:first|second|third|last|middle|final) sector|(?:in )?sector \d|in s[1-3]",
    rf"(?:in |with )?(?:a |the )?(?:{_HOW_STRONG} )?(?:tail|head|cross|side) ?winds?",
    r"(?:with )?(?:the )?wind from (?:behind|ahead|the front|the left|the right|the side)",
    rf"(?:in|with) (?:the )?(?:{_HOW_STRONG} )?(?:wind|gusts)",
    rf"(?:(?:with|on|at|after|in) (?:the )?)?{_SETTING} {_PLACED}",
    rf"(?:with|on|at|after|in) (?:the )?{_SETTING} {_MOVED}",
    rf"(?:with|on|in|after|since|for) (?:this|that|our|my) (?:new |old |other )?(?:{_SETTING}|set ?up|{_SET})",
    rf"{_SETTING} (?:on|off)|(?:with|on|after) (?:the )?(?:new|old|other) {_SETTING}",
    rf"(?:(?:at|by|from|until|since|lap|lap time|with a|a) )?\d{{1,2}}{CLOCK_MARK}\d\d(?:\.\d{{1,3}})?",
    r"(?:above|over|below|under|at|from|until) (?:\d{2,5} ?(?:rpm|revs|kph|kmh|km/h|mph)|\d{3,5})",
    r"(?:at )?(?:high|low|full|top) (?:rpm|revs)",
    rf"(?:on|with|after) (?:the )?(?:new|used|old|fresh|scrubbed|worn) {_SET}",
    r"on (?:the )?(?:softs|mediums|hards|inters|wets|slicks)",
    r"(?:after|before) (?:the )?(?:stop|pit stop|changes?|set ?up change|adjustment|red flag|restart)",
    rf"{_COUNT}(?: times)? (?:in a row|on the (?:trot|bounce))",
    r"[2-9] ?x|x[2-9]|in a row|after(?:wards)?(?=$)|later on|by then",
    rf"once|twice|(?:{_COUNT}) times|again|hard|today|this (?:run|lap|time|session)",
    r"all (?:run|stint|session)|(?:late|later|early|earlier)(?: on)? in (?:the |this )?(?:run|stint|session)",
    r"on the way (?:into|in|out of|out|to)",
    r"with (?:more |less )?(?:fuel|wear|temperature)",
    r"sometimes|always|often|consistently|all the time|now and then|occasionally|intermittent(?:ly)?"
    r"|(?:every|each) time",
    r"on (?:the |a )?(?:long|short|quick|slow) (?:runs?|stints?)",
    r"(?:in |with )?(?:traffic|dirty air)",
    r"(?:behind|following) (?:another |other |a |the )?cars?",
    r"(?:(?:at|in|towards|by|near|from) )?(?:the )?(?:start|beginning|end|middle) of"
    r" (?:the |this )?(?:run|stint|lap|session)",
    r"(?:over|through|during) (?:the |a |this )?(?:run|stint)",
    r"(?:on|with|at) (?:a )?(?:high|low|full|less|more|heavy) (?:fuel|tanks?)",
    r"(?:high|low|full|half|empty) (?:fuel|tanks?)|(?:long|short|race) (?:runs?|stints?)",
    r"in (?:the )?(?:wet|dry|wind)",
    r"(?:at )?(?:the )?top end|(?:in )?top gear",
    rf"(?:only )?(?:on|with|from|due to) (?:the )?(?:cold|hot|warm) {_SET}",
    r"(?:on|under|during|with) (?:the )?(?:down|up) ?shifts?",
    r"(?:over|on|at) (?:the )?(?:crest|hump|brow|bump|(?:exit|entry|inside|outside|apex|inner|outer) (?:kerb|curb))s?",
    r"not (?:very |really |that )?(?:confident|comfortable|happy)(?: at all)?|no confidence|lacks? confidence",
    r"(?:at|on|after) (?:the )?(?:re)?start|nothing (?:new|else|more)|(?:still )?not perfect",
    rf"(?:(?:with|on|after) )?[-+]\d(?:\.\d)? (?:clicks? )?(?:of )?(?:front |rear )?{_SETTING}",
    r"(?:on )?(?:the )?(?:inside|outside|inner|outer) (?:edge|shoulder)|(?:in |at |on )?(?:the )?changes? of direction",
    r"(?:on|at) (?:the )?(?:first|initial) (?:application|touch|stop|press)",
    r"(?:comes? |coming )?with (?:tyre |tire )?(?:wear|age|temperature|temp)",
    r"(?:up |right )?(?:to|until|till) the (?:very )?end",
    r"at (?:top speed|vmax)|flat out(?! of)",
    r"at first|initially|to begin with|early on|in the end|by the end",
    r"(?:at|towards|by|near) (?:the )?end(?! of)",
    r"(?:(?:from |in |into |to )[1-8](?:st|nd|rd|th)(?: (?:to|into|and) [1-8](?:st|nd|rd|th))?(?: gear)?"
    r"|[1-8](?:st|nd|rd|th) (?:to|into) [1-8](?:st|nd|rd|th))(?= |$)"
    r"(?! (?:corner|turn|lap|run|sector|stint|set|time|part|half|phase|car|one|of)s?\b)",
    r"(?:in|into|to) (?:first|second|third|fourth|fifth|sixth|seventh|\d(?:st|nd|rd|th)) gear",
)))  # fmt: skip

_TOWARDS = re.compile(r"(?<=straight)s? (?:into|to|before|after|towards|from|out of|between|behind) (?:turns? )?t?\d.*")
_OF_A_CORNER = ("braking", "traction", "balance")
_COUNTED = re.compile(r"\d{1,2}-\d{1,2}|[-+]\d{1,2}")


SAME_AS = ("same", "like", "similar", "as")
_BEFORE = (
    r"(?:it was )?(?:(?:in|on|with|at) )?(?:the |our |my |his |her )?(?:"
    r"(?:run|stint|session|lap) \d{1,2}|(?:run|stint|lap|session|set|time|one)s? before"
    r"|(?:first|second|third|fourth|last|previous|earlier|opening|prior) (?:run|stint|lap|session|set|time|one)s?"
    r"|baseline|previously|before|yesterday|this morning|this afternoon|earlier|last time|last night)"
)
_AGAINST = re.compile(rf"(?:(?:than|vs|versus|against|compared (?:to|with)|relative to) {_BEFORE}"
                      rf"|(?:same (?:as|like)|like|similar to|as) {_BEFORE})(?= |$)")


def set_against(words: tuple[Word, ...], at: int) -> int:
    """How many words from here on name a time before, that something is set against; 0 where they do not."""
    keys = [word.key for word in words[at:]]
    match = _AGAINST.match(" ".join(keys))
    return len(match.group().split()) if match is not None and not any(" " in key for key in keys[:8]) else 0


def aside(words: tuple[Word, ...], at: int) -> int:
    """How many words from here on say when or on which lap; 0 where they say something else."""
    keys = [word.plain.lower() if _COUNTED.fullmatch(word.plain) else word.key for word in words[at:]]
    match = _ASIDES.match(" ".join(keys))
    if match is None:
        return 0
    end = match.end()
    towards = _TOWARDS.search(match.group())
    if towards is not None and _belongs_to_a_corner(words):
        end = towards.start()
    taken, length = 0, 0
    while length < end:  # a key of two words, such as "cool-down", is one word of the comment
        length += len(keys[taken]) + (1 if taken else 0)
        taken += 1
    return taken if length == end else 0


def _belongs_to_a_corner(words: tuple[Word, ...]) -> bool:
    """Guard: something is said of braking, traction or balance. ``locks on the straight into t8`` is of turn 8;
    ``bottoming on the straight into t9`` is of the straight."""
    said = f" {' '.join(word.key for word in words)} "
    return any(entry.part == "finding" and entry.subject in _OF_A_CORNER and f" {form} " in said
               for form, entry in by_form().items())
