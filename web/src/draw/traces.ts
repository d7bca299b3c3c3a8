// Densities of a frame: waveform, parade, chroma plane, histogram. Before is drawn as an outline of where it was, after as
// what it is now: one over the other.

import type { Inks } from "./colors";

type Canvas = CanvasRenderingContext2D;

export const COLUMNS = 360;
export const LEVELS = 240;
export const CELLS = 256;
/** Levels that the rows cover, and the edge of the chroma plane. */
export const LEVEL_RANGE = [-0.1, 1.1] as const;
export const CHROMA_RANGE = 0.55;

export interface Densities {
  waveform: Uint32Array;
  parade: [Uint32Array, Uint32Array, Uint32Array];
  chroma: Uint32Array;
  histogram: [Uint32Array, Uint32Array, Uint32Array, Uint32Array];
}

export type Kind = "waveform" | "parade" | "chroma" | "histogram";
export const KINDS: readonly Kind[] = ["waveform", "parade", "chroma", "histogram"];
export const KIND_NAMES: Record<Kind, string> = {
  waveform: "waveform",
  parade: "R'G'B' parade",
  chroma: "vectorscope",
  histogram: "histogram",
};

/** Before and after, as they are sent. */
export function densitiesFromBytes(bytes: ArrayBuffer): { before: Densities; after: Densities } {
  const counts = new Uint32Array(bytes);
  const third = COLUMNS / 3;
  const whole = COLUMNS * LEVELS + 3 * third * LEVELS + CELLS * CELLS + 4 * LEVELS;
  if (counts.length !== 2 * whole) throw new Error(`${counts.length} counts came, expected ${2 * whole}`);
  const take = (from: number): Densities => {
    let at = from;
    const next = (length: number) => {
      const part = counts.subarray(at, at + length);
      at += length;
      return part;
    };
    const waveform = next(COLUMNS * LEVELS);
    const parade: Densities["parade"] = [next(third * LEVELS), next(third * LEVELS), next(third * LEVELS)];
    const chroma = next(CELLS * CELLS);
    return { waveform, parade, chroma, histogram: [next(LEVELS), next(LEVELS), next(LEVELS), next(LEVELS)] };
  };
  return { before: take(0), after: take(whole) };
}

/** Brightness 0–1 of a count: bright where there are many, and never lost where there are few. */
export function brightness(count: number, full: number): number {
  return count === 0 ? 0 : Math.min(1, 0.16 + 0.84 * Math.sqrt(count / full));
}

function image(counts: Uint32Array, columns: number, rows: number, ink: readonly [number, number, number], strength: number): HTMLCanvasElement {
  const canvas = document.createElement("canvas");
  canvas.width = columns;
  canvas.height = rows;
  const g = canvas.getContext("2d");
  if (!g) return canvas;
  const picture = g.createImageData(columns, rows);
  let total = 0;
  let used = 0;
  for (const count of counts) {
    total += count;
    if (count > 0) used += 1;
  }
  const full = Math.max(1, (6 * total) / Math.max(used, 1));
  counts.forEach((count, i) => {
    picture.data[4 * i] = ink[0];
    picture.data[4 * i + 1] = ink[1];
    picture.data[4 * i + 2] = ink[2];
    picture.data[4 * i + 3] = 255 * strength * brightness(count, full);
  });
  g.putImageData(picture, 0, 0);
  return canvas;
}

const BEFORE: readonly [number, number, number] = [150, 150, 150];
const AFTER: readonly [number, number, number] = [245, 245, 245];

export interface TraceContent {
  kind: Kind;
  before: Densities;
  after: Densities;
  sides: "both" | "before" | "after";
  lineDeg: number;
  bandDeg: readonly [number, number];
}

export function drawTrace(g: Canvas, width: number, height: number, content: TraceContent, inks: Inks): void {
  g.clearRect(0, 0, width, height);
  g.fillStyle = "#262626";
  g.fillRect(0, 0, width, height);
  g.font = "11px system-ui, sans-serif";
  g.imageSmoothingEnabled = true;
  const sides = (["before", "after"] as const).filter((side) => content.sides === "both" || content.sides === side);
  const both = content.sides === "both";
  if (content.kind === "chroma") drawPlane(g, width, height, content, sides, both, inks);
  else if (content.kind === "histogram") drawHistogram(g, width, height, content, sides, inks);
  else drawLevels(g, width, height, content, sides, both, inks);
}

function drawLevels(g: Canvas, width: number, height: number, content: TraceContent, sides: readonly ("before" | "after")[], both: boolean, inks: Inks): void {
  const left = 40;
  const y = (level: number) => height * (1 - (level - LEVEL_RANGE[0]) / (LEVEL_RANGE[1] - LEVEL_RANGE[0]));
  for (const side of sides) {
    const found = content[side];
    const ink = side === "before" && both ? BEFORE : AFTER;
    const strength = side === "before" && both ? 0.6 : 1;
    if (content.kind === "waveform") {
      g.drawImage(image(found.waveform, COLUMNS, LEVELS, ink, strength), left, 0, width - left, height);
    } else {
      const each = (width - left) / 3;
      found.parade.forEach((plane, c) => {
        g.drawImage(image(plane, COLUMNS / 3, LEVELS, ink, strength), left + c * each + 3, 0, each - 6, height);
      });
    }
  }
  g.textAlign = "right";
  g.textBaseline = "middle";
  for (const level of [0, 0.25, 0.5, 0.75, 1]) {
    g.strokeStyle = inks.faint;
    g.beginPath();
    g.moveTo(left, Math.round(y(level)) + 0.5);
    g.lineTo(width, Math.round(y(level)) + 0.5);
    g.stroke();
    g.fillStyle = inks.quiet;
    g.fillText(`${level * 100} %`, left - 6, y(level));
  }
  if (content.kind === "parade") {
    g.textAlign = "left";
    ["R'", "G'", "B'"].forEach((name, c) => g.fillText(name, left + 8 + (c * (width - left)) / 3, 10));
  }
}

function drawPlane(g: Canvas, width: number, height: number, content: TraceContent, sides: readonly ("before" | "after")[], both: boolean, inks: Inks): void {
  const side = Math.min(width, height);
  const [x, y] = [(width - side) / 2, (height - side) / 2];
  for (const which of sides) {
    const dim = which === "before" && both;
    g.drawImage(image(content[which].chroma, CELLS, CELLS, dim ? BEFORE : AFTER, dim ? 0.6 : 1), x, y, side, side);
  }
  const [cx, cy] = [x + side / 2, y + side / 2];
  const scale = side / (2 * CHROMA_RANGE);
  g.strokeStyle = inks.faint;
  for (const chroma of [0.1, 0.2, 0.3, 0.4, 0.5]) {
    g.beginPath();
    g.arc(cx, cy, chroma * scale, 0, 2 * Math.PI);
    g.stroke();
  }
  const ray = (deg: number) => {
    g.beginPath();
    g.moveTo(cx, cy);
    g.lineTo(cx + 0.5 * scale * Math.cos((deg * Math.PI) / 180), cy - 0.5 * scale * Math.sin((deg * Math.PI) / 180));
    g.stroke();
  };
  for (const deg of content.bandDeg) ray(deg);
  g.strokeStyle = inks.ink;
  ray(content.lineDeg);
  g.fillStyle = inks.quiet;
  g.textAlign = "left";
  g.textBaseline = "middle";
  g.fillText("Cb →", x + side - 32, cy + 10);
  g.fillText("↑ Cr", cx + 5, y + 9);
}

function drawHistogram(g: Canvas, width: number, height: number, content: TraceContent, sides: readonly ("before" | "after")[], inks: Inks): void {
  const names = ["R'", "G'", "B'", "Y'"];
  const each = height / 4;
  const x = (level: number) => (width * (level - LEVEL_RANGE[0])) / (LEVEL_RANGE[1] - LEVEL_RANGE[0]);
  g.textBaseline = "top";
  g.textAlign = "left";
  names.forEach((name, c) => {
    const base = (c + 1) * each - 3;
    const most = Math.max(1, ...sides.map((side) => [...content[side].histogram[c as 0 | 1 | 2 | 3]].sort((a, b) => b - a)[4] ?? 1));
    for (const side of sides) {
      const counts = content[side].histogram[c as 0 | 1 | 2 | 3];
      g.beginPath();
      counts.forEach((count, i) => {
        const at = (width * (i + 0.5)) / LEVELS;
        const top = base - Math.min(1, Math.sqrt(count / most)) * (each - 12);
        if (i === 0) g.moveTo(at, top);
        else g.lineTo(at, top);
      });
      if (side === "after") {
        g.strokeStyle = inks.ink;
        g.lineWidth = 1.6;
      } else {
        g.strokeStyle = "#9a9a9a";
        g.lineWidth = 1;
      }
      g.stroke();
      g.lineWidth = 1;
    }
    g.fillStyle = inks.quiet;
    g.fillText(name, 4, c * each + 3);
  });
  g.strokeStyle = inks.faint;
  for (const level of [0, 1]) {
    g.beginPath();
    g.moveTo(x(level), 0);
    g.lineTo(x(level), height);
    g.stroke();
  }
}
