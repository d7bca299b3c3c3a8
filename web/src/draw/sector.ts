// The skin's own plot: a level strip, and a magnified sector of the Cb/Cr plane around the skin-tone line.

import type { SkinPixels } from "../api/schema";
import type { Inks } from "./colors";

type Canvas = CanvasRenderingContext2D;

export interface Key {
  hue: { centre: number; width: number; softness: number };
  saturation: { centre: number; width: number; softness: number };
  level: { centre: number; width: number; softness: number };
}

export interface SkinPlot {
  skin: readonly SkinPixels[];
  /** Skin-tone line and published band, degrees. */
  lineDeg: number;
  bandDeg: readonly [number, number];
  aims: readonly { levelPct: number; hueDeg: number | null; chroma: number | null; widthPct: number; widthDeg: number }[];
  /** The key of a correction of skin alone. */
  key: Key | null;
}

const FONT = "11px system-ui, sans-serif";
/** The sector runs so many degrees to each side of the skin-tone line. */
export const SPREAD_DEG = 38;

/** Where a chroma lies in the sector. Cb runs right, Cr up; neutral is below the middle of the picture. */
export function sectorPlace(
  geometry: { originX: number; originY: number; scale: number },
  cb: number,
  cr: number,
): [number, number] {
  return [geometry.originX + cb * geometry.scale, geometry.originY - cr * geometry.scale];
}

export function drawSkinPlot(g: Canvas, width: number, height: number, plot: SkinPlot, inks: Inks): void {
  g.clearRect(0, 0, width, height);
  g.font = FONT;
  const strip = Math.min(92, width * 0.28);
  drawStrip(g, strip, height, plot, inks);
  g.save();
  g.translate(strip + 8, 0);
  drawSector(g, width - strip - 8, height, plot, inks);
  g.restore();
}

function drawStrip(g: Canvas, width: number, height: number, plot: SkinPlot, inks: Inks): void {
  const [top, bottom] = [12, height - 14];
  const y = (pct: number) => bottom - (Math.min(Math.max(pct, 0), 100) / 100) * (bottom - top);
  g.textAlign = "right";
  g.textBaseline = "middle";
  const left = 40;
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
    // A bracket over the levels that the key takes.
    const { centre, width: flat, softness } = plot.key.level;
    const [low, high] = [100 * (centre - flat / 2 - softness), 100 * (centre + flat / 2 + softness)];
    g.strokeStyle = inks.ink;
    g.lineWidth = 1.5;
    g.beginPath();
    g.moveTo(width - 5, y(high));
    g.lineTo(width, y(high));
    g.lineTo(width, y(low));
    g.lineTo(width - 5, y(low));
    g.stroke();
    g.lineWidth = 1;
  }
}

function drawSector(g: Canvas, width: number, height: number, plot: SkinPlot, inks: Inks): void {
  let most = 0.08;
  for (const person of plot.skin) {
    for (const side of [person.before, person.after]) {
      const sizes = side.map((pixel) => Math.hypot(pixel[1]!, pixel[2]!)).sort((a, b) => a - b);
      most = Math.max(most, (sizes[Math.floor(0.98 * sizes.length)] ?? 0) * 1.12);
    }
  }
  for (const aim of plot.aims) if (aim.chroma) most = Math.max(most, aim.chroma * 1.15);
  const radians = (deg: number) => (deg * Math.PI) / 180;
  const [from, to] = [plot.lineDeg - SPREAD_DEG, plot.lineDeg + SPREAD_DEG];
  // The sector from neutral at the bottom: as large as fits.
  const wide = Math.cos(radians(Math.min(from, 90))) - Math.cos(radians(to));
  const scale = Math.min((height - 26) / most, (width - 8) / (wide * most));
  const geometry = {
    originX: width - 6 - Math.max(Math.cos(radians(from)), 0) * most * scale,
    originY: height - 10,
    scale,
  };
  const place = (deg: number, chroma: number) =>
    sectorPlace(geometry, chroma * Math.cos(radians(deg)), chroma * Math.sin(radians(deg)));
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
        const [x, y] = sectorPlace(geometry, pixel[1]!, pixel[2]!);
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
    const { hue, saturation } = plot.key;
    const reach = hue.width / 2 + hue.softness;
    const near = Math.max(0, saturation.centre - saturation.width / 2 - saturation.softness);
    const far = Math.min(most, saturation.centre + saturation.width / 2 + saturation.softness);
    wedge(hue.centre - reach, hue.centre + reach, near, far);
    g.stroke();
  }
  g.lineWidth = 1;
  g.fillStyle = inks.quiet;
  g.textBaseline = "alphabetic";
  const [lx, ly] = place(plot.lineDeg, most);
  g.textAlign = lx < width / 2 ? "left" : "right";
  g.fillText("skin-tone line", Math.min(Math.max(lx + (lx < width / 2 ? 6 : -6), 0), width), Math.max(ly + 2, 10));
  g.textAlign = "left";
  const [gx, gy] = place(to, most * 0.55);
  g.fillText("greener", Math.max(0, gx - 20), gy - 8);
  g.textAlign = "right";
  const [rx, ry] = place(from, most * 0.9);
  g.fillText("redder", Math.min(width - 2, rx + 44), ry);
}

function ray(g: Canvas, [x, y]: [number, number], [u, v]: [number, number]): void {
  g.beginPath();
  g.moveTo(x, y);
  g.lineTo(u, v);
  g.stroke();
}
