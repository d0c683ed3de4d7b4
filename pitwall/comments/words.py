"""The words of the shorthand, one table: what people write, which part of a remark it gives, and its value.

The first form of each entry is the one that is written back and offered. A form of two words is written with a space
here; a hyphen between them is as good. Words keep their meaning once they are here: journals hold comments as they were
typed. New ones may come.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Part = Literal["everywhere", "phase", "speed", "subject", "finding", "corner", "axle", "side", "severity", "confidence",
               "trend", "amount", "poor", "filler"]


MUCH = ("much", "a lot", "lots", "far", "a bit", "bit", "a little", "little", "slightly")
"""How much better, worse, more or less; it is not counted, and it is no severity."""


@dataclass(frozen=True)
class Entry:
    """One meaning and every form of it. ``value`` is what the remark gets; ``subject`` the subject of a finding."""

    part: Part
    value: str
    forms: tuple[str, ...]
    meaning: str = ""
    subject: str = ""

    @property
    def form(self) -> str:
        """The form that is written back."""
        return self.forms[0]


def _by_how_much(form: str) -> str:
    """A trend with what people put before it: ``a lot better`` says nothing of how bad it was or is."""
    return " | ".join((form, *(f"{much} {form}" for much in MUCH)))


def _entries(part: Part, rows: Mapping[str, tuple[str, str]], subject: str = "") -> tuple[Entry, ...]:
    """``rows``: value to its forms, parted by bars, and what it means."""
    return tuple(
        Entry(part, value, tuple(form.strip() for form in forms.split("|")), meaning, subject)
        for value, (forms, meaning) in rows.items()
    )


TABLE: tuple[Entry, ...] = (
    *_entries("everywhere", {"all": ("everywhere | all | all corners | every corner | each corner | all turns"
                                    " | every turn", "in every corner")}),
    *_entries("phase", {
        "entry": ("entry | en | turn in | turning in | under braking | on the brakes | off throttle | lift off",
                  "from the brakes to where the steering stands"),
        "mid": ("mid | middle | apex | mid corner", "around the apex"),
        "exit": ("exit | ex | on power | on throttle", "from the throttle on"),
    }),
    *_entries("speed", {
        "slow": ("slow | ls | low speed | slow speed", "slow corners"),
        "medium": ("medium | ms | medium speed | mid speed", "corners of medium speed"),
        "fast": ("fast | hs | high speed | quick", "fast corners"),
    }),
    *_entries("subject", {
        "balance": ("balance", "the car's balance"),
        "traction": ("traction", "drive out of corners"),
        "braking": ("braking | brakes | brake", "brakes and what they do"),
        "ride": ("ride", "bumps, kerbs and the floor"),
        "tyres": ("tyres | tyre", "tyres"),
        "engine": ("engine | power unit | gearbox", "engine and gears"),
        "grip": ("grip", "grip of both axles"),
    }),
    *_entries("finding", {
        "understeer": ("us | understeer | understeers | under | push | pushes | pushing"
                       " | washes out | washing out | wash out | washes wide | runs wide", "understeer"),
        "oversteer": ("os | oversteer | oversteers | over | loose", "oversteer"),
        "snap": ("snap | snaps | snappy | snap oversteer | snap os", "sudden oversteer"),
        "neutral": ("neutral | balanced", "balance as it should be"),
    }, "balance"),
    *_entries("finding", {"wheelspin": ("spin | wheelspin | spinning | spins | no traction", "wheelspin")}, "traction"),
    *_entries("finding", {
        "locking": ("lock | locking | locks | locked | lockup | lock up", "a wheel locks; say which axle"),
        "unstable": ("unstable | nervous | moves", "the rear moves under braking"),
        "long_pedal": ("long pedal | pedal long | pedal goes long | spongy | soft pedal", "the pedal is long"),
        "weak": ("weak | no bite | fade | fades | fading", "too little braking"),
        "judder": ("judder | judders | juddering", "the brakes judder"),
    }, "braking"),
    *_entries("finding", {
        "bottoming": ("bottoming | bottom | bottoms | hits the ground | bottoming on the kerb | bottoming on kerbs"
                      " | bottoms on the kerb | bottoms on kerbs | bottoms on the kerbs", "the floor touches"),
        "bouncing": ("bouncing | bounce | bounces | porpoising | porpoises", "bouncing"),
        "harsh": ("harsh | stiff | harsh over kerbs | harsh over the kerbs | harsh on kerbs | harsh on the kerbs"
                  " | bumps | bumpy | over bumps | over the bumps",
                  "too stiff over bumps"),
        "soft": ("soft | floaty | rolls", "too soft"),
        "kerbs": ("kerbs | kerb | over kerbs | over the kerbs | over kerb | over the kerb", "takes kerbs badly"),
    }, "ride"),
    *_entries("finding", {
        "cold": ("cold | slow to warm up | slow to warm | slow to come in", "too cold"),
        "hot": ("hot | overheating | overheats | overheat", "too hot"),
        "worn": ("worn | gone | drop | drops | dropping | wear | wearing | drop off | drops off | dropping off"
                 " | fall off | falls off | falling off | deg | degradation | degrading", "worn, or dropping off"),
        "graining": ("graining | grain | grains | grained", "graining"),
        "blistering": ("blistering | blister | blisters | blistered", "blistering"),
        "flat_spot": ("flat spot | flatspot | flat spots | flat spotted", "flat spot"),
        "vibration": ("vibration | vibrations | vibrates | vibes", "vibration"),
    }, "tyres"),
    *_entries("finding", {
        "flat": ("flat | no power | down on power | lacks power", "too little power"),
        "hesitation": ("hesitation | hesitates | hesitating | hole", "answers late"),
        "surge": ("surge | surges | surging", "surges"),
        "misfire": ("misfire | misfires | misfiring", "misfires"),
        "cut": ("cut | cuts | cutting", "cuts out"),
        "rough_shift": ("rough shift | rough shifts | shifts rough | shift | shifts | bad shift | harsh shift"
                        " | slow shift | slow shifts | shifts slow | downshift | downshifts | slow downshift"
                        " | slow downshifts | downshifts slow | upshift | upshifts | slow upshift | slow upshifts"
                        " | upshifts slow | gear change | gear changes",
                        "gears change badly"),
    }, "engine"),
    *_entries("finding", {"low": ("no grip | low grip | low | slippery | greasy", "too little grip")}, "grip"),
    *_entries("finding", {"good": ("good | fine | ok | nice | great | perfect | very good | really good",
                                   "as it should be")}),
    *_entries("poor", {"poor": ("poor | bad", "too little of it: traction, grip, braking")}),
    *_entries("corner", {
        "front left": ("fl | front left | left front", "front left wheel"),
        "front right": ("fr | front right | right front", "front right wheel"),
        "rear left": ("rl | rear left | left rear", "rear left wheel"),
        "rear right": ("rr | rear right | right rear", "rear right wheel"),
    }),
    *_entries("axle", {"front": ("front", "front axle"), "rear": ("rear", "rear axle")}),
    *_entries("axle", {"front": ("fronts", "the front tyres, or both front wheels"),
                       "rear": ("rears", "the rear tyres, or both rear wheels")}, "tyres"),
    *_entries("side", {"left": ("left | lh", "left side"), "right": ("right | rh", "right side")}),
    *_entries("severity", {
        "1": ("1 | 1/5 | 1 out of 5 | slight | slightly | tiny", "hardly felt"),
        "2": ("2 | 2/5 | 2 out of 5 | little | a bit | bit", "felt"),
        "3": ("3 | 3/5 | 3 out of 5", "costs time"),
        "4": ("4 | 4/5 | 4 out of 5 | big | a lot | lots", "costs much time"),
        "5": ("5 | 5/5 | 5 out of 5 | huge | massive | undriveable", "cannot be driven"),
    }),
    *_entries("confidence", {
        "high": ("sure | certain | definitely", "the driver is sure"),
        "medium": ("likely | probably", "the driver thinks so"),
        "low": ("? | maybe | unsure | not sure", "the driver is not sure"),
    }),
    *_entries("trend", {
        "better": (_by_how_much("better") + " | + | improved | improving | coming | coming in", "better than before"),
        "worse": (_by_how_much("worse") + " | - | worsening", "worse than before"),
        "same": ("same | = | still", "as before"),
    }),
    *_entries("amount", {"more": (_by_how_much("more"), "more than before"),
                         "less": (_by_how_much("less"), "less than before")}),
    *_entries("filler", {"": ("in | on | at | the | of | into | out of | to | a | is | are | with | and | & | car"
                              " | corner | corners | turns | every | severity | than before"
                              " | than last run | than the last run | too much", "")}),
)  # fmt: skip

POOR: Mapping[str, str] = {"traction": "wheelspin", "grip": "low", "braking": "weak"}
"""What ``poor`` means of each subject."""
SIGNS = ("+", "-", "=")
"""Signs of a trend; between other words people type them for something else."""
MORE_IS_GOOD = ("grip", "traction")
PLACES = ("t", "turn", "turns", "corner", "corners")
"""What may stand before the number of a turn; behind a speed class a corner has no number."""
MOST_WORDS = max(len(form.split()) for entry in TABLE for form in entry.forms)


@functools.lru_cache(maxsize=1)
def by_form() -> Mapping[str, Entry]:
    """Every form with its entry."""
    return {form: entry for entry in TABLE for form in entry.forms}


@functools.lru_cache(maxsize=1)
def written() -> Mapping[tuple[str, str, str], str]:
    """The form that is written back, by part, subject and value."""
    return {(entry.part, entry.subject, entry.value): entry.form for entry in TABLE}
