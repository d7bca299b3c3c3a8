// A fix that follows the light: its gains in each frame, and where its keyframes lie.

import type { ShotView } from "../api/schema";

export type Gain = readonly [number, number, number];
export const NO_GAIN: Gain = [1, 1, 1];

type Moving = Pick<ShotView, "light"> & { report: Pick<ShotView["report"], "in_frame" | "out_frame" | "fix"> };

/** Whether the fix differs from frame to frame. */
export function moves(view: Moving): boolean {
  return view.light.length > 0;
}

/** The gains of R', G', B' that come before everything else that the fix does in a frame. */
export function gainIn(view: Moving, frame: number): Gain {
  const gain = view.light[frame - view.report.in_frame];
  return gain ? [gain[0]!, gain[1]!, gain[2]!] : NO_GAIN;
}

/** Source frames of the keyframes that lie in the shot. A setup's light is known beyond a shot's ends too. */
export function keyFrames(view: Moving): number[] {
  if (!moves(view)) return [];
  const { in_frame: from, out_frame: to, fix } = view.report;
  return (fix?.keyframes ?? []).map((key) => key.frame).filter((frame) => frame >= from && frame < to);
}

/** How the fix moves, in words; null where it is constant. */
export function movesInWords(view: Moving): string | null {
  if (!moves(view)) return null;
  const all = view.report.fix?.keyframes.length ?? 0;
  const inside = keyFrames(view);
  const where = inside.length > 0 ? `, at frame${inside.length === 1 ? "" : "s"} ${listed(inside)}` : "";
  const outside = all > inside.length ? `; ${all - inside.length} of them outside this shot` : "";
  return `moves: ${all} keyframe${all === 1 ? "" : "s"}${where}${outside}`;
}

function listed(frames: readonly number[]): string {
  const most = 12;
  if (frames.length > most) return `${frames.slice(0, most).join(", ")}, …`;
  return frames.length === 1 ? String(frames[0]) : `${frames.slice(0, -1).join(", ")} and ${frames[frames.length - 1]}`;
}
