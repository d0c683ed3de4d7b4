"""Words of the shorthand that say several things at once: they are read as the forms that stand for them.

Common practice, no source.
"""

from __future__ import annotations

from pitwall.comments.entries import Entry, entries

PHRASES: tuple[Entry, ...] = entries("phrase", {
    "us": ("front doesn't bite | front does not bite | front end doesn't bite | front won't bite | front not biting"
           " | front end not biting | no front bite | no bite from the front", "the front does not bite"),
    "entry|us": ("turn in lazy | poor turn in | bad turn in | slow turn in | lazy turn in | no turn in"
                 " | turn in slow | turn in poor"
                 " | turn in bad", "understeer on entry"),
    "mid|exit": ("from apex on | from the apex on | from apex onwards | from the apex onwards | from mid on"
                 " | from mid corner on", "from the apex to the exit"),
    "4|us": ("heavy us | heavy understeer", "much understeer"),
    "4|os": ("heavy os | heavy oversteer", "much oversteer"),
    "1|us": ("light us | light understeer", "little understeer"),
    "1|os": ("light os | light oversteer", "little oversteer"),
    "entry|os": ("lift oversteer | lift os | liftoff oversteer", "oversteer as he lifts"),
    "entry|good": ("turns in well | turns in nicely", "turns in as it should"),
    "braking|good": ("stops well | brakes strong | strong brakes | pedal firm | firm pedal",
                     "brakes as they should be"),
    "ride|good": ("rides kerbs well | rides the kerbs well | takes kerbs well | takes the kerbs well | rides bumps well"
                  " | rides the bumps well | rides well", "rides as it should"),
    "engine|good": ("shifts smooth | smooth shifts | shifts good | good shifts | shifts fine | shifts ok"
                    " | engine strong | strong engine | power good | good power | power fine"
                    " | power ok", "an engine as it should be"),
    "on power|us": ("power understeer | power us", "understeer on power"),
    "on power|os": ("power oversteer | power os", "oversteer on power"),
    "on the brakes|us": ("braking understeer | brake understeer", "understeer under braking"),
    "4|bad": ("very bad | really bad | so bad | too bad | terrible | awful | horrible | very badly | really badly",
              "costs much time"),
    "3|bad": ("pretty bad | quite bad | rather bad | badly", "costs time"),
    "braking|judder": ("brake vibration | brake vibrations | brakes vibrate | brakes vibrating", "the brakes judder"),
    "better|balance": ("rotates better | better rotation | turns better | turns in better", "a better balance"),
    "less|unstable": ("more stable", "less unstable"),
    "more|unstable": ("less stable", "more unstable"),
    "rear|unstable": ("fighting the rear | fighting the rear end | fighting the back end | fighting rear"
                      " | fights the rear | can't trust the rear | cannot trust the rear | can't trust the rear end"
                      " | don't trust the rear | doesn't trust the rear | no trust in the rear", "the rear moves"),
    "steering|kickback": ("wheel kicks | wheel kicks back | wheel kickback", "the steering wheel kicks"),
    "more|heavy": ("heavier", "heavier than before"), "more|os": ("looser", "more oversteer"),
    "more|hot": ("hotter", "hotter than before"), "more|cold": ("colder", "colder than before"),
    "more|snap": ("snappier", "more snap"), "more|harsh": ("harsher", "harsher than before"),
    "less|grip": ("lower grip | grip lower | lwr grip | grip lwr | grip down", "less grip"),
    "more|grip": ("higher grip | grip higher | grip up", "more grip"),
    "braking|hot": ("hot brakes | brake temps high", "brakes too hot"),
    "braking|cold": ("cold brakes | brake temps low", "brakes too cold"),
})  # fmt: skip
"""Forms that give several parts: they are read as those that the value names."""
