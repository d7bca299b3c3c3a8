// Where everything of the run charts lies. Plain numbers in, plain numbers out: no DOM.

import type { Overview, OverviewShot, PersonPoint, Point, ShotState } from "../api/schema";
import { arc, meanHue } from "./angle";

/** What is to be shown, and in which order. */
export interface Selection {
  /** States to show; empty shows all. */
  states: ReadonlySet<ShotState>;
  /** Film order, or the shot furthest from its aim first. */
  order: "film" | "distance";
}

/** How far the person worst off in a shot is from the aim, CIEDE2000; −1 where nobody can say. */
export function distance(shot: OverviewShot): number {
  let worst = -1;
  for (const person of shot.people) worst = Math.max(worst, person.de00_after ?? person.de00_before ?? -1);
  return worst;
}

/** The shots that are shown, in their order. */
export function shown(film: Overview, selection: Selection): OverviewShot[] {
  const chosen = film.shots.filter((shot) => selection.states.size === 0 || selection.states.has(shot.state));
  if (selection.order === "film") return chosen;
  return chosen
    .map((shot, index) => ({ shot, index, far: distance(shot) }))
    .sort((a, b) => b.far - a.far || a.index - b.index)
    .map((entry) => entry.shot);
}

/** How many shots are in each state. */
export function counts(film: Overview): Map<ShotState, number> {
  const found = new Map<ShotState, number>();
  for (const shot of film.shots) found.set(shot.state, (found.get(shot.state) ?? 0) + 1);
  return found;
}

/** Film time in seconds at which each shot begins, by its number. */
export function startTimes(film: Overview): Map<number, number> {
  const times = new Map<number, number>();
  let now = 0;
  for (const shot of film.shots) {
    times.set(shot.id, now);
    now += (shot.out_frame - shot.in_frame) / Math.max(shot.rate, 1);
  }
  return times;
}

/** One quantity of one person: a band of the chart. */
export interface Band {
  person: string;
  kind: "level" | "hue";
  top: number;
  height: number;
  /** Value at the bottom and at the top edge. Hues are arcs from `origin`. */
  low: number;
  high: number;
  /** Hue that arcs are counted from; 0 for levels. */
  origin: number;
}

export interface Layout {
  width: number;
  height: number;
  /** Where the first column begins, and where the last ends. */
  left: number;
  right: number;
  /** Columns that are visible: from `first` (may be broken) on, `span` of them. */
  first: number;
  span: number;
  /** Width of a column. */
  column: number;
  bands: Band[];
}

export const MARGIN = { left: 122, right: 10, top: 40, bottom: 24 } as const;
/** Least height of a band, and the gap after a person. */
const LEAST = 34;
const GAP = 16;

/** Height that the charts of so many people need at least. */
export function leastHeight(people: number): number {
  return MARGIN.top + MARGIN.bottom + people * (2 * LEAST + GAP);
}

function points(person: PersonPoint): Point[] {
  return [person.before, person.after, person.proof].filter((p): p is Point => p !== null && p !== undefined);
}

function spread(values: number[], least: number): [number, number] {
  if (values.length === 0) return [-least / 2, least / 2];
  let low = Math.min(...values);
  let high = Math.max(...values);
  const missing = least - (high - low);
  if (missing > 0) {
    low -= missing / 2;
    high += missing / 2;
  }
  const edge = 0.08 * (high - low);
  return [low - edge, high + edge];
}

/** The bands of a person over all shots of the film: they stay where they are while one filters and zooms. */
export function bandsOf(film: Overview, person: string): { level: [number, number]; hue: [number, number]; origin: number } {
  const levels: number[] = [];
  const hues: number[] = [];
  for (const shot of film.shots) {
    for (const entry of shot.people) {
      if (entry.person !== person) continue;
      for (const point of points(entry)) {
        levels.push(point.level_pct);
        if (point.hue_deg !== null && point.hue_deg !== undefined) hues.push(point.hue_deg);
      }
      if (typeof entry.aim_level_pct === "number") levels.push(entry.aim_level_pct);
      if (typeof entry.aim_hue_deg === "number") hues.push(entry.aim_hue_deg);
    }
  }
  const origin = meanHue(hues) ?? film.skin_tone_line_deg;
  return { level: spread(levels, 16), hue: spread(hues.map((hue) => arc(origin, hue)), 16), origin };
}

/** Where everything lies. */
export function layout(
  film: Overview,
  count: number,
  size: { width: number; height: number },
  zoom: { first: number; span: number },
): Layout {
  const people = film.people.map((person) => person.person);
  const height = Math.max(size.height, leastHeight(people.length));
  const left = MARGIN.left;
  const right = size.width - MARGIN.right;
  const span = Math.max(1, Math.min(zoom.span, Math.max(count, 1)));
  const first = Math.max(0, Math.min(zoom.first, count - span));
  const room = height - MARGIN.top - MARGIN.bottom;
  const each = people.length > 0 ? Math.min((room - GAP * people.length) / (2 * people.length), 130) : 0;
  const bands: Band[] = [];
  let top = MARGIN.top;
  for (const person of people) {
    const { level, hue, origin } = bandsOf(film, person);
    bands.push({ person, kind: "level", top, height: each, low: level[0], high: level[1], origin: 0 });
    bands.push({ person, kind: "hue", top: top + each, height: each, low: hue[0], high: hue[1], origin });
    top += 2 * each + GAP;
  }
  return { width: size.width, height, left, right, first, span, column: (right - left) / span, bands };
}

/** Middle of a column, in pixels. */
export function xOf(layout: Layout, index: number): number {
  return layout.left + (index + 0.5 - layout.first) * layout.column;
}

/** The column at a place; null beside them. */
export function indexAt(layout: Layout, x: number, count: number): number | null {
  if (x < layout.left || x > layout.right) return null;
  const index = Math.floor((x - layout.left) / layout.column + layout.first);
  return index >= 0 && index < count ? index : null;
}

/** Height of a value in a band, kept inside it. */
export function yOf(band: Band, value: number): number {
  const at = band.kind === "hue" ? arc(band.origin, value) : value;
  const share = (at - band.low) / (band.high - band.low);
  return band.top + band.height * (1 - Math.min(Math.max(share, 0.02), 0.98));
}

/** Columns of one scene or setup that lie beside each other. */
export interface Run {
  name: string;
  from: number;
  /** The column after the last. */
  to: number;
}

/** Scenes or setups, as they follow each other. */
export function runs(shots: readonly OverviewShot[], kind: "scene" | "setup"): Run[] {
  const found: Run[] = [];
  shots.forEach((shot, index) => {
    const last = found[found.length - 1];
    if (last && last.name === shot[kind]) last.to = index + 1;
    else found.push({ name: shot[kind], from: index, to: index + 1 });
  });
  return found;
}

/** The next shot from `from` on that needs attention, going round; null where there is none. */
export function nextOff(shots: readonly OverviewShot[], from: number): number | null {
  for (let step = 1; step <= shots.length; step += 1) {
    const index = (from + step) % shots.length;
    const state = shots[index]!.state;
    if (state === "off aim" || state === "short" || state === "unread") return index;
  }
  return null;
}

/** Zooms by a factor about a column that stays where it is. */
export function zoomed(
  zoom: { first: number; span: number },
  count: number,
  factor: number,
  about: number,
): { first: number; span: number } {
  const span = Math.min(Math.max(zoom.span * factor, Math.min(6, count)), count);
  const share = zoom.span > 0 ? (about - zoom.first) / zoom.span : 0.5;
  return { span, first: Math.min(Math.max(about - share * span, 0), Math.max(0, count - span)) };
}
