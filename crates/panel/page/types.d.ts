/** The rows of the control door, as `/v1/openapi.json` describes them. */

export type Place = [number, number];
export interface Bounds { least: number; most: number }
export interface Passage { enter: string; leave: string }
export interface Cover { section: string; entered: string | null }

export interface SectionRow {
  name: string;
  is: "unknown" | "free" | "sure" | "doubt" | "unexplained";
  trains: string[];
  granted: string | null;
  withdrawn: string | null;
}
export interface TrainRow {
  name: string;
  step: number;
  highest: number;
  direction: "forward" | "backward" | null;
  to: string | null;
  at: string | null;
  waits: string | null;
  held: string | null;
  trips: number;
  covers: Cover[];
  sure: boolean;
  nose: Bounds | null;
  speed: Bounds | null;
  ahead: Passage[];
  stop: string | null;
  "by-hand": boolean;
  functions?: number[];
  advice?: AdviceRow | null;
}
/** How a person at the throttle should drive now. */
export interface AdviceRow {
  "to-stand-mm": number | null;
  "speed-mm-s": number;
  "may-go": "forward" | "backward" | null;
  step: number;
}
export interface SignalRow { name: string; aspect: string; danger: boolean; lit: boolean }
export interface TurnoutRow { name: string; lies: "straight" | "diverging" | null; locked: boolean }
export interface AccessoryRow { name: string; on: boolean | null }
export interface InputRow { name: string; on: boolean | null }
export interface DoubtRow {
  number: number;
  trains: string[];
  sections: string[];
  alternatives: string[];
  "settled-by": string;
  "roll-call": string | null;
}
export interface RouteRow { signal: string; exit: string; stage: string; waits: string | null }
export interface DarkRow { district: string | null; because: string }
export interface SuspectRow { kind: string; name: string; because: string }
export interface QuestionRow { number: number; script: string; text: string; answers: string[] }
export interface WhyRow {
  detector: string;
  accounts: { share: number; words: string }[];
  "open-ended": boolean;
  evidence: { at: number; heard: string[] } | null;
}
export interface MoveRow { name: string; step: number; nose: Bounds | null; speed: Bounds | null }
export interface LineRow { at: number; weight: "ordinary" | "notable" | "grave"; text: string }

export interface Head {
  number: number;
  at: number;
  phase: "running" | "halted" | "ending";
  pace: number | null;
  "broken-rules": number;
}
export interface Lists {
  doubts?: DoubtRow[];
  routes?: RouteRow[];
  dark?: DarkRow[];
  "links-down"?: string[];
  suspects?: SuspectRow[];
  questions?: QuestionRow[];
}
export interface Rows {
  sections?: SectionRow[];
  trains?: TrainRow[];
  signals?: SignalRow[];
  turnouts?: TurnoutRow[];
  accessories?: AccessoryRow[];
  inputs?: InputRow[];
}
export interface Picture extends Head, Rows, Lists { kind: "picture"; layout: string; lines?: LineRow[] }
export interface News extends Head, Rows, Lists { kind: "news"; moves?: MoveRow[]; lines?: LineRow[] }
export type Message = Picture | News;

export interface PlanAspect { name: string; says: string; lamps: string[]; flashing: string[] }
export interface PlanSignal { name: string; at: string; aspects: PlanAspect[]; distant: boolean }
export interface PlanEnd { name: string; beyond: "joint" | "buffer-stop" | "off-layout" }
export interface PlanWay { ends: [string, string]; "length-mm": number | null; needs: Record<string, "straight" | "diverging"> }
export interface PlanSection { name: string; ends: PlanEnd[]; ways: PlanWay[]; detected: boolean; district: string | null }
export interface PlanStop { name: string; section: string; towards: string; "short-of-end-mm": number }
export interface PlanTrain { name: string; "length-mm": number | null }
export interface PlanDistrict { name: string; switched: boolean }
export interface Plan {
  name: string;
  sections: PlanSection[];
  joints: [string, string][];
  turnouts: string[];
  signals: PlanSignal[];
  stops: PlanStop[];
  trains: PlanTrain[];
  districts: PlanDistrict[];
}

export interface DrawnWay { ends: [string, string]; line: Place[]; "length-mm": number | null }
export interface DrawnSection { name: string; ways: DrawnWay[] }
export interface DrawnLink { ends: [string, string]; line: Place[] }
export interface DrawnTurnout { name: string; section: string; at: Place; straight: Place; diverging: Place }
export interface DrawnSignal { name: string; end: string; at: Place; facing: 1 | -1 }
export interface DrawnEdge { end: string; beyond: "buffer-stop" | "off-layout"; at: Place; facing: 1 | -1 }
export interface DrawnStop { name: string; section: string; towards: string; "short-of-end-mm": number }
export interface DrawnYard { lane: number; sections: string[] }
export interface Diagram {
  columns: number;
  lanes: number;
  sections: DrawnSection[];
  links: DrawnLink[];
  turnouts: DrawnTurnout[];
  signals: DrawnSignal[];
  edges: DrawnEdge[];
  stops: DrawnStop[];
  yards: DrawnYard[];
}

export interface StepRow { step: number; likely: number; least: number; most: number; runs: number }
export interface RateRow { likely: number; deviation: number }
export interface ProfileRow {
  train: string;
  at: number;
  forward: StepRow[];
  backward: StepRow[];
  gathers: RateRow;
  loses: RateRow;
  "km-h-per-mm-s": number | null;
}

export type Wish = { ask: string } & Record<string, unknown>;
export type Fate =
  | { fate: "accepted"; at: number }
  | { fate: "refused"; at: number; reason: string }
  | { fate: "failed"; reason: string };
