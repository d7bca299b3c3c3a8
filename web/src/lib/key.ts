// A key on skin: how much of a correction a colour gets, and the picture while the key is being moved. The same arithmetic as the
// program's; the exact table comes from the program once the key rests.

import { applyCdl, type Cdl, sample, type Table, TWICE, WIDE } from "./cdl";
import type { Gain } from "./light";
import type { Key, Window } from "./ops";

/** Kr and Kb of the luma coefficients (BT.601-7 clause 2.5.1, BT.709-6 item 3.2, BT.2020-2 table 4). */
const LUMA = { bt601: [0.299, 0.114], bt709: [0.2126, 0.0722], bt2020: [0.2627, 0.0593] } as const;

/** The value of a window at a signed distance from its centre: 1 on the flat top, 0 outside. */
export function windowAt({ width, softness }: Window, distance: number): number {
  const t = Math.min(Math.max((Math.abs(distance) - width / 2) / softness, 0), 1);
  return 1 - t * t * (3 - 2 * t);
}

/** A colour as a key sees it. */
export function seen(coefficients: Key["coefficients"], r: number, g: number, b: number): { y: number; chroma: number; hue: number } {
  const [kr, kb] = LUMA[coefficients];
  const y = kr * r + (1 - kr - kb) * g + kb * b;
  const [cb, cr] = [(b - y) / (2 * (1 - kb)), (r - y) / (2 * (1 - kr))];
  return { y, chroma: Math.hypot(cb, cr), hue: (Math.atan2(cr, cb) * 180) / Math.PI };
}

/** How much of the correction a colour gets, 0–1. */
export function weight(key: Key, { y, chroma, hue }: { y: number; chroma: number; hue: number }): number {
  const others = windowAt(key.saturation, chroma - key.saturation.centre) * windowAt(key.level, y - key.level.centre);
  if (others === 0) return 0;
  const turn = (((hue - key.hue.centre) % 360) + 360) % 360;
  return others * windowAt(key.hue, Math.min(turn, 360 - turn));
}

const SIZE = 33;
/** Nodes of a table over {@link WIDE}. They are also nodes of a table of 65 over {@link TWICE}, so that nothing is lost there. */
const COUNT = SIZE ** 3;

/** Tables of a fix with its key elsewhere. What does not change while the key is moved is worked out once. */
export class KeyBaker {
  readonly #plain = new Float32Array(3 * COUNT);
  readonly #corrected = new Float32Array(3 * COUNT);
  readonly #seen: { y: number; chroma: number; hue: number }[] = [];
  readonly #rest: Table | null;
  #cdl: Cdl | null = null;

  /** `before` and `rest` are what the fix does before and after the keyed CDL, over {@link TWICE}; `gain` comes first of all. */
  constructor(before: Table | null, coefficients: Key["coefficients"], rest: Table | null, gain: Gain) {
    this.#rest = rest;
    const node = (i: number) => WIDE.min + ((WIDE.max - WIDE.min) * i) / (SIZE - 1);
    let at = 0;
    for (let b = 0; b < SIZE; b += 1) {
      for (let g = 0; g < SIZE; g += 1) {
        for (let r = 0; r < SIZE; r += 1) {
          const rgb = [node(r) * gain[0], node(g) * gain[1], node(b) * gain[2]] as const;
          if (before) sample(before, TWICE, ...rgb, this.#plain, at);
          else this.#plain.set(rgb, at);
          const [x, y, z] = [this.#plain[at]!, this.#plain[at + 1]!, this.#plain[at + 2]!];
          this.#seen.push(seen(coefficients, x, y, z));
          at += 3;
        }
      }
    }
  }

  bake(key: Key, cdl: Cdl): Table {
    if (this.#cdl !== cdl) {
      for (let at = 0; at < 3 * COUNT; at += 3) applyCdl(cdl, this.#plain[at]!, this.#plain[at + 1]!, this.#plain[at + 2]!, this.#corrected, at);
      this.#cdl = cdl;
    }
    const values = new Float32Array(3 * COUNT);
    for (let i = 0; i < COUNT; i += 1) {
      const share = weight(key, this.#seen[i]!);
      for (let at = 3 * i; at < 3 * i + 3; at += 1) {
        const plain = this.#plain[at]!;
        values[at] = plain + share * (this.#corrected[at]! - plain);
      }
      if (this.#rest) sample(this.#rest, TWICE, values[3 * i]!, values[3 * i + 1]!, values[3 * i + 2]!, values, 3 * i);
    }
    return { size: SIZE, values };
  }
}

export type Quantity = "hue" | "saturation" | "level";
/** What of a window is taken hold of: an end of its flat top, the end of its flank, or all of it. */
export type Grip = "low" | "high" | "soft" | "move";

/** Least flank of each quantity, and where its values may lie. */
export const BOUNDS: Record<Quantity, { soft: number; low: number; high: number }> = {
  hue: { soft: 1, low: -Infinity, high: Infinity },
  saturation: { soft: 0.004, low: 0, high: 0.7 },
  level: { soft: 0.01, low: -0.1, high: 1.5 },
};

/** Where a grip is. */
export function gripAt(window: Window, grip: Grip): number {
  const half = window.width / 2;
  if (grip === "low") return window.centre - half;
  if (grip === "high") return window.centre + half;
  return grip === "soft" ? window.centre + half + window.softness : window.centre;
}

/** The window with a grip brought to a value, as far as it may go: ends never pass each other, flanks never end below neutral. */
export function gripped(quantity: Quantity, window: Window, grip: Grip, value: number): Window {
  const bounds = BOUNDS[quantity];
  const half = window.width / 2;
  let [low, high, soft] = [window.centre - half, window.centre + half, window.softness];
  const inside = Math.min(Math.max(value, bounds.low), bounds.high);
  if (grip === "low") low = Math.min(inside, high);
  else if (grip === "high") high = Math.max(inside, low);
  else if (grip === "soft") soft = inside - high;
  else [low, high] = [inside - half, inside + half];
  soft = Math.max(soft, bounds.soft);
  if (quantity === "saturation") {
    // A flank ends at neutral at the latest: neutrals have no hue.
    const short = Math.max(bounds.soft - low, 0);
    [low, high] = grip === "move" ? [low + short, high + short] : [low + short, Math.max(high, low + short)];
    // A hair less: adding the parts up again may round the other way.
    soft = Math.min(soft, low * (1 - 1e-9));
  }
  if (quantity === "hue") {
    if (high - low > 300) [low, high] = grip === "low" ? [high - 300, high] : [low, low + 300];
    soft = Math.min(soft, 180 - (high - low) / 2);
  }
  const centre = (low + high) / 2;
  return { centre: quantity === "hue" ? ((centre % 360) + 360) % 360 : centre, width: high - low, softness: soft };
}

/** What of a key can be taken hold of: a grip of one of its windows, the shape on the sector, the bracket on the strip. */
export type Part = { quantity: Quantity; grip: Grip } | "shape" | "bracket";

/** A place on the skin's plot: on its sector, and on its strip. */
export interface Place {
  deg: number;
  chroma: number;
  /** 1 = reference white. */
  level: number;
}

/** What one press of an arrow key changes. */
export const STEPS: Record<Quantity, number> = { hue: 1, saturation: 0.004, level: 0.01 };

function moved(key: Key, quantity: Quantity, grip: Grip, value: number): Key {
  return { ...key, [quantity]: gripped(quantity, key[quantity], grip, value) };
}

/** The key with a part of it dragged from one place to another. */
export function dragged(key: Key, part: Part, from: Place, to: Place): Key {
  if (part === "bracket") return moved(key, "level", "move", key.level.centre + to.level - from.level);
  if (part === "shape") {
    const turned = moved(key, "hue", "move", key.hue.centre + to.deg - from.deg);
    return moved(turned, "saturation", "move", key.saturation.centre + to.chroma - from.chroma);
  }
  const { quantity, grip } = part;
  if (quantity === "level") return moved(key, quantity, grip, to.level);
  if (quantity === "saturation") return moved(key, quantity, grip, to.chroma);
  // A hue near its window's own, not 360° away.
  const near = key.hue.centre + (((((to.deg - key.hue.centre) % 360) + 540) % 360) - 180);
  return moved(key, quantity, grip, near);
}

/** The key with a part of it moved by so many presses of arrow keys. Greener lies left on the sector. */
export function nudged(key: Key, part: Part, right: number, up: number): Key {
  if (part === "bracket") return moved(key, "level", "move", key.level.centre + up * STEPS.level);
  if (part === "shape") {
    const turned = moved(key, "hue", "move", key.hue.centre - right * STEPS.hue);
    return moved(turned, "saturation", "move", key.saturation.centre + up * STEPS.saturation);
  }
  const { quantity, grip } = part;
  return moved(key, quantity, grip, gripAt(key[quantity], grip) + (right + up) * STEPS[quantity]);
}
