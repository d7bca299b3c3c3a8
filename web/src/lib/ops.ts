// The operations of a fix, as they are sent.

import type { ShotView } from "../api/schema";
import type { Cdl } from "./cdl";

/** A soft range: 1 on a flat top, 0 outside, smooth flanks between. */
export interface Window {
  centre: number;
  width: number;
  softness: number;
}

/** Which colours a correction of skin alone acts on. */
export interface Key {
  coefficients: "bt601" | "bt709" | "bt2020";
  /** Degrees on the Cb/Cr plane. */
  hue: Window;
  /** Chroma magnitude, axes ±0.5. */
  saturation: Window;
  /** Luma, 1 = reference white. */
  level: Window;
}

export type Op =
  | ({ op: "cdl" } & Cdl)
  | { op: "keyed_cdl"; key: Key; cdl: Cdl }
  | { op: "shoulder" | "lut" | "process" | "limiter" };

/** The operations of the fix in force. */
export function opsOf(view: ShotView): Op[] {
  return (view.report.fix?.ops ?? []) as Op[];
}
