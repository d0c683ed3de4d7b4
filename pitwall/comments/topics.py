"""Words of what the shorthand has no findings for: from such a word on, a remark is kept as words and not counted.

They are in the table, so that they are offered and printed with it; a word of another meaning is not among them. Common
practice, no source.
"""

from __future__ import annotations

from pitwall.comments.entries import Entry, entries

TOPICS: tuple[Entry, ...] = entries("topic", {
    "slip": ("tc | traction control | abs", "traction control and what keeps wheels from locking"),
    "settings": ("diff | differential | bias | brake bias | brake balance | bb | map | maps | engine map"
                 " | throttle map | mode | modes | engine mode | engine braking | arb | roll bar | bar | bars"
                 " | damper | dampers | spring | springs | ride height | camber | toe | wing | front wing"
                 " | rear wing | wings | flap | set up | setup", "settings of the car"),
    "controls": ("1st gear | 2nd gear | 3rd gear | 4th gear | 5th gear | 6th gear | 7th gear | 8th gear"
                 " | first gear | second gear | third gear | fourth gear | fifth gear | sixth gear"
                 " | seventh gear | throttle | throttle response | clutch | limiter | pit limiter"
                 " | power delivery | gearing | ratio | ratios | gear | gears | wrong gear | shift light"
                 " | shift lights | short shift | short shifting", "throttle, clutch and gears"),
    "energy": ("deploy | deployment | battery | regen | harvest | harvesting | energy | boost", "electric energy"),
    "weather": ("wind | winds | windy | gust | gusts | gusty | headwind | tailwind | crosswind | sidewind | rain"
                " | raining | drizzle | spots of rain | damp | dry line | sun | low sun | track | track temp"
                " | air temp", "weather and the track"),
    "cockpit": ("visor | mirror | mirrors | seat | belts | helmet | headrest | dash | display | radio | drink"
                " | drink bottle | cockpit", "seat, sight and radio"),
    "fluids": ("cooling | oil | oil temp | oil temps | oil pressure | water | water temp | water temps | pressure"
               " | pressures | tyre pressure | tyre pressures | fuel | smoke | smell | noise",
               "fluids, pressures and fuel"),
    "others": ("puncture | slow puncture"
               " | yellow | yellows | yellow flag | blue flag | blue flags | car ahead | slow car | debris | moment"
               " | spun", "other cars, flags and what happened"),
    "wish": ("wants | want | needs | need | needed | would like | could do with | asks for | asked for"
             " | prefers | could"
             " | would", "what the driver would like"),
})  # fmt: skip
