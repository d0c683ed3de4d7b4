"""The words of the shorthand, one table: what people write, which part of a remark it gives, and its value.

The first form of each entry is the one that is written back and offered. A form of two words is written with a space
here; a hyphen between them is as good. Words keep their meaning once they are here: journals hold comments as they were
typed. New ones may come. Common practice, no source.
"""

from __future__ import annotations

from pitwall.comments.entries import Entry, by_how_much, entries
from pitwall.comments.phrases import PHRASES
from pitwall.comments.topics import TOPICS

FINDINGS: tuple[Entry, ...] = (
    *entries("finding", {
        "understeer": ("us | understeer | understeers | understeering | understeery | under | push | pushes | pushing"
                       " | pushing wide | plow | plows | plough | washout | washouts | tight"
                       " | under rotates | under rotating | under rotation"
                       " | washes out | washing out | wash out | washes wide | runs wide | running wide | won't turn"
                       " | wont turn | won't turn in | will not turn | ploughs | plowing | washes | washing"
                       " | understeered | washed out | washed wide | pushed wide"
                       " | drifts wide | slides wide | ran wide | slid wide | goes wide | went wide | wash wide"
                       " | run wide | drift wide | slide wide | go wide | push wide | pushes wide"
                       " | u/s | under steer | under steering | poor rotation | no rotation"
                       " | not enough rotation | doesn't want to turn | doesn't want to turn in | does not turn"
                       " | won't rotate into the corner | lazy | struggles to turn | struggles to turn in"
                       " | struggling to turn | struggling to turn in | hard to turn in"
                       " | hard to turn | hard to rotate | resists turning | does not want to turn"
                       " | doesn't bite on turn in"
                       " | lazy to rotate | lazy to turn | reluctant to turn"
                       " | reluctant to turn in | turns in late"
                       " | lack of rotation | lacks rotation | bad rotation | not rotating | doesn't rotate"
                       " | won't rotate | can't turn | can't rotate | cannot rotate | cannot turn | doesn't turn"
                       " | not turning", "understeer"),
        "oversteer": ("os | stepped out | oversteered | came around | came round | coming around"
                      " | coming round | oversteer | oversteers"
                      " | oversteering | oversteery | over | loose"
                      " | steps out | step out"
                      " | stepping out | kicks out | comes around | comes round | tail happy | os moment"
                      " | oversteer moment | pointy | too much rotation"
                      " | rotates too much | over rotates | over rotating | over rotation | o/s | over steer"
                      " | over steering", "oversteer"),
        "snap": ("snap | snaps | snapped | snappy | snapping | snap oversteer | snap os | sudden oversteer"
                 " | sudden os | os snap | oversteer snap",
                 "sudden oversteer"),
        "neutral": ("neutral | balanced", "balance as it should be"),
        "slides": ("slides | slide | sliding | slid | slides around | sliding around | slides about | sliding about"
                   " | walks | walking | walks around | walking around"
                   " | breaks away | lets go | gives way | goes away | drifts"
                   " | drifting",
                   "at the front understeer, at the rear oversteer; say which axle"),
    }, "balance"),
    *entries("finding", {"wheelspin": ("spin | wheelspin | spinning | spins | no traction | wheel spin"
             " | wheelspins | ws | zero traction"
                                       " | spins up | spinning up | spun up | lights up | lit up | traction limited"
                                       " | limited traction | struggling to put the power down"
                                       " | struggling to get the power down | struggles to put the power down"
                                       " | no drive"
                                       " | can't get the power down"
                                       " | can't get power down | cannot get the power down"
                                       " | can't put the power down"
                                       " | can't put power down", "wheelspin")}, "traction"),
    *entries("finding", {
        "locking": ("lock | locking | locks | locked | lockup | lock up | lockups | lock ups | locks up | locking up"
                    " | locked up", "a wheel locks; say which axle"),
        "unstable": ("unstable | nervous | moves | moving around | moving about | moves about | instability"
                     " | poor stability | stability poor | not stable | no stability"
                     " | lack of stability | lacks stability"
                     " | unsettled | unsettles | upsets | unsettling | twitchy | edgy | moves around",
                     "the rear moves under braking; in mid-corner, at the exit and by speed the balance"),
        "long_pedal": ("long pedal | pedal long | pedal goes long | spongy | soft pedal | pedal soft"
                       " | long brake pedal | pedal spongy | spongy pedal | pedal longer"
                       " | pedal getting longer | pedal gets longer | longer pedal | pedal travel long"
                       " | long pedal travel"
                       " | brake pedal long | pedal getting long | pedal gets long"
                       " | brakes long | long brakes | pedal goes to the floor"
                       " | pedal to the floor | pedal drops"
                       " | pedal went to the floor | pedal went long | pedal went soft"
                       " | pedal dropped", "the pedal is long"),
        "weak": ("weak | no bite | fade | fades | fading | lack bite | lacks bite | struggles to stop"
                 " | struggling to stop | hard to stop | no brakes", "too little braking"),
        "judder": ("judder | judders | juddering", "the brakes judder"),
        "grabs": ("grabs | grab | grabby | grabbing | bite too hard | bites too hard | bite too sharp"
                  " | bites too sharp | too much bite | too sharp", "the brakes bite too suddenly"),
    }, "braking"),
    *entries("finding", {
        "bottoming": ("bottoming | hit the floor | hit the ground | bott | floor hits the kerb"
                      " | floor hitting the kerb | hits the floor | hits floor"
                      " | hitting the floor | scraping floor | floor scraping"
                      " | scrapes the floor | floor touches"
                      " | floor touching | floor hits | touches the ground | scrapes"
                      " | scraping"
                      " | bottom | bottoms | bottomed | bottoms out | bottoming out | hits the ground"
                      " | bottoming on the kerb | bottoming on kerbs | bottoming on the kerbs | bottoms on the kerb"
                      " | bottoms on kerbs | bottoms on the kerbs", "the floor touches"),
        "bouncing": ("bouncing | bounced | hopped | jumped | bounce | bounces | bouncy | wheel hop | hop"
                     " | hopping | hops | jumping"
                     " | jumps | jumps around | jumping around | jumps about | bounces around | jumpy | porpoising"
                     " | porpoises | porpoise", "bouncing"),
        "harsh": ("harsh | stiff | harsh over kerbs | harsh over the kerbs | harsh on kerbs | harsh on the kerbs"
                  " | bumps"
                  " | bumpy | over bumps | over the bumps | harsh over bumps | harsh over the bumps"
                  " | stiff over bumps"
                  " | too hard | harsh on bumps | stiff over the bumps"
                  " | stiff over kerbs | stiff over the kerbs | stiff on kerbs | stiff on the kerbs",
                  "too stiff over bumps"),
        "soft": ("soft | soft in roll | soft in pitch | too soft in roll | too soft in pitch | dive | dives"
                 " | diving | floaty | floats | floating | rolls | rolling | too much roll", "too soft"),
        "kerbs": ("kerbs | can't touch the kerb | can't touch the kerbs | can't use the kerb"
                  " | can't use the kerbs | can't ride the kerb | can't ride the kerbs"
                  " | can't take the kerb | can't take the kerbs | cannot use the kerb | cannot use the kerbs"
                  " | doesn't like the kerb | doesn't like kerbs | doesn't like the kerbs"
                  " | does not like kerbs | kerb | over kerbs | over the kerbs | over kerb | over the kerb"
                  " | curb | curbs"
                  " | over curbs",
                  "takes kerbs badly"),
    }, "ride"),
    *entries("finding", {
        "cold": ("cold | slow to warm up | slow to warm | slow to come in | too cold"
                 " | to come in | to get warm | to get in | to get temperature | to get temp | to get temps"
                 " | to get up to temperature"
                 " | to warm up | to wake up | to switch on", "too cold; of brakes too"),
        "hot": ("hot | overheating | overheats | overheat | overheated"
                " | too hot", "too hot; of brakes and engine too"),
        "worn": ("worn | dropped off | drop | drops | dropping | wear | wearing | drop off"
                 " | drops off | dropping off | going away | degradation high | deg is high"
                 " | degradation is high | high wear | wear high | wearing out | dying"
                 " | fall off | falls off | falling off | falls away | falling away | fell away | deg"
                 " | degradation | degrading | high deg | deg high"
                 " | worn out"
                 " | gone off | went off | going off | goes off | go off | high degradation", "worn, or dropping off"),
        "graining": ("graining | grain | grains | grained", "graining"),
        "blistering": ("blistering | blister | blisters | blistered", "blistering"),
        "flat_spot": ("flat spot | flatspot | flat spots | flat spotted | flatspots | flatspotted", "flat spot"),
        "vibration": ("vibration | vibrations | vibrates | vibes | vib | vibs | vibrating | vibrate | vibrated | shakes"
                      " | shaking",
                      "vibration"),
    }, "tyres"),
    *entries("finding", {"weak": ("not biting | won't bite | don't bite | doesn't bite", "too little braking")},
             "braking", named=True),
    *entries("finding", {"long_pedal": ("long", "the pedal is long")}, "braking", named=True),
    *entries("finding", {
        "cold": ("temps low | not coming in | never came in | never come in | don't come in | won't come in"
                 " | not switching on"
                  " | don't switch on | won't switch on | never switched on | temp low | low temps"
                  " | temperatures low | not in | not in yet | not ready"
                 " | not ready yet | not up to temp"
                 " | not up to temperature | not warm | not warm yet | not there yet | no temperature | no temp",
                 "too cold, of tyres or brakes that are named"),
        "hot": ("temps high | temp high | high temps | temperatures high | boiling | cooked | overcooked",
                "too hot, of tyres, brakes or engine that are named"),
        "worn": ("done | finished | dead | shot | dropped | fell off | nothing left", "worn, of tyres that are named"),
    }, "tyres", named=True),
    *entries("finding", {
        "flat": ("down on power | no power | lacks power | lack of power | lacking power | underpowered",
                 "too little power"),
        "hesitation": ("hesitation | throttle hesitation | throttle lag | hesitated | bogged down"
                       " | hole in the power | hole in power | engine flat spot"
                       " | flat spot in the power | flat spot in the engine | flat spot in power | bogs"
                       " | bogs down | bogging | bogging down | hesitates | hesitating"
                       " | hesitate | hole | lag | turbo lag | laggy | stutters"
                       " | stutter", "answers late"),
        "surge": ("surge | surges | surging | surged", "surges"),
        "misfire": ("misfire | misfires | misfiring | misfired", "misfires"),
        "cut": ("cut | power cut | power cuts | power cut out | power cuts out | cuts | cutting | cuts out"
                " | fuel cut | cutting out | cut out", "cuts out"),
        "rough_shift": ("rough shift | rough shifts | shifts rough | shift | shifts | bad shift | harsh shift"
                        " | slow shift | slow shifts | shifts slow | downshift | downshifts | slow downshift"
                        " | slow downshifts | downshifts slow | upshift | upshifts | slow upshift | slow upshifts"
                        " | upshifts slow | gear change | gear changes | rough downshift | rough downshifts"
                        " | downshift rough | downshifts rough | rough upshifts | upshifts rough | harsh downshifts"
                        " | gear shift | gear shifts | gear shift rough | gear shifts rough"
                        " | rough gear shift | gear shift slow | gearbox rough | gearbox slow | slow gearbox"
                        " | gearbox stuck | stuck in gear"
                        " | rough gearbox | gearbox clunky"
                        " | clunky gearbox | gearbox notchy"
                        " | notchy gearbox"
                        " | clunky shift | clunky shifts | notchy shift | notchy shifts | shift clunky"
                        " | shifts clunky"
                        " | gearchange | gearchanges | missed shift | missed shifts | misses shifts"
                        " | missed upshift | missed upshifts | missed downshift | missed downshifts"
                        " | missing shifts | shift rough | shift slow"
                        " | gears slow | slow gears"
                        " | downshifts harsh | gearshift | gearshifts | gearshift slow | slow gearshift"
                        " | slow gearshifts | gearshifts slow | bad downshifts | downshifts bad",
                        "gears change badly"),
    }, "engine"),
    *entries("finding", {"rough_shift": ("rough | jerky | clunky | notchy"
             " | graunchy", "gears change badly, of gears that are named")},
             "engine", named=True),
    *entries("finding", {"flat": ("flat", "too little power, of an engine that is named; a corner may be taken flat")},
             "engine", named=True),
    *entries("finding", {"low": ("no grip | zero grip | slides all four | sliding all four | slides on all four"
             " | sliding on all four | four wheel drift"
                 " | four wheel slide | low grip | low | slippery | greasy | slippy | grip gone"
                                 " | grip is gone", "too little grip")}, "grip"),
    *entries("finding", {
        "heavy": ("heavy", "the steering wants too much force"), "light": ("light | no feel | lacks feel"
                  " | no feedback | numb", "the steering tells too little"),
        "kickback": ("kickback | kick back | kicks back | kicks", "the steering wheel kicks"),
    }, "steering", named=True),
    *entries("finding", {"pulls": ("pulls | pulling | pull", "pulls to a side")}, "steering"),
    *entries("finding", {"good": ("good | smooth | works well | working well | works fine | spot on | fine"
             " | ok | okay | nice | great | perfect | very good | really good"
                                   " | very nice | stable | very stable | predictable | planted | comfortable"
                                   " | confident | no problem | no problems"
                                   " | no issue | no issues | no complaint | no complaints"
                                  " | very happy | happy | pretty good | quite good | not bad | not too bad | ready"
                                   " | nothing to complain about | nothing to report | nothing wrong"
                                   " | nothing special | excellent | brilliant | superb | fantastic"
                                   " | awesome | mega | lovely | amazing | love it | decent | rotates nicely"
                                   " | rotates well"
                                   " | good rotation | bites well | bites nicely | stays planted | stays stable"
                                   " | up to temp | up to temperature"
                                   " | can't complain | cannot complain", "as it should be")}),
)  # fmt: skip

TABLE: tuple[Entry, ...] = (
    *entries("everywhere", {"all": ("everywhere | everything | all | all corners | every corner | each corner"
                                    " | all turns"
                                    " | every turn | anywhere | whole lap | all round | all around | overall"
                                    " | generally | in general | general", "in every corner"),
                            "rest": ("elsewhere | others | the others | other corners | the other corners"
                                     " | rest | the rest | otherwise | everywhere else | everything else | all else",
                                     "in no one corner, beside those that were named")}),
    *entries("phase", {
        "entry": ("entry | en | ent | entries | on lift | turn in | turns in | turning in | under braking"
                  " | on the brakes"
                  " | off throttle | lift off"
                  " | trail braking | under trail braking | on entry | corner entry | into it"
                  " | going into it | when braking | on turn in",
                  "from the brakes to where the steering stands"),
        "mid": ("mid | middle | apex | mid corner | midcorner | center | centre | mid turn", "around the apex"),
        "exit": ("exit | ex | exits | on power | on throttle | on the throttle | on the power | corner exit | on exit"
                 " | with throttle | initial throttle | on initial throttle | throttle pick up"
                 " | on pick up | throttle application"
                 " | on gas | on the gas | on pwr | power on | out of it | coming out of it | under power"
                 " | under throttle", "from the throttle on"),
    }),
    *entries("speed", {
        "slow": ("slow | slow corner | slow corners | ls | low speed | slow speed | lo speed | lowspeed"
                 " | slow ones | slow stuff"
                 " | slow hairpins", "slow corners"),
        "medium": ("medium | medium corner | medium corners | ms | medium speed | mid speed | med speed"
                   " | medium ones | midspeed | med",
                   "corners of medium speed"),
        "fast": ("fast | fast corner | fast corners | hs | high speed | quick | hi speed | highspeed"
                 " | fast ones | fast stuff", "fast corners"),
    }),
    *entries("subject", {
        "balance": ("balance | bal", "the car's balance"),
        "traction": ("traction | trac | drive out | drive", "drive out of corners"),
        "braking": ("braking | brakes | brake | brk | brks | pedal | brake bite"
                    " | brakes bite", "brakes and what they do"),
        "ride": ("ride", "bumps, kerbs and the floor"),
        "tyres": ("tyres | tyre | tire | tires | softs | hards | inters | slicks", "tyres"),
        "engine": ("engine | power unit | gearbox | eng | motor", "engine and gears"),
        "grip": ("grip | track grip", "grip of both axles"),
        "steering": ("steering | steering wheel | power steering", "the steering"),
    }),
    *FINDINGS,
    *entries("poor", {"poor": ("poor | bad", "too little of it: traction, grip, braking")}),
    *entries("lack", {"lack": ("lack of | lacks | lacking | lack | not enough | not much | losing | lost"
             " | lose | loses"
                               " | short of | struggling for | struggling with | struggling | struggles with"
                               " | struggles for", "too little of it: grip, traction, braking")}),
    *PHRASES,
    *TOPICS,
    *entries("corner", {
        "front left": ("fl | front left | left front | lf", "front left wheel"),
        "front right": ("fr | front right | right front | rf", "front right wheel"),
        "rear left": ("rl | rear left | left rear | lr", "rear left wheel"),
        "rear right": ("rr | rear right | right rear", "rear right wheel"),
    }),
    *entries("axle", {"front": ("front | front end | front axle | nose | frt | fl and fr | fr and fl"
                                " | fl & fr | fr & fl", "front axle"),
                      "rear": ("rear | rear end | rear axle | back end | the back | tail | rl and rr | rr and rl"
                               " | rl & rr | rr & rl", "rear axle")}),
    *entries("axle", {"front": ("fronts", "the front tyres, or both front wheels"),
                       "rear": ("rears", "the rear tyres, or both rear wheels")}, "tyres"),
    *entries("side", {"left": ("left | lh | left side", "left side"), "right": ("right | rh"
             " | right side", "right side"),
                      "inside": ("inside | inner", "the wheel on the inside of the corner"),
                      "outside": ("outside | outer", "the wheel on the outside of the corner")}),
    *entries("severity", {
        "1": ("1 | 1/5 | 1 out of 5 | slight | slightly | tiny bit of | a tiny bit of | tiny bit | a tiny bit"
              " | tiny | small | minor | minimal | negligible"
              " | very slight | very slightly | a touch of | a touch | touch of"
              " | hardly any | barely any | almost no"
              " | a hint of | hint of", "hardly felt"),
        "2": ("2 | 2/5 | 2 out of 5 | little | a bit | bit | mild | bit of | a bit of | little bit | a little bit"
              " | little bit of | a little bit of", "felt"),
        "3": ("3 | 3/5 | 3 out of 5 | moderate | quite a bit | quite a bit of | a fair bit"
              " | a fair bit of", "costs time"),
        "4": ("4 | 4/5 | 4 out of 5 | big | major | a lot | lots | strong | lots of | a lot of | loads of"
              " | plenty of | quite a lot | quite a lot of | tons of | heaps of | like mad | like crazy"
              " | like hell", "costs much time"),
        "5": ("5 | 5/5 | 5 out of 5 | huge | massive | undriveable | undrivable", "cannot be driven"),
    }),
    *entries("confidence", {
        "high": ("sure | certain | definitely | for sure | quite sure | very sure | conf high | confidence high"
                 " | high confidence", "the driver is sure"),
        "medium": ("likely | conf medium | confidence medium | probably | i think | think | i reckon | reckon"
                   " | i guess | i'd say"
                   " | seems"
                   " | seems to", "the driver thinks so"),
        "low": ("? | conf low | confidence low | low confidence | maybe | unsure | not sure | perhaps"
                " | possibly | possible | might be", "the driver is not sure"),
    }),
    *entries("trend", {
        "better": (by_how_much("better") + " | + | much improved | improved | improving | coming"
                               " | coming back | comes back"
                               " | improvement | an improvement | big improvement | huge improvement"
                               " | best so far | best yet | less severe"
                               " | coming in | coming up | comes up | came up"
                               " | improves | come in | comes in | came in",
                   "better than before"),
        "worse": (by_how_much("worse") + " | - | worsening | worsened | worsens | getting bad | deteriorating",
                  "worse than before"),
        "same": ("same | similar | similar to before | similar to last run | about the same | = | still"
                 " | still there | unchanged | no better | no worse | no change | no different"
                 " | no difference | not changed"
                 " | same as before | same as last run | as before | like before | has not changed | as last run"
                 " | hasn't changed | same as in last run | as in last run | same as the last run"
                 " | same as in the last run | same as the run before | same as in the run before", "as before"),
        "gone": ("gone | none | completely gone | totally gone | fully gone | no longer | vanished"
                 " | eliminated | resolved | all gone | no more | any more"
                 " | anymore | gone away | went away | not any more | disappeared | cured | fixed | solved"
                 " | no | not | never had | never has | never have | never got | never get | never any"
                 " | never had any | never has any | don't have any | don't feel any | don't get any"
                 " | didn't have any | didn't feel any | didn't get any | not any"
                 " | isn't | isnt | aren't | arent | doesn't | doesnt | don't"
                 " | dont", "not there any more"),
    }),
    *entries("amount", {"more": (by_how_much("more") + " | increased | up a bit | up a lot | increasing"
             " | increases", "more than before"),
                        "less": (by_how_much("less") + " | fewer | down a bit | down a lot | not as"
                                             " | not as much | not so much | reduced"
                                             " | reducing",
                                 "less than before")}),
    *entries("filler", {"": ("in | on | at | the | of | into | out of | to | a | an | is | are | with | and | & | car"
                             " | corner | corners | turns | every | severity | than before | than last run | too"
                             " | than the last run | too much | than the run before | than previous run | from"
                             " | than the previous run | than last time | since last run | since the last run"
                             " | feels | feel | feeling | gets | get | getting"
                             " | has | have | got | it | i | we | there | it's | there's | through | both | wheel"
                             " | wheels | now | just | some | does | do | only | she | he | for"
                             " | temps | temp | temperatures | driver | says | said | reports | complains"
                             " | complains of | about"
                             " | sev | i've | i'm | im | we've | they | they're | he's | she's | really"
                             " | all the way | all the way through | throughout | all through | whole corner"
                             " | all four | main | main problem | main issue | main complaint | biggest problem"
                             " | biggest issue | starts | begins | starts with | begins with | briefly | mainly"
                             " | mostly | limiting factor | fighting | fights | both sides | especially"
                             " | can feel | can hear | stability | stab | on me | on him"
                             " | going into | coming into | heading into | car's"
                             " | coming out of | coming off"
                             " | particularly | also | sort of | kind of"
                             " | we're | is back | are back | starting to | starts to | started to | start to"
                             " | begins to | beginning to"
                             " | something | tendency | tendency to | only problem | only issue | only complaint"
                             " | only thing | problem is | issue is | worst | worst in | worst at", "")}),
)  # fmt: skip
