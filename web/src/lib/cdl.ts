// A CDL on colours, and tables of colours: the same arithmetic as the program's, for the picture that moves while a number is
// being dragged. The exact table comes from the program right after.

export interface Cdl {
  slope: [number, number, number];
  offset: [number, number, number];
  power: [number, number, number];
  saturation: number;
}

/** Nodes a side, and R', G', B' of each, red fastest. */
export interface Table {
  size: number;
  values: Float32Array;
  /** The signal that it covers; without it {@link WIDE}. */
  range?: Range;
}

export interface Range {
  readonly min: number;
  readonly max: number;
}

/** The range of signal that exported tables cover. */
export const WIDE: Range = { min: -2 / 27, max: 10 / 9 };
/** The range of tables of the later part of a fix: what comes before may lie beyond the other. */
export const TWICE: Range = { min: 2 * WIDE.min, max: 2 * WIDE.max };

const LUMA = [0.2126, 0.7152, 0.0722] as const;

export const NEUTRAL: Cdl = { slope: [1, 1, 1], offset: [0, 0, 0], power: [1, 1, 1], saturation: 1 };

export function isNeutral(cdl: Cdl): boolean {
  return (
    cdl.slope.every((v) => v === 1) &&
    cdl.offset.every((v) => v === 0) &&
    cdl.power.every((v) => v === 1) &&
    cdl.saturation === 1
  );
}

/** The colour after a CDL, without clamping; negative bases stay as they are. Written into `out` at `at`. */
export function applyCdl(cdl: Cdl, r: number, g: number, b: number, out: Float32Array | number[], at: number): void {
  const channel = (v: number, c: 0 | 1 | 2) => {
    const base = v * cdl.slope[c] + cdl.offset[c];
    return base < 0 || cdl.power[c] === 1 ? base : base ** cdl.power[c];
  };
  let [x, y, z] = [channel(r, 0), channel(g, 1), channel(b, 2)];
  if (cdl.saturation !== 1) {
    const luma = LUMA[0] * x + LUMA[1] * y + LUMA[2] * z;
    x = luma + cdl.saturation * (x - luma);
    y = luma + cdl.saturation * (y - luma);
    z = luma + cdl.saturation * (z - luma);
  }
  out[at] = x;
  out[at + 1] = y;
  out[at + 2] = z;
}

/** Tetrahedral interpolation along the neutral diagonal; input outside the range is clamped to it. Into `out` at `at`. */
export function sample(
  table: Table,
  range: Range,
  r: number,
  g: number,
  b: number,
  out: Float32Array | number[],
  at: number,
): void {
  const last = table.size - 1;
  const place = (v: number) =>
    Math.min(Math.max(((v - range.min) / (range.max - range.min)) * last, 0), last);
  const places = [place(r), place(g), place(b)] as const;
  const low = places.map((p) => Math.min(Math.floor(p), last - 1));
  const part = places.map((p, i) => p - low[i]!);
  const stride = [1, table.size, table.size * table.size] as const;
  let corner = low[0]! + low[1]! * stride[1] + low[2]! * stride[2];
  const order = [0, 1, 2].sort((a, c) => part[c]! - part[a]!);
  let weight = 1 - part[order[0]!]!;
  for (let c = 0; c < 3; c += 1) out[at + c] = weight * table.values[3 * corner + c]!;
  for (let step = 0; step < 3; step += 1) {
    const axis = order[step]!;
    corner += stride[axis as 0 | 1 | 2];
    const next = step < 2 ? part[order[step + 1]!]! : 0;
    weight = part[axis]! - next;
    for (let c = 0; c < 3; c += 1) out[at + c] = out[at + c]! + weight * table.values[3 * corner + c]!;
  }
}

/** A CDL and what follows it as one table over {@link WIDE}. */
export function bake(cdl: Cdl, after: Table | null, size = 33): Table {
  const values = new Float32Array(3 * size ** 3);
  const node = (i: number) => WIDE.min + ((WIDE.max - WIDE.min) * i) / (size - 1);
  let at = 0;
  for (let b = 0; b < size; b += 1) {
    for (let g = 0; g < size; g += 1) {
      for (let r = 0; r < size; r += 1) {
        applyCdl(cdl, node(r), node(g), node(b), values, at);
        if (after) sample(after, TWICE, values[at]!, values[at + 1]!, values[at + 2]!, values, at);
        at += 3;
      }
    }
  }
  return { size, values };
}

/** A table as it is sent: nodes a side, then the values; null where nothing is changed. */
export function tableFromBytes(bytes: ArrayBuffer, range: Range = WIDE): Table | null {
  const size = new DataView(bytes).getUint32(0, true);
  if (size === 0) return null;
  const values = new Float32Array(bytes, 4);
  if (values.length !== 3 * size ** 3) {
    throw new Error(`a table of ${values.length / 3} colours came, expected ${size ** 3}`);
  }
  return { size, values, range };
}
