// The skin's own plot: a level strip, and a magnified sector of the Cb/Cr plane around the skin-tone line.

import type { SkinPixels } from "../api/schema";
import type { Key } from "../lib/ops";
import type { Inks } from "./colors";

type Canvas = CanvasRenderingContext2D;

export interface SkinPlot {
  skin: readonly SkinPixels[];
  /** Skin-tone line and published band, degrees. */
  lineDeg: number;
  bandDeg: readonly [number, number];
  aims: readonly { levelPct: number; hueDeg: number | null; chroma: number | null; widthPct: number; widthDeg: number }[];
  /** The key of a correction of skin alone. */
  key: Key | null;
  /** The key that the plot makes room for: while one is being moved, where it was. */
  room: Key | null;
}

/** Where everything of the plot lies. */
export interface SkinLayout {
  /** Levels: 0 % at the bottom, 100 % at the top. */
  strip: { left: number; right: number; top: number; bottom: number };
  sector: { left: number; width: number; originX: number; originY: number; scale: number; from: number; to: number; most: number };
}

const FONT = "11px system-ui, sans-serif";
/** The sector runs so many degrees to each side of the skin-tone line. */
export const SPREAD_DEG = 38;

const radians = (deg: number) => (deg * Math.PI) / 180;

export function skinLayout(width: number, height: number, plot: SkinPlot): SkinLayout {
  let most = 0.08;
  for (const person of plot.skin) {
    for (const side of [person.before, person.after]) {
      const sizes = side.map((pixel) => Math.hypot(pixel[1]!, pixel[2]!)).sort((a, b) => a - b);
      most = Math.max(most, (sizes[Math.floor(0.98 * sizes.length)] ?? 0) * 1.12);
    }
  }
  for (const aim of plot.aims) if (aim.chroma) most = Math.max(most, aim.chroma * 1.15);
  let [from, to] = [plot.lineDeg - SPREAD_DEG, plot.lineDeg + SPREAD_DEG];
  if (plot.room) {
    const { hue, saturation } = plot.room;
    const reach = hue.width / 2 + hue.softness + 6;
    [from, to] = [Math.min(from, hue.centre - reach), Math.max(to, hue.centre + reach)];
    most = Math.max(most, Math.min(saturation.centre + saturation.width / 2 + saturation.softness, 0.4) * 1.06);
  }
  [from, to] = [Math.max(from, 4), Math.min(to, 176)];
  const strip = Math.min(92, width * 0.28);
  const left = strip + 8;
  const wide = width - left;
  // The sector from neutral at the bottom: as large as fits.
  const [right, leftmost] = [Math.max(Math.cos(radians(from)), 0), Math.min(Math.cos(radians(to)), 0)];
  const scale = Math.min((height - 26) / most, (wide - 12) / ((right - leftmost) * most));
  return {
    strip: { left: 40, right: strip, top: 12, bottom: height - 14 },
    sector: { left, width: wide, originX: width - 6 - right * most * scale, originY: height - 10, scale, from, to, most },
  };
}

/** Where a level lies on the strip. */
export function levelY({ strip }: SkinLayout, pct: number): number {
  return strip.bottom - (Math.min(Math.max(pct, 0), 100) / 100) * (strip.bottom - strip.top);
}

/** The level at a height of the strip, percent. */
export function levelAt({ strip }: SkinLayout, y: number): number {
  return (100 * (strip.bottom - y)) / (strip.bottom - strip.top);
}

/** Where a hue and chroma lie in the sector; what lies beyond is brought to its edge. Cb runs right, Cr up. */
export function huePlace({ sector }: SkinLayout, deg: number, chroma: number): [number, number] {
  const middle = (sector.from + sector.to) / 2;
  const turn = ((((deg - middle) % 360) + 540) % 360) - 180;
  const hue = Math.min(Math.max(middle + turn, sector.from), sector.to);
  const far = Math.min(Math.max(chroma, 0), sector.most) * sector.scale;
  return [sector.originX + far * Math.cos(radians(hue)), sector.originY - far * Math.sin(radians(hue))];
}

/** The hue and chroma at a place. */
export function hueAt({ sector }: SkinLayout, x: number, y: number): { deg: number; chroma: number } {
  const [cb, cr] = [x - sector.originX, sector.originY - y];
  return { deg: (Math.atan2(cr, cb) * 180) / Math.PI, chroma: Math.hypot(cb, cr) / sector.scale };
}

export function drawSkinPlot(g: Canvas, width: number, height: number, plot: SkinPlot, inks: Inks): void {
  g.clearRect(0, 0, width, height);
  g.font = FONT;
  const layout = skinLayout(width, height, plot);
  drawStrip(g, layout, plot, inks);
  drawSector(g, layout, plot, inks);
}

function drawStrip(g: Canvas, layout: SkinLayout, plot: SkinPlot, inks: Inks): void {
  const { left, right: width } = layout.strip;
  const y = (pct: number) => levelY(layout, pct);
  g.textAlign = "right";
  g.textBaseline = "middle";
  for (const pct of [0, 25, 50, 75, 100]) {
    g.strokeStyle = inks.faint;
    g.beginPath();
    g.moveTo(left, y(pct));
    g.lineTo(width, y(pct));
    g.stroke();
    g.fillStyle = inks.quiet;
    g.fillText(pct === 100 ? "100 %" : String(pct), left - 5, y(pct));
  }
  for (const aim of plot.aims) {
    g.fillStyle = inks.band;
    const [from, to] = [y(aim.levelPct + aim.widthPct), y(aim.levelPct - aim.widthPct)];
    g.fillRect(left, from, width - left, Math.max(to - from, 1));
  }
  const bins = 100;
  const counted = (side: "before" | "after") => {
    const found = new Float64Array(bins);
    for (const person of plot.skin) {
      for (const pixel of person[side]) found[Math.min(Math.max(Math.floor(pixel[0]! * bins), 0), bins - 1)]! += 1;
    }
    // Smoothed a little: the pixels are a sample.
    const smooth = found.map((_, i) => ((found[i - 1] ?? 0) + 2 * found[i]! + (found[i + 1] ?? 0)) / 4);
    return { smooth, most: Math.max(1e-9, ...smooth) };
  };
  const drawn = (side: "before" | "after") => {
    const { smooth, most } = counted(side);
    g.beginPath();
    g.moveTo(left, y(0));
    smooth.forEach((count, i) => g.lineTo(left + (count / most) * (width - left - 6), y((i + 0.5) * (100 / bins))));
    g.lineTo(left, y(100));
    if (side === "after") {
      g.globalAlpha = 0.85;
      g.fillStyle = inks.ink;
      g.fill();
      g.globalAlpha = 1;
    } else {
      g.strokeStyle = inks.quiet;
      g.stroke();
    }
  };
  drawn("after");
  drawn("before");
  if (plot.key) {
    // A bracket over the levels that the key takes whole; its flanks lean out to where it ends.
    const { centre, width: flat, softness } = plot.key.level;
    const [low, high] = [100 * (centre - flat / 2), 100 * (centre + flat / 2)];
    g.strokeStyle = inks.ink;
    g.lineWidth = 1.5;
    g.beginPath();
    g.moveTo(width - 6, y(high + 100 * softness));
    g.lineTo(width, y(high));
    g.lineTo(width, y(low));
    g.lineTo(width - 6, y(low - 100 * softness));
    g.stroke();
    g.lineWidth = 1;
  }
}

function drawSector(g: Canvas, layout: SkinLayout, plot: SkinPlot, inks: Inks): void {
  const { from, to, most, originX, originY, scale } = layout.sector;
  const [start, end] = [layout.sector.left, layout.sector.left + layout.sector.width];
  const place = (deg: number, chroma: number) => huePlace(layout, deg, chroma);
  const wedge = (low: number, high: number, near: number, far: number) => {
    g.beginPath();
    for (let step = 0; step <= 24; step += 1) g.lineTo(...place(low + ((high - low) * step) / 24, far));
    for (let step = 24; step >= 0; step -= 1) g.lineTo(...place(low + ((high - low) * step) / 24, near));
    g.closePath();
  };
  g.fillStyle = inks.band;
  g.globalAlpha = 0.55;
  wedge(plot.bandDeg[0], plot.bandDeg[1], 0, most);
  g.fill();
  g.globalAlpha = 1;
  g.strokeStyle = inks.faint;
  g.lineWidth = 1;
  for (const chroma of [0.05, 0.1, 0.15, 0.2, 0.3].filter((c) => c < most)) {
    g.beginPath();
    for (let deg = from; deg <= to; deg += 2) g.lineTo(...place(deg, chroma));
    g.stroke();
  }
  for (const deg of [from, to]) ray(g, place(deg, 0), place(deg, most));
  const dots = (side: "before" | "after") => {
    for (const person of plot.skin) {
      for (const pixel of person[side]) {
        const [x, y] = [originX + pixel[1]! * scale, originY - pixel[2]! * scale];
        if (x < start || y < 0) continue;
        if (side === "after") g.fillRect(x - 1, y - 1, 2, 2);
        else g.strokeRect(x - 0.9, y - 0.9, 1.8, 1.8);
      }
    }
  };
  g.strokeStyle = inks.quiet;
  g.globalAlpha = 0.55;
  dots("before");
  g.fillStyle = inks.ink;
  g.globalAlpha = 0.8;
  dots("after");
  g.globalAlpha = 1;
  g.strokeStyle = inks.ink;
  g.lineWidth = 1.5;
  ray(g, place(plot.lineDeg, 0), place(plot.lineDeg, most));
  for (const aim of plot.aims) {
    if (aim.hueDeg === null || aim.chroma === null) continue;
    g.setLineDash([3, 3]);
    const half = Math.min(Math.max(aim.widthDeg, 1), 30);
    wedge(aim.hueDeg - half, aim.hueDeg + half, aim.chroma * 0.85, aim.chroma * 1.15);
    g.stroke();
    g.setLineDash([]);
  }
  if (plot.key) {
    // Drawn through: where the key takes a colour whole. Dotted: where it ends.
    const { hue, saturation } = plot.key;
    const shape = (deg: number, chroma: number) =>
      wedge(
        hue.centre - hue.width / 2 - deg,
        hue.centre + hue.width / 2 + deg,
        Math.max(0, saturation.centre - saturation.width / 2 - chroma),
        saturation.centre + saturation.width / 2 + chroma,
      );
    shape(0, 0);
    g.stroke();
    g.setLineDash([1, 3]);
    shape(hue.softness, saturation.softness);
    g.stroke();
    g.setLineDash([]);
  }
  g.lineWidth = 1;
  g.fillStyle = inks.quiet;
  g.textBaseline = "alphabetic";
  const [lx, ly] = place(plot.lineDeg, most);
  const first = lx < (start + end) / 2;
  g.textAlign = first ? "left" : "right";
  g.fillText("skin-tone line", Math.min(Math.max(lx + (first ? 6 : -6), start), end), Math.max(ly + 2, 10));
  g.textAlign = "left";
  const [gx, gy] = place(to, most * 0.55);
  g.fillText("greener", Math.max(start, gx - 20), Math.min(gy - 8, layout.strip.bottom - 12));
  g.textAlign = "right";
  const [rx, ry] = place(from, most * 0.9);
  g.fillText("redder", Math.min(end - 2, rx + 44), Math.min(ry, layout.strip.bottom - 12));
}

function ray(g: Canvas, [x, y]: [number, number], [u, v]: [number, number]): void {
  g.beginPath();
  g.moveTo(x, y);
  g.lineTo(u, v);
  g.stroke();
}
