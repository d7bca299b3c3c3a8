import { describe, expect, it } from "vitest";
import { applyCdl, bake, type Cdl, NEUTRAL, sample, tableFromBytes, WIDE } from "./cdl";

const WARM: Cdl = { slope: [1.12, 1, 0.87], offset: [0.01, -0.005, 0.02], power: [0.92, 1.05, 1.1], saturation: 0.9 };

function exact(cdl: Cdl, rgb: readonly [number, number, number]): number[] {
  const out = [0, 0, 0];
  applyCdl(cdl, ...rgb, out, 0);
  return out;
}

describe("a CDL", () => {
  // ASC CDL 1.2: out = (in × slope + offset) ^ power, then saturation about the BT.709 luma weights; worked by hand.
  it("follows the formula", () => {
    const [r, g, b] = exact({ slope: [2, 1, 0.5], offset: [0.1, 0, -0.05], power: [1, 2, 1], saturation: 1 }, [0.2, 0.5, 0.4]);
    expect(r).toBeCloseTo(0.5, 12);
    expect(g).toBeCloseTo(0.25, 12);
    expect(b).toBeCloseTo(0.15, 12);
    const grey = exact({ ...NEUTRAL, saturation: 0 }, [1, 0, 0]);
    for (const v of grey) expect(v).toBeCloseTo(0.2126, 12);
  });

  it("lets negative bases be", () => {
    expect(exact({ ...NEUTRAL, power: [2, 2, 2] }, [-0.05, 0, 0.5])).toEqual([-0.05, 0, 0.25]);
  });
});

describe("a baked table", () => {
  it("is the CDL itself at its nodes", () => {
    const table = bake(WARM, null, 17);
    const node = (i: number) => WIDE.min + ((WIDE.max - WIDE.min) * i) / 16;
    const out = [0, 0, 0];
    sample(table, WIDE, node(3), node(9), node(15), out, 0);
    exact(WARM, [node(3), node(9), node(15)]).forEach((v, c) => expect(out[c]).toBeCloseTo(v, 5));
  });

  it("is near it between them", () => {
    const table = bake(WARM, null);
    const out = [0, 0, 0];
    for (let i = 0; i < 500; i += 1) {
      const rgb = [0.05 + ((i * 0.37) % 0.95), 0.05 + ((i * 0.61) % 0.95), 0.05 + ((i * 0.83) % 0.95)] as const;
      sample(table, WIDE, ...rgb, out, 0);
      exact(WARM, rgb).forEach((v, c) => expect(Math.abs(out[c]! - v)).toBeLessThan(0.002));
    }
  });

  it("takes what follows the CDL in", () => {
    const after = { size: 2, values: new Float32Array(24) };
    // A table that halves: its corners lie at twice the domain.
    for (let i = 0; i < 8; i += 1) {
      const corner = [i & 1, (i >> 1) & 1, i >> 2].map((bit) => (bit ? WIDE.max : WIDE.min));
      after.values.set(corner, 3 * i);
    }
    const out = [0, 0, 0];
    sample(bake(NEUTRAL, after), WIDE, 0.2, 0.4, 0.8, out, 0);
    [0.1, 0.2, 0.4].forEach((v, c) => expect(out[c]).toBeCloseTo(v, 4));
  });

  it("clamps what lies outside", () => {
    const out = [0, 0, 0];
    sample(bake(NEUTRAL, null), WIDE, 5, -5, 0.5, out, 0);
    expect(out[0]).toBeCloseTo(WIDE.max, 5);
    expect(out[1]).toBeCloseTo(WIDE.min, 5);
  });

  it("comes from bytes, or not", () => {
    expect(tableFromBytes(new Uint32Array([0]).buffer)).toBeNull();
    expect(() => tableFromBytes(new Uint32Array([2, 0, 0]).buffer)).toThrow("expected 8");
  });
});
