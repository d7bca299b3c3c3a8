// The run charts: every person's level and hue over the shots, before open, after filled, against the aim.

import type { Overview, OverviewShot, PersonPoint, Point } from "../api/schema";
import { type Band, type Layout, runs, xOf, yOf } from "../lib/chart";
import { clock } from "../lib/format";
import type { Inks } from "./colors";
import { filled, outline } from "./marks";

type Canvas = CanvasRenderingContext2D;

export interface ChartContent {
  film: Overview;
  shots: readonly OverviewShot[];
  /** Column of the selected shot, if it is shown. */
  selected: number | null;
  /** Whether the shots are in film order: then scenes, setups and times mean something. */
  inFilmOrder: boolean;
  starts: ReadonlyMap<number, number>;
}

const FONT = "system-ui, sans-serif";
/** Bands of levels higher than this have room for the values at both edges beside their name and aim. */
const APART = 58;

export function drawRunChart(g: Canvas, layout: Layout, content: ChartContent, inks: Inks): void {
  const { shots } = content;
  g.clearRect(0, 0, layout.width, layout.height);
  g.fillStyle = inks.paper;
  g.fillRect(0, 0, layout.width, layout.height);
  const last = Math.min(shots.length, Math.ceil(layout.first + layout.span));
  const visible = { from: Math.max(0, Math.floor(layout.first)), to: last };
  if (content.selected !== null) drawSelected(g, layout, content.selected, inks);
  g.save();
  g.beginPath();
  g.rect(layout.left, 0, layout.right - layout.left, layout.height);
  g.clip();
  if (content.inFilmOrder) drawScenes(g, layout, shots, inks);
  for (const band of layout.bands) drawBand(g, layout, band, shots, visible, inks);
  drawTimes(g, layout, content, visible, inks);
  g.restore();
  drawLabels(g, layout, content, inks);
}

function drawSelected(g: Canvas, layout: Layout, index: number, inks: Inks): void {
  const width = Math.max(layout.column, 3);
  const x = xOf(layout, index) - width / 2;
  if (x + width < layout.left || x > layout.right) return;
  g.fillStyle = inks.selected;
  g.fillRect(Math.max(x, layout.left), 26, width, layout.height - 26 - 18);
}

function drawScenes(g: Canvas, layout: Layout, shots: readonly OverviewShot[], inks: Inks): void {
  g.textBaseline = "alphabetic";
  g.textAlign = "left";
  const edge = (column: number) => layout.left + (column - layout.first) * layout.column;
  for (const scene of runs(shots, "scene")) {
    const [from, to] = [edge(scene.from), edge(scene.to)];
    if (to < layout.left || from > layout.right) continue;
    g.strokeStyle = inks.faint;
    g.lineWidth = 1;
    line(g, [from + 0.5, 2], [from + 0.5, layout.height - 20]);
    g.font = `600 12px ${FONT}`;
    g.fillStyle = inks.ink;
    const at = Math.max(from, layout.left) + 5;
    label(g, scene.name, at, 14, Math.min(to, layout.right) - at - 4);
  }
  g.strokeStyle = inks.faint;
  for (const setup of runs(shots, "setup")) {
    const [from, to] = [edge(setup.from) + 2, edge(setup.to) - 2];
    if (to < layout.left || from > layout.right || to - from < 2) continue;
    g.beginPath();
    g.moveTo(from, 28);
    g.lineTo(from, 23);
    g.lineTo(to, 23);
    g.lineTo(to, 28);
    g.stroke();
  }
}

function drawBand(
  g: Canvas,
  layout: Layout,
  band: Band,
  shots: readonly OverviewShot[],
  visible: { from: number; to: number },
  inks: Inks,
): void {
  const r = Math.min(Math.max(layout.column * 0.28, 1.6), 4.2);
  const entries: { index: number; person: PersonPoint }[] = [];
  for (let index = visible.from; index < visible.to; index += 1) {
    const person = shots[index]!.people.find((p) => p.person === band.person);
    if (person) entries.push({ index, person });
  }
  drawAims(g, layout, band, entries, inks);
  // One path for all of a kind: thousands of marks in a few strokes.
  const before = new Path2D();
  const thin = new Path2D();
  const open = new Path2D();
  const full = new Path2D();
  const rings = new Path2D();
  for (const { index, person } of entries) {
    const x = xOf(layout, index);
    const from = value(band, person.before);
    const to = value(band, person.after);
    if (from !== null) {
      const y = yOf(band, from);
      before.moveTo(x + r, y);
      before.arc(x, y, r, 0, 2 * Math.PI);
      if (to !== null) {
        const end = yOf(band, to);
        if (Math.abs(end - y) > 2 * r) {
          const way = Math.sign(end - y);
          thin.moveTo(x, y + way * r);
          thin.lineTo(x, end);
        }
      }
    }
    const now = to ?? from;
    if (now === null) continue;
    const point = to !== null ? person.after : person.before;
    const y = yOf(band, now);
    whisker(thin, layout, band, x, now, point);
    drift(thin, layout, band, x, now, person.before);
    if (to === null) continue;
    const path = filled(person.state) ? full : open;
    outline(path, person.state, x, y, r);
    if (person.state === "proved" && layout.column > 7) {
      rings.moveTo(x + r + 2.2, y);
      rings.arc(x, y, r + 2.2, 0, 2 * Math.PI);
    }
  }
  g.lineWidth = 1;
  g.strokeStyle = inks.quiet;
  g.globalAlpha = 0.55;
  g.stroke(thin);
  g.globalAlpha = 1;
  g.fillStyle = inks.paper;
  g.stroke(before);
  g.fillStyle = inks.ink;
  g.fill(full);
  g.strokeStyle = inks.ink;
  g.stroke(rings);
  g.lineWidth = 1.6;
  g.fillStyle = inks.paper;
  g.fill(open);
  g.stroke(open);
}

function value(band: Band, point: Point | null | undefined): number | null {
  if (!point) return null;
  return band.kind === "level" ? point.level_pct : (point.hue_deg ?? null);
}

/** Expanded uncertainty (k = 2) up and down. */
function whisker(path: Path2D, layout: Layout, band: Band, x: number, at: number, point: Point | null | undefined): void {
  const u = band.kind === "level" ? point?.level_pct_u : point?.hue_deg_u;
  if (!u || layout.column < 6) return;
  const [top, bottom] = [yOf(band, at + 2 * u), yOf(band, at - 2 * u)];
  if (bottom - top < 3) return;
  path.moveTo(x, top);
  path.lineTo(x, bottom);
  for (const y of [top, bottom]) {
    path.moveTo(x - 2, y);
    path.lineTo(x + 2, y);
  }
}

/** From where the reading began in the shot to where it ended. */
function drift(path: Path2D, layout: Layout, band: Band, x: number, at: number, point: Point | null | undefined): void {
  const change = band.kind === "level" ? point?.drift_level_pct : point?.drift_hue_deg;
  if (!change || layout.column < 10) return;
  const half = Math.min(layout.column * 0.42, 11);
  const [from, to] = [yOf(band, at - change / 2), yOf(band, at + change / 2)];
  if (Math.abs(to - from) < 1.5) return;
  path.moveTo(x - half, from);
  path.lineTo(x + half, to);
}

/** Aims that stay the same are one piece: its width as a band, its centre as a line. */
function drawAims(
  g: Canvas,
  layout: Layout,
  band: Band,
  entries: readonly { index: number; person: PersonPoint }[],
  inks: Inks,
): void {
  let piece: { from: number; to: number; centre: number; low: number; high: number } | null = null;
  const draw = () => {
    if (!piece) return;
    const left = layout.left + (piece.from - layout.first) * layout.column;
    const right = layout.left + (piece.to - layout.first) * layout.column;
    const [top, bottom] = [yOf(band, piece.high), yOf(band, piece.low)];
    g.fillStyle = inks.band;
    g.fillRect(left, top, right - left, Math.max(bottom - top, 1));
    g.strokeStyle = inks.quiet;
    g.globalAlpha = 0.6;
    g.lineWidth = 1;
    const y = Math.round(yOf(band, piece.centre)) + 0.5;
    line(g, [left, y], [right, y]);
    g.globalAlpha = 1;
  };
  for (const { index, person } of entries) {
    const aim = aimOf(band, person);
    if (!aim) continue;
    if (piece && Math.abs(piece.centre - aim.centre) < 0.6 && index - piece.to < 12) {
      piece.to = index + 1;
    } else {
      draw();
      piece = { from: index, to: index + 1, ...aim };
    }
  }
  draw();
}

function aimOf(band: Band, person: PersonPoint): { centre: number; low: number; high: number } | null {
  const level = band.kind === "level";
  const centre = level ? person.aim_level_pct : person.aim_hue_deg;
  if (centre === null || centre === undefined) return null;
  const typed = level ? person.level_band_pct : person.hue_band_deg;
  if (typed) return { centre, low: typed[0]!, high: typed[1]! };
  const width = (level ? person.width_level_pct : person.width_hue_deg) ?? 0;
  return { centre, low: centre - width, high: centre + width };
}

function drawTimes(
  g: Canvas,
  layout: Layout,
  content: ChartContent,
  visible: { from: number; to: number },
  inks: Inks,
): void {
  g.font = `11px ${FONT}`;
  g.fillStyle = inks.quiet;
  g.textAlign = "left";
  g.textBaseline = "alphabetic";
  let free = -Infinity;
  for (let index = visible.from; index < visible.to; index += 1) {
    const shot = content.shots[index]!;
    const x = layout.left + (index - layout.first) * layout.column + 2;
    const text = content.inFilmOrder ? clock(content.starts.get(shot.id) ?? 0) : shot.shot;
    const width = g.measureText(text).width;
    if (x < free || x + width > layout.right || x < layout.left) continue;
    g.fillText(text, x, layout.height - 6);
    free = x + width + 26;
  }
}

function drawLabels(g: Canvas, layout: Layout, content: ChartContent, inks: Inks): void {
  g.textBaseline = "alphabetic";
  const right = layout.left - 10;
  for (const band of layout.bands) {
    g.textAlign = "left";
    if (band.kind === "level") {
      g.fillStyle = inks.ink;
      g.font = `600 13px ${FONT}`;
      label(g, band.person, 0, band.top + 12, right - (band.height > APART ? 36 : 4));
      const aim = content.film.people.find((p) => p.person === band.person)?.aim ?? "";
      if (band.height > 40) {
        g.font = `11px ${FONT}`;
        g.fillStyle = inks.quiet;
        label(g, `aim ${aim}`, 0, band.top + 27, right);
      }
    }
    g.font = `11px ${FONT}`;
    g.fillStyle = inks.quiet;
    g.textAlign = "right";
    // The values at both edges of a band: what its marks are measured by.
    const middle = band.top + band.height / 2 + 4;
    const [low, high] = [band.origin + band.low, band.origin + band.high].map((value) => value.toFixed(0));
    if (band.kind === "level" && band.height > APART) {
      g.fillText(`${high} %`, right, band.top + 12);
      g.fillText("level", right, Math.max(middle, band.top + 41));
      g.fillText(`${low} %`, right, band.top + band.height - 4);
    } else if (band.kind === "level") {
      g.fillText(`level ${low}–${high} %`, right, Math.max(middle, band.top + (band.height > 40 ? 41 : 27)));
    } else if (band.height > 44) {
      g.fillText(`greener ↑ ${high}°`, right, band.top + 14);
      g.fillText("hue", right, middle);
      g.fillText(`redder ↓ ${low}°`, right, band.top + band.height - 6);
    } else {
      g.fillText(`hue ${low}–${high}°`, right, middle - 5);
      g.fillText("↑ greener", right, middle + 7);
    }
  }
  if (content.inFilmOrder) {
    g.textAlign = "left";
    g.fillText("scene", 0, 14);
    g.fillText("setup", 0, 29);
  }
}

function label(g: Canvas, text: string, x: number, y: number, room: number): void {
  if (room < 12) return;
  let shown = text;
  while (shown.length > 1 && g.measureText(shown).width > room) {
    shown = `${shown.slice(0, shown.endsWith("…") ? -2 : -1)}…`;
  }
  g.fillText(shown, x, y);
}

function line(g: Canvas, [x, y]: [number, number], [u, v]: [number, number]): void {
  g.beginPath();
  g.moveTo(x, y);
  g.lineTo(u, v);
  g.stroke();
}
