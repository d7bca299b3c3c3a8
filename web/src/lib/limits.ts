// What EBU R 103 says of a shot, in words.

import type { LimitsReport } from "../api/schema";
import { number } from "./format";

/** Source and delivered file against the limits of delivery. */
export function limitsInWords(before: LimitsReport | null, after: LimitsReport): string {
  if (after.over_nominal === 0 && (before?.over_nominal ?? 0) === 0) {
    return `EBU R 103: every one of ${after.frames} frames inside 0…100 %.`;
  }
  const pair = (of: (limits: LimitsReport) => number) => `${before ? `${of(before)} → ` : ""}${of(after)}`;
  const text = `EBU R 103, of ${after.frames} frames${before ? " before → after" : ""}: outside 0…100 % ${pair((l) => l.over_nominal)}, outside −5…105 % ${pair((l) => l.over_preferred)}, outside video codes ${pair((l) => l.over_total)}`;
  const worst = after.worst[0];
  if (!worst || after.over_nominal === 0) return `${text}.`;
  return `${text}; worst at ${worst.timecode ?? `frame ${worst.frame}`}: ${number(worst.nominal_pct, 1)} % of its area outside 0…100 %${worst.component ? `, mostly ${worst.component}` : ""}.`;
}
