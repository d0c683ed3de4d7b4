// Made from the models of the wire by tests/screen/make_types.py: change those, then run it.

export interface AdviceState {
  type: "advice_state";
  id: string;
  t: number;
  active: boolean;
  /** why it was asked for */
  asked: string;
  /** all musts of all cars fit with the plan as it stands */
  musts_chance: number;
  /** at most three, best first */
  proposals: Proposal[];
  /** why nothing is proposed, in a sentence */
  problem?: string | null;
  /** False: better plans may exist, the search was cut short */
  exact: boolean;
  because?: string | null;
}

export interface Alert {
  type: "alert";
  id: string;
  t: number;
  car?: string | null;
  kind: "overrun" | "switch_wrong" | "switch_unverified" | "feed_stale" | "car_silent" | "clock_unknown" | "fuel_short" | "fuel_to_go_on" | "release_overdue" | "in_overdue" | "answer_owed" | "plan_file" | "timetable" | "curfew" | "driver_laps" | "driver_limit" | "car_limit" | "many_alerts" | "misses_flag" | "not_as_told" | "stayed_out" | "on_another_run" | "pace_under_red" | "tyre_hot" | "tyre_cold" | "tyre_pressure_high" | "tyre_pressure_low";
  priority: "high" | "medium" | "low";
  active: boolean;
  acknowledged: boolean;
  text: string;
  help: string;
  since_s: number;
  because?: string | null;
  /** the switches that it is about, each with its own words */
  switches: Record<string, string>;
}

export interface Answered {
  type: "answered";
  id: string;
  t: number;
  because: string;
  car: string;
  effect: string;
}

export interface Arrival {
  place: string;
  at_s: number;
}

export interface Ask {
  action: "none" | "box" | "stay_out" | "set_switch" | "check_switches" | "procedure" | "lap_kind" | "leave" | "fire_up" | "slow" | "return_to_pits" | "resume";
  switch?: string | null;
  position?: string | number | boolean | null;
  /** for check_switches: switch to position */
  positions: Record<string, string | number | boolean>;
  procedure?: string | null;
  item?: string | null;
  arguments: Record<string, string | number | boolean>;
  lap_kind?: "out" | "timed" | "cool" | "in" | "installation" | null;
}

export interface CallPart {
  text: string;
  say_from_s: number;
  spoken_s: number;
}

export interface CarCrossed {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "car_crossed";
  car: string;
  loop: string;
  lap?: number | null;
  lap_time_s?: number | null;
  sector_time_s?: number | null;
  speed_mps?: number | null;
  compound?: string | null;
  tyre_age?: number | null;
}

export interface CarNear {
  car: string;
  gap_s: number;
  kind: "out" | "timed" | "cool" | "in" | "installation";
}

export interface CarOutlook {
  car: string;
  /** that every must-run still to come fits */
  musts_chance: number;
  runs: RunOutlook[];
  spare_q50_s: number;
  spare_q10_s?: number | null;
  spare_q90_s?: number | null;
  next_lap?: NextLap | null;
  in_lap?: InLapLimit | null;
  limits: LimitOutlook[];
  comparisons: ComparisonOutlook[];
  /** why there is less to say than usual, in a sentence */
  problem?: string | null;
}

export interface CarPitted {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "car_pitted";
  car: string;
  where: "entry" | "exit";
}

export interface CarPositioned {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "car_positioned";
  car: string;
  distance_m: number;
  speed_mps?: number | null;
}

export interface CarSighted {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "car_sighted";
  car: string;
  share: number;
}

export interface ChannelReported {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "channel_reported";
  car: string;
  talking: "engineer" | "driver" | "nobody";
}

export interface ClockReported {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "clock_reported";
  remaining_s: number;
  running: boolean;
  rate: number;
}

export interface ClockState {
  type: "clock_state";
  id: string;
  t: number;
  remaining_s: number;
  running: boolean;
  rate: number;
  status: "waiting" | "green" | "yellow" | "slow" | "red" | "finished" | "closed";
  yellow_sectors: string[];
  pit_exit: "open" | "closed";
  /** the window that runs, or that comes next while waiting */
  window?: string | null;
}

export interface CommandGiven {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "command_given";
  car: string;
  command: "said" | "skip" | "defer" | "repeat" | "confirm" | "extend" | "shorten" | "drop" | "amend" | "adopt" | "decline" | "switch_plan" | "advise" | "box" | "quiet" | "keep_in" | "let_go" | "take_over" | "cross" | "pit" | "status" | "clock" | "pit_exit" | "set_car" | "set_switch" | "set_tyres" | "set_fuel" | "undo" | "comment" | "seen" | "asked" | "answered" | "acknowledge" | "shelve";
  by: string;
  /** the words of a comment or a question; why, for a change */
  text?: string | null;
  /** for comment: the one that gets its words or remarks now */
  comment?: number | null;
  /** for comment: what it says, typed ('pitwall comment --words'); with the same words in text it is read if it can be, else kept as words */
  shorthand?: string | null;
  /** for comment: what it says, in tags */
  remarks?: Remark[] | null;
  /** call id, or none for the call now due */
  call?: string | null;
  /** for answered: which; what waits longest when left out */
  question?: number | null;
  alert?: string | null;
  /** for shelve: how long; ten minutes left out */
  for_s?: number | null;
  /** for seen: which role of the crew has seen the plan */
  role?: string | null;
  run?: string | null;
  item?: string | null;
  laps?: number | null;
  /** for amend */
  changes: (InsertRun | MoveRun | SwapRuns | InsertItem | MoveItem | SwapItem | SetLaps | SetRunTyres | SetRunFuel | SetRunSwitch | SetRunDriver | DropRun | DropItem)[];
  /** for adopt and decline */
  proposal?: string | null;
  /** for switch_plan */
  alternate?: "dry" | "wet" | "short" | null;
  /** the revision of the plan that the person saw; refused when it changed since */
  revision?: number | null;
  /** for undo: the last command of this name is meant, however long ago it was given */
  of?: string | null;
  /** for cross; the line when left out */
  loop?: string | null;
  /** for cross: a press of the line was forgotten; it is put into the last lap that took about two */
  forgotten: boolean;
  /** for pit */
  where?: "entry" | "exit" | null;
  status?: "waiting" | "green" | "yellow" | "slow" | "red" | "finished" | "closed" | null;
  /** for status: these marshal sectors only */
  sectors: string[];
  /** for status: a slow period about to end */
  ending: boolean;
  remaining_s?: number | null;
  /** for clock: does it count down; as it was when left out */
  running?: boolean | null;
  pit_exit?: "open" | "closed" | null;
  opens_at_s?: number | null;
  /** for set_car: the kind of the running lap */
  lap_kind?: "out" | "timed" | "cool" | "in" | "installation" | null;
  /** a lap's number in its run, 1 for the out-lap; for set_car the running one, for comment any */
  lap?: number | null;
  /** for set_car: the car stands in its garage, or is out */
  in_garage?: boolean | null;
  switch?: string | null;
  position?: string | number | boolean | null;
  tyres?: string | null;
  tyre_laps?: number | null;
  fuel_kg?: number | null;
}

export interface Comment {
  /** its number, for the command that completes it */
  comment: number;
  /** session second at which it was said */
  t: number;
  /** who noted it */
  by: string;
  /** free text: what stands beside the remarks, or all of it */
  text: string;
  /** the line of which remarks and text were read, as somebody typed it */
  typed: string;
  run?: string | null;
  /** id of the command that noted it */
  because?: string | null;
  /** who said it */
  driver?: string | null;
  /** which lap of the run, in words */
  lap?: string | null;
  /** the lap's number in the session; none in the garage */
  lap_number?: number | null;
  lap_kind?: "out" | "timed" | "cool" | "in" | "installation" | null;
  remarks: Remark[];
  /** who gave it its remarks last */
  tagged_by?: string | null;
}

export interface CommentNoted {
  type: "comment_noted";
  id: string;
  t: number;
  car: string;
  comment: Comment;
  taken_back: boolean;
}

export interface ComparisonOutlook {
  run: string;
  against: string;
  /** none: too few laps for any */
  resolves_s?: number | null;
  with_two_more_s?: number | null;
  text: string;
}

export interface Corrected {
  type: "corrected";
  id: string;
  t: number;
  car?: string | null;
  /** id of the fact or command that brought the better evidence */
  because: string;
  text: string;
}

export interface DataWindow {
  item: string;
  do: string;
  run: string;
  /** of the car, as in the lap table */
  lap_number: number;
  /** which lap of the run, in words */
  lap: string;
  /** reckoned: neither end of the lap was seen */
  lap_evidence: "positions" | "crossings" | "reckoned" | "circuit" | "plan";
  what: "hold" | "lap" | "lane";
  place?: string | null;
  from_s: Uncertain;
  to_s: Uncertain;
  /** of from_s; from_time adds the clock of that machine */
  from_evidence: "positions" | "crossings" | "reckoned" | "circuit" | "plan";
  to_evidence: "positions" | "crossings" | "reckoned" | "circuit" | "plan";
  /** time of day of from_s.value */
  from_time?: string | null;
  to_time?: string | null;
  /** none on a circuit without geometry */
  from_m?: Uncertain | null;
  /** beyond the length of the lap where it spans the line */
  to_m?: Uncertain | null;
  /** of from_m and to_m */
  place_evidence?: "positions" | "crossings" | "reckoned" | "circuit" | "plan" | null;
  /** mean over the window */
  speed_mps?: Uncertain | null;
  speed_evidence?: "positions" | "crossings" | "reckoned" | "circuit" | "plan" | null;
  switches: SwitchAt[];
  /** of the window as a whole: the best that there is */
  evidence: "positions" | "crossings" | "plan";
  /** the evidence in words: how many positions, which loops */
  evidence_text: string;
  outcome: "done" | "probably_done" | "done_badly" | "not_done" | "to_come";
  /** why its data are spoilt, in words; empty where nothing is known to */
  spoilt: string;
}

export interface DeskState {
  type: "desk_state";
  id: string;
  t: number;
  car: string;
  state: "garage" | "pit_lane" | "out" | "timed" | "cool" | "in" | "out_in" | "stopped";
  run: string | null;
  lap_number: number;
  lap_kind: "out" | "timed" | "cool" | "in" | "installation" | null;
  lap_of_run?: string | null;
  quiet: boolean;
  kept_in: boolean;
  prompts: Prompt[];
  switches: SwitchCard[];
  arrivals: Arrival[];
  /** none while the car is not on one */
  running_lap?: RunningLap | null;
  /** seconds in hand to start one more timed lap */
  flag_margin_s?: number | null;
  last_lap_s?: number | null;
  best_lap_s?: number | null;
  /** who took over this car's radio last */
  engineer?: string | null;
  /** who sits in the car, or will on the next run */
  driver?: string | null;
  /** who has to get out for that driver */
  driver_change?: string | null;
  /** the car's switches stand for a wet track */
  wet: boolean;
  /** the set on the car, by its label in the plan */
  tyres?: string | null;
  /** laps of that set so far */
  tyre_laps?: number | null;
  /** about how much is in the car */
  fuel_kg?: number | null;
  /** how calls reach the driver: radio or boards */
  medium: "two_way" | "one_way" | "board";
  /** where the car is rests on what was entered by hand */
  by_hand: boolean;
  /** answers owed to the driver, the oldest first */
  questions: OpenQuestion[];
  /** the driver's latest ones, oldest first */
  comments: Comment[];
}

export interface DriverRunning {
  driver: string;
  laps: number;
  running_s: number;
  /** laps of the runs that are still to be done */
  planned_laps: number;
  minimum_laps?: number | null;
  minimum_s?: number | null;
  most_laps?: number | null;
  most_s?: number | null;
}

export interface DropItem {
  do: "drop_item";
  run: string;
  item: string;
}

export interface DropRun {
  do: "drop_run";
  run: string;
}

export interface Expected {
  median_s: number;
  low_s: number;
  high_s: number;
}

export interface FieldCar {
  car: string;
  state: "garage" | "pit_lane" | "out" | "timed" | "cool" | "in" | "out_in" | "stopped";
  lap_number: number;
  last_lap_s?: number | null;
  best_lap_s?: number | null;
}

export interface FieldState {
  type: "field_state";
  id: string;
  t: number;
  cars: FieldCar[];
}

export interface ForecastState {
  type: "forecast_state";
  id: string;
  t: number;
  car: string;
  plan_revision: number;
  outlook: CarOutlook;
  /** must-runs that are over with too little driven: no chance is of these any more */
  musts_lost: string[];
}

export interface Health {
  type: "health";
  id: string;
  t: number;
  state: "online" | "offline";
  version: string;
  lag_s?: number | null;
  feed_age_s?: number | null;
  /** session seconds since each feed that ever spoke was heard, by its name */
  feed_ages_s: Record<string, number>;
  store?: string | null;
  broker?: string | null;
  refused_payloads: number;
  store_fails: boolean;
  queued: number;
  dropped: number;
  poisoned: number;
  sink_failures: number;
  /** the turns that the circuit has, for who types comments */
  turns: number[];
}

export interface InLapLimit {
  slowest_s: number;
  reason: "regulations" | "next release";
  /** that the in-lap is no slower */
  chance: number;
}

export interface InsertItem {
  do: "insert_item";
  run: string;
  item: Item;
}

export interface InsertRun {
  do: "insert_run";
  /** as in a plan file, or in one line: 'long: out, 8 timed, in · B2 · 40 kg · should' */
  run: Run;
  after?: string | null;
}

export interface Item {
  do: string;
  on: LapChoice[];
  after?: string | null;
  at?: string | null;
  /** what it waits for, beside its laps and its place */
  when?: ItemWhen | null;
  with: Record<string, string | number | boolean>;
  want: "must" | "should" | "could";
  put_back: boolean;
  /** reason; required when put_back is false */
  why?: string | null;
  times: number;
}

export interface ItemOutlook {
  item: string;
  chance: number;
}

export interface ItemProgress {
  item: string;
  do: string;
  lap: string;
  want: "must" | "should" | "could";
  state: "planned" | "called" | "done" | "probably_done" | "not_done" | "dropped";
  reason?: string | null;
  /** session second at which this state was reached */
  t?: number | null;
}

export interface ItemRow {
  item: string;
  do: string;
  run: string;
  /** which lap of the run, in words */
  lap: string;
  want: "must" | "should" | "could";
  place?: string | null;
  arguments: Record<string, string | number | boolean>;
  outcome: "done" | "probably_done" | "done_badly" | "not_done" | "to_come";
  /** why it was not done, or how it is known that it was */
  reason: string;
  /** session second at which this was noted: told, confirmed or settled; may be before the data begin */
  t?: number | null;
  /** how much it is wanted from now on, where that is more than the plan says: a must run was for it, and brought nothing of what it was for */
  next_want?: "must" | "should" | "could" | null;
  /** it only makes a car ready for laps that were driven without it */
  too_late: boolean;
}

export interface ItemWhen {
  /** a moment of the session: '+0:20:00' or seconds */
  not_before?: number | null;
  /** another item of the run, by its procedure */
  after_item?: string | null;
}

export interface LadderState {
  type: "ladder_state";
  id: string;
  t: number;
  active: boolean;
  /** session second of the red flag */
  red_s: number;
  rungs: Rung[];
}

export interface LapChoice {
  kind: "out" | "timed" | "cool" | "in" | "installation";
  numbers: number[];
}

export interface LapJudged {
  type: "lap_judged";
  id: string;
  t: number;
  car: string;
  lap_number: number;
  at: "loop" | "line" | "pit";
  loop?: string | null;
  kind: "out" | "timed" | "cool" | "in" | "installation";
  lap_time_s?: number | null;
  run?: string | null;
  start_s?: number | null;
}

export interface LapRow {
  car: string;
  number: number;
  run?: string | null;
  /** from 1, every out-lap included; a run that was left for once more counts on */
  lap_of_run?: number | null;
  kind: "out" | "timed" | "cool" | "in" | "installation";
  start_s: number;
  end_s: number;
  /** time of day at which it began */
  start_time?: string | null;
  /** only for a lap from line to line */
  lap_time_s?: number | null;
  sectors: Sector[];
  driver?: string | null;
  /** the set, by its label in the plan */
  tyres?: string | null;
  /** as the feed names it, else of the set */
  compound?: string | null;
  /** laps of the set as the lap began */
  tyre_laps?: number | null;
  /** estimate as the lap began */
  fuel_kg?: number | null;
  /** every status that touched it, in order */
  status: ("waiting" | "green" | "yellow" | "slow" | "red" | "finished" | "closed")[];
  clean: "clean" | "traffic" | "yellow" | "mistake" | "told" | "cool_down" | "aborted" | "not_complete" | "unknown";
  /** the loop that ends the stretch on which most was lost */
  clean_at: string;
  /** of a lap that is not clean as it was told: the procedure */
  clean_for: string;
  /** lost on that stretch against the rest of the lap */
  lost_s?: number | null;
  /** of a timed lap: switches that telemetry showed out of place as it began, in words */
  switches_wrong: string[];
  /** of a timed lap: switches that nothing showed to be in place as it began, in words */
  switches_unverified: string[];
  /** the closest car ahead at any loop of the lap */
  car_ahead_s?: number | null;
  /** for timed laps, once the model knows enough */
  expected?: Expected | null;
  /** ends that nobody saw */
  inferred: ("start" | "end")[];
  /** a red flag held during it */
  stopped: boolean;
}

export interface LimitOutlook {
  kind: "fuel" | "tyres" | "laps" | "km";
  run: string;
  /** that it is hit before the flag */
  chance: number;
  /** laps of that run still to do before it */
  laps: number;
  at_q10_s?: number | null;
  at_q50_s?: number | null;
  at_q90_s?: number | null;
  text: string;
}

export interface MoveItem {
  do: "move_item";
  run: string;
  item: string;
  to?: string | null;
  on?: string | Record<string, number | number[]> | string[] | null;
}

export interface MoveRun {
  do: "move_run";
  run: string;
  after?: string | null;
}

export interface NextLap {
  starts_q10_s: number;
  starts_q50_s: number;
  starts_q90_s: number;
  /** seconds in hand before the flag; negative: too late */
  margin_q10_s: number;
  margin_q50_s: number;
  margin_q90_s: number;
  chance: number;
  /** of the timed lap after that one */
  one_more_margin_q50_s?: number | null;
  one_more_chance?: number | null;
}

export interface OpenQuestion {
  /** its number, for the command 'answered' */
  question: number;
  /** session second at which it was asked */
  asked_s: number;
  /** who noted it */
  by: string;
  /** what was asked, if somebody wrote it down */
  text?: string | null;
}

export interface PlanChanged {
  revision: number;
  t: number;
  by: string;
  what: string;
  why: string;
  /** `t` of the change that is taken back by this one */
  takes_back_t?: number | null;
}

export interface PlanState {
  type: "plan_state";
  id: string;
  t: number;
  car: string;
  revision: number;
  runs: RunProgress[];
  /** which alternate is driven; none: the plan itself */
  alternate?: string | null;
  /** the latest ones, oldest first */
  changes: PlanChanged[];
  /** the roles of the crew that the runs name, by name */
  seen: RoleSeen[];
  /** where several drive, or something is demanded */
  drivers: DriverRunning[];
  /** mileage of the car so far, where it is limited */
  km?: number | null;
}

export interface Prompt {
  type: "prompt";
  id: string;
  t: number;
  car: string;
  call: string;
  revision: number;
  kind: "session" | "safety" | "box" | "stop" | "release" | "brief" | "switch" | "procedure" | "run" | "pace" | "traffic" | "care" | "question" | "answer" | "ruling";
  text: string;
  short: string;
  place?: string | null;
  run?: string | null;
  /** which lap of the run, in words */
  lap?: string | null;
  say_from_s: number;
  say_by_s: number;
  act_at_s?: number | null;
  spoken_s: number;
  /** 100 is spoken first */
  priority: number;
  state: "planned" | "shown" | "due" | "said" | "unconfirmed" | "late" | "missed" | "skipped" | "withdrawn" | "done";
  reason?: string | null;
  /** id of the command that caused this */
  because?: string | null;
  caution?: string | null;
  /** why this call is better not made on this lap, such as a car close behind; unsaid, it is held back and tried on the next lap that allows it */
  against?: string | null;
  /** not before the car is seen to begin the lap on which it is said: shown, not due */
  after_line: boolean;
  /** how it is made: in full; in parts; in short; outside the stretches on which the driver can listen, because it cannot wait for the next */
  way: "full" | "parts" | "short" | "outside" | "outside_short";
  /** why it is not said in full where it is best said */
  way_reason?: string | null;
  /** for a call in parts: what is to be said now, and what remains, each with its moment */
  parts: CallPart[];
  /** how many parts of it were said; text is the next one */
  parts_said: number;
  /** one_way: nothing is read back; board: say_from_s and say_by_s are when it is hung out, and it is acted on within the lap after the pass */
  medium: "two_way" | "one_way" | "board";
  /** the lines on the board, top line first */
  board: string[];
  ask: Ask;
}

export interface Proposal {
  type: "proposal";
  /** what adopt and decline name in 'proposal' */
  id: string;
  t: number;
  car: string;
  active: boolean;
  /** where it comes from: a file by its name, or the forecast */
  source: string;
  /** what would change, one sentence each, in the trade's words */
  lines: string[];
  /** what to think of before taking it */
  warnings: string[];
  plan_revision: number;
  because?: string | null;
  /** whose plans it changes, where it may be several */
  cars: string[];
  /** what it changes, costs and buys */
  sentence?: string | null;
  /** what would not be done, or only in part */
  costs: string[];
  /** all musts of all cars fit then */
  musts_chance?: number | null;
  /** which 20 per cent change of a value would prefer another plan */
  flips?: string | null;
}

export interface Refused {
  type: "refused";
  id: string;
  t: number;
  because: string;
  car?: string | null;
  reason: string;
}

export interface ReleaseWindow {
  not_before?: number | null;
  not_after?: number | null;
  gap_ahead_s?: number | null;
}

export interface Remark {
  /** none: everywhere, or no one corner */
  turn?: number | null;
  phase?: "entry" | "mid" | "exit" | null;
  /** in corners of this speed class */
  speed?: "slow" | "medium" | "fast" | null;
  about: "balance" | "traction" | "braking" | "ride" | "tyres" | "engine" | "grip" | "steering";
  /** none: only whether it became better or worse is known */
  what?: "understeer" | "oversteer" | "snap" | "neutral" | "wheelspin" | "locking" | "unstable" | "long_pedal" | "weak" | "judder" | "grabs" | "bottoming" | "bouncing" | "harsh" | "soft" | "kerbs" | "cold" | "hot" | "worn" | "graining" | "blistering" | "flat_spot" | "vibration" | "flat" | "hesitation" | "surge" | "misfire" | "cut" | "rough_shift" | "low" | "good" | "heavy" | "light" | "kickback" | "pulls" | null;
  axle?: "front" | "rear" | null;
  side?: "left" | "right" | "inside" | "outside" | null;
  /** 1 is hardly felt, 5 cannot be driven */
  severity?: number | null;
  /** how sure the driver is */
  confidence?: "low" | "medium" | "high" | null;
  /** against the laps or runs before; gone: it is not there now */
  trend?: "better" | "worse" | "same" | "gone" | null;
}

export interface RoleSeen {
  role: string;
  revision?: number | null;
  by?: string | null;
  t?: number | null;
}

export interface Run {
  run: string;
  purpose: string;
  /** only in this window of the session: its name or number */
  window?: string | null;
  want: "must" | "should" | "could";
  value: number;
  laps: ("out" | "timed" | "cool" | "in" | "installation")[];
  tyres?: string | null;
  fuel_kg?: number | null;
  /** who drives it; the plan's driver when left out */
  driver?: string | null;
  release: ReleaseWindow;
  /** garage work after this run, before the next */
  after_garage_s: ThreePoint;
  crew: string[];
  switches: Record<string, string | number | boolean>;
  items: Item[];
  shorten_to?: number | null;
  before: string[];
  same_as?: string | null;
  group?: string | null;
  dry_only: boolean;
  /** other cars of the team that could do it as well */
  also_on: string[];
  /** what the driver is to comment on; else it is asked */
  feedback: ("balance" | "traction" | "braking" | "ride" | "tyres" | "engine" | "grip" | "steering")[];
  after_flag?: "allowed" | "only" | null;
  /** cut by the flag of a window: gone on with in the next one, or given up */
  cut_by_flag: "resume" | "give_up";
}

export interface RunDebrief {
  type: "run_debrief";
  id: string;
  t: number;
  car: string;
  /** none: the plan knows no run that it was on */
  run?: RunRow | null;
  items: ItemRow[];
  data_windows: DataWindow[];
  /** of this run, those of an earlier leaving for it included */
  laps: LapRow[];
  /** moved while it was out */
  switches: SwitchMove[];
  comments: Comment[];
  /** of this run */
  calls: number;
  /** said, or shown to be done, and never late or unconfirmed before */
  calls_in_time: number;
  /** late, missed or unconfirmed to the end */
  calls_doubtful: number;
}

export interface RunOutlook {
  run: string;
  want: "must" | "should" | "could";
  chance: number;
  end_q10_s: number;
  end_q50_s: number;
  end_q90_s: number;
  /** leave by then to keep the wanted confidence */
  last_release_s?: number | null;
  /** seconds in hand, negative: too late by so much; none: nothing can stop it */
  spare_q10_s?: number | null;
  spare_q50_s?: number | null;
  spare_q90_s?: number | null;
  /** timed laps that it still gets, of those to come */
  timed_q10?: number | null;
  timed_q50?: number | null;
  timed_q90?: number | null;
  items: ItemOutlook[];
}

export interface RunProgress {
  run: string;
  want: "must" | "should" | "could";
  state: "planned" | "next" | "running" | "done" | "cut" | "skipped" | "dropped";
  laps: ("out" | "timed" | "cool" | "in" | "installation")[];
  timed_wanted: number;
  timed_done: number;
  planned_span_s?: [number, number] | null;
  expected_span_s?: [number, number] | null;
  actual_span_s?: [number | null, number | null] | null;
  /** who drives it */
  driver?: string | null;
  /** True: it has no laps, and is done once the flag has fallen */
  after_flag: boolean;
  /** the only window of the session in which it may be done */
  window?: string | null;
  /** its tyre set, by its label in the plan */
  tyres?: string | null;
  /** the compound of that set */
  compound?: string | null;
  /** its fuel load at release */
  fuel_kg?: number | null;
  /** True: it was left for before, and the car leaves for it next with the tyres and fuel that it has; else its set is fitted and its fuel filled */
  goes_on: boolean;
  /** who works on the car after it */
  crew: string[];
  /** how long that work takes: quick, likely, slow */
  work_s?: [number, number, number] | null;
  items: ItemProgress[];
  reason?: string | null;
  /** False: it is over, and too little was driven to count as this run */
  counts: boolean;
}

export interface RunRow {
  run: string;
  purpose: string;
  want: "must" | "should" | "could";
  state: "planned" | "next" | "running" | "done" | "cut" | "skipped" | "dropped";
  reason: string;
  /** as the plan was first: 'out, 3 timed, in' */
  planned_laps: string;
  /** as the plan is at the end */
  laps: string;
  timed_wanted: number;
  timed_done: number;
  driver?: string | null;
  /** the set that its first lap began on; of a run that was not driven, as planned */
  tyres?: string | null;
  /** the same of the fuel */
  fuel_kg?: number | null;
  planned_tyres?: string | null;
  planned_fuel_kg?: number | null;
  /** as the first plan had it */
  planned_span_s?: [number, number] | null;
  stints: Stint[];
  best_lap_s?: number | null;
  /** clean timed laps on which no switch was seen to be wrong */
  clean_laps: number;
  median_clean_s?: number | null;
  /** done or probably done */
  items_done: number;
  /** of these the ones that are only probably done */
  items_probably: number;
  items: number;
  /** False: it is over, and too little was driven to count as this run */
  counts: boolean;
  /** must items that were not done, or whose data are spoilt */
  musts_left: number;
  /** of a run that counts: timed laps that were not driven, though no shorten_to says that fewer do */
  laps_left: number;
  /** what it was for the driver to comment on, and he has not, asked or not; of a run that drove a timed lap */
  unsaid: ("balance" | "traction" | "braking" | "ride" | "tyres" | "engine" | "grip" | "steering")[];
  /** the alternate that alone has this run, where the car went over to another plan since: it is not owed */
  only_in?: "dry" | "wet" | "short" | null;
}

export interface Rung {
  /** seconds from the red flag to the restart */
  restart_s: number;
  /** session second of that restart */
  at_s: number;
  /** all musts of all cars fit then */
  musts_chance: number;
  /** what the best plan then changes, costs and buys */
  sentence: string;
  /** what would change; none: the plan as it stands */
  lines: string[];
  /** garage work worth pulling forward for it, in a sentence */
  work?: string | null;
  /** from then on no restart leaves time for a timed lap */
  too_late: boolean;
}

export interface RunningLap {
  kind: "out" | "timed" | "cool" | "in" | "installation";
  begun_s: number;
  /** when it is expected to end: at the line, or in the pit lane */
  line_s: number;
  /** from and to; none where the circuit file gives no speeds */
  listen: [number, number][];
  /** where the car is at `t` of this message: share of a quick lap's time */
  here?: number | null;
  /** it is there within so many seconds in four cases of five; none while unknown */
  here_within_s?: number | null;
  /** the same of `line_s` */
  line_within_s?: number | null;
  /** the closest cars ahead and behind, within 45 s */
  others: CarNear[];
}

export interface Sector {
  loop: string;
  /** session second at which the loop was passed; none: not seen */
  t?: number | null;
  seconds?: number | null;
}

export interface SetLaps {
  do: "set_laps";
  run: string;
  laps: ("out" | "timed" | "cool" | "in" | "installation")[];
}

export interface SetRunDriver {
  do: "set_run_driver";
  run: string;
  driver: string;
}

export interface SetRunFuel {
  do: "set_run_fuel";
  run: string;
  fuel_kg: number;
}

export interface SetRunSwitch {
  do: "set_run_switch";
  run: string;
  switch: string;
  position: string | number | boolean;
}

export interface SetRunTyres {
  do: "set_run_tyres";
  run: string;
  tyres: string;
}

export interface StatusChanged {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "status_changed";
  status?: "waiting" | "green" | "yellow" | "slow" | "red" | "finished" | "closed" | null;
  scope: "all" | string[];
  pit_exit?: "open" | "closed" | null;
  opens_at_s?: number | null;
  /** a slow period about to end */
  ending: boolean;
}

export interface Stint {
  from_s: number;
  to_s?: number | null;
}

export interface SwapItem {
  do: "swap_item";
  run: string;
  item: string;
  new: Item;
}

export interface SwapRuns {
  do: "swap_runs";
  run: string;
  other: string;
}

export interface SwitchAt {
  switch: string;
  /** its name as the team speaks it */
  word: string;
  position: string | number | boolean;
  evidence: "measured" | "confirmed" | "told" | "unconfirmed" | "assumed";
  /** session second of the evidence; none: from the start */
  since_s?: number | null;
  /** it was moved inside the window; position is the first one */
  moved: boolean;
}

export interface SwitchCard {
  switch: string;
  word: string;
  wanted: string | number | boolean;
  believed?: string | number | boolean | null;
  measured?: string | number | boolean | null;
  verified: boolean;
  owed: boolean;
}

export interface SwitchMove {
  t: number;
  switch: string;
  word: string;
  position: string | number | boolean;
  before?: string | number | boolean | null;
  evidence: "measured" | "confirmed" | "told" | "unconfirmed" | "assumed";
  run?: string | null;
  lap_number?: number | null;
}

export interface SwitchReported {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "switch_reported";
  car: string;
  switch: string;
  position: string | number | boolean;
}

export interface ThreePoint {
  low_s: number;
  likely_s: number;
  high_s: number;
}

export interface TyreReported {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "tyre_reported";
  car: string;
  corner: "fl" | "fr" | "rl" | "rr";
  surface_c?: number | null;
  carcass_c?: number | null;
  pressure_kpa?: number | null;
}

export interface Uncertain {
  value: number;
  low: number;
  high: number;
}

export interface WeatherReported {
  id: string;
  /** session seconds when it happened; zero is the green light */
  t: number;
  type: "weather_reported";
  air_c?: number | null;
  track_c?: number | null;
  rain?: boolean | null;
}
