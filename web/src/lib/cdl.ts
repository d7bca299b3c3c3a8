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

function curve({ slope, offset, power }: Cdl, c: 0 | 1 | 2, v: number): number {
  const base = v * slope[c] + offset[c];
  return base < 0 || power[c] === 1 ? base : base ** power[c];
}

/** The colour after a CDL, without clamping; negative bases stay as they are. Written into `out` at `at`. */
export function applyCdl(cdl: Cdl, r: number, g: number, b: number, out: Float32Array | number[], at: number): void {
  let x = curve(cdl, 0, r);
  let y = curve(cdl, 1, g);
  let z = curve(cdl, 2, b);
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
export function sample(table: Table, range: Range, r: number, g: number, b: number, out: Float32Array | number[], at: number): void {
  // Tens of thousands of times a frame while something is dragged: nothing is allocated here.
  const { size, values } = table;
  const last = size - 1;
  const scale = last / (range.max - range.min);
  const x = Math.min(Math.max((r - range.min) * scale, 0), last);
  const y = Math.min(Math.max((g - range.min) * scale, 0), last);
  const z = Math.min(Math.max((b - range.min) * scale, 0), last);
  const [x0, y0, z0] = [Math.min(Math.floor(x), last - 1), Math.min(Math.floor(y), last - 1), Math.min(Math.floor(z), last - 1)];
  const [fx, fy, fz] = [x - x0, y - y0, z - z0];
  const [sx, sy, sz] = [3, 3 * size, 3 * size * size];
  // Along the edges in the order of the fractions, the largest first.
  let [w1, w2, w3, s1, s2] = [fx, fy, fz, sx, sy];
  if (fx >= fy) {
    if (fy < fz) [w1, w2, w3, s1, s2] = fx >= fz ? [fx, fz, fy, sx, sz] : [fz, fx, fy, sz, sx];
  } else if (fx >= fz) [w1, w2, w3, s1, s2] = [fy, fx, fz, sy, sx];
  else [w1, w2, w3, s1, s2] = fy >= fz ? [fy, fz, fx, sy, sz] : [fz, fy, fx, sz, sy];
  const low = x0 * sx + y0 * sy + z0 * sz;
  const [first, second, high] = [low + s1, low + s1 + s2, low + sx + sy + sz];
  const [a, b1, c1] = [1 - w1, w1 - w2, w2 - w3];
  for (let c = 0; c < 3; c += 1) {
    out[at + c] = a * values[low + c]! + b1 * values[first + c]! + c1 * values[second + c]! + w3 * values[high + c]!;
  }
}

/** A CDL and what follows it as one table over {@link WIDE}. */
export function bake(cdl: Cdl, after: Table | null, size = 33): Table {
  const values = new Float32Array(3 * size ** 3);
  const nodes = Array.from({ length: size }, (_, i) => WIDE.min + ((WIDE.max - WIDE.min) * i) / (size - 1));
  // Before its saturation a CDL is one curve a channel: powers are taken once a node, not once a colour.
  const curves = { ...cdl, saturation: 1 };
  const curved = new Float64Array(3 * size);
  const one = [0, 0, 0];
  nodes.forEach((node, i) => {
    applyCdl(curves, node, node, node, one, 0);
    curved.set(one, 3 * i);
  });
  const rest = { ...NEUTRAL, saturation: cdl.saturation };
  let at = 0;
  for (let b = 0; b < size; b += 1) {
    for (let g = 0; g < size; g += 1) {
      for (let r = 0; r < size; r += 1) {
        applyCdl(rest, curved[3 * r]!, curved[3 * g + 1]!, curved[3 * b + 2]!, values, at);
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
