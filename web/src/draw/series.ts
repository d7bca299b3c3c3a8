// Readings through time: level and hue by frame, before thin, after strong, against the aim.

import type { PersonPoint, PersonSeries, Series } from "../api/schema";
import { arc } from "../lib/angle";
import type { Inks } from "./colors";

type Canvas = CanvasRenderingContext2D;

export interface TimeContent {
  series: PersonSeries;
  point: PersonPoint | null;
  inFrame: number;
  outFrame: number;
  frame: number | null;
  /** Frames of the keyframes of a fix that follows the light. */
  keys: readonly number[];
}

export const TIME_LEFT = 52;

/** Where a frame lies. */
export function frameX(width: number, content: { inFrame: number; outFrame: number }, frame: number): number {
  const frames = Math.max(content.outFrame - content.inFrame - 1, 1);
  return TIME_LEFT + ((frame - content.inFrame) / frames) * (width - TIME_LEFT - 2);
}

/** The frame at a place. */
export function frameAt(width: number, content: { inFrame: number; outFrame: number }, x: number): number {
  const frames = content.outFrame - content.inFrame - 1;
  const share = (x - TIME_LEFT) / Math.max(width - TIME_LEFT - 2, 1);
  return content.inFrame + Math.round(Math.min(Math.max(share, 0), 1) * frames);
}

export function drawSeries(g: Canvas, width: number, height: number, content: TimeContent, inks: Inks): void {
  g.clearRect(0, 0, width, height);
  const half = height / 2;
  band(g, width, 2, half - 4, content, "level", inks);
  band(g, width, half + 2, half - 4, content, "hue", inks);
  drawKeys(g, width, height, content, inks);
  if (content.frame !== null) {
    const x = Math.round(frameX(width, content, content.frame)) + 0.5;
    g.strokeStyle = inks.ink;
    g.beginPath();
    g.moveTo(x, 0);
    g.lineTo(x, height);
    g.stroke();
  }
}

/** Where the fix has its keyframes: a dotted line across both bands, with a notch at either end. */
function drawKeys(g: Canvas, width: number, height: number, content: TimeContent, inks: Inks): void {
  g.strokeStyle = inks.quiet;
  g.lineWidth = 1;
  for (const key of content.keys) {
    const x = Math.round(frameX(width, content, key)) + 0.5;
    g.setLineDash([1, 3]);
    g.beginPath();
    g.moveTo(x, 0);
    g.lineTo(x, height);
    g.stroke();
    g.setLineDash([]);
    g.beginPath();
    for (const [y, way] of [[0, 1], [height, -1]] as const) {
      g.moveTo(x - 3, y);
      g.lineTo(x, y + 5 * way);
      g.lineTo(x + 3, y);
    }
    g.stroke();
  }
}

function values(series: Series, kind: "level" | "hue"): (number | null)[] {
  return kind === "level" ? series.level_pct : (series.hue_deg as (number | null)[]);
}

function band(g: Canvas, width: number, top: number, height: number, content: TimeContent, kind: "level" | "hue", inks: Inks): void {
  const { series, point } = content;
  const aim = (kind === "level" ? point?.aim_level_pct : point?.aim_hue_deg) ?? null;
  const wide = (kind === "level" ? point?.width_level_pct : point?.width_hue_deg) ?? 0;
  const sides = [values(series.before, kind), values(series.after, kind)] as const;
  const origin = kind === "hue" ? (aim ?? sides[1].find((v) => v !== null) ?? sides[0].find((v) => v !== null) ?? 123) : 0;
  const at = (v: number) => (kind === "hue" ? arc(origin, v) : v);
  const all = sides.flat().filter((v): v is number => v !== null).map(at);
  if (aim !== null) all.push(at(aim) - wide, at(aim) + wide);
  g.font = "11px system-ui, sans-serif";
  g.textAlign = "left";
  g.textBaseline = "middle";
  g.fillStyle = inks.quiet;
  g.fillText(kind, 0, top + height / 2);
  if (all.length === 0) return;
  let [low, high] = [Math.min(...all), Math.max(...all)];
  const least = kind === "level" ? 6 : 8;
  const missing = Math.max(0, least - (high - low)) / 2;
  [low, high] = [low - missing, high + missing];
  const y = (v: number) => top + height * (1 - (at(v) - low) / (high - low || 1));
  if (aim !== null) {
    g.fillStyle = inks.band;
    const [from, to] = [y(aim + wide), y(aim - wide)];
    g.fillRect(TIME_LEFT, from, width - TIME_LEFT, Math.max(to - from, 1));
  }
  const drawn = (frames: readonly number[], list: readonly (number | null)[], ink: string, thick: number) => {
    g.strokeStyle = ink;
    g.lineWidth = thick;
    g.beginPath();
    let last: number | null = null;
    list.forEach((v, i) => {
      const frame = frames[i]!;
      if (v === null) return;
      const x = frameX(width, content, frame);
      // Frames that were lost leave a gap.
      if (last === null || frame - last > 1) g.moveTo(x, y(v));
      else g.lineTo(x, y(v));
      last = frame;
    });
    if (list.length === 1 && list[0] !== null) g.rect(frameX(width, content, frames[0]!) - 1, y(list[0]!) - 1, 2, 2);
    g.stroke();
    g.lineWidth = 1;
  };
  drawn(series.before.frames, sides[0], inks.quiet, 1);
  drawn(series.after.frames, sides[1], inks.ink, 1.8);
}
