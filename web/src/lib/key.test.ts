import { describe, expect, it } from "vitest";
import { NEUTRAL, sample, WIDE } from "./cdl";
import { dragged, gripAt, gripped, KeyBaker, nudged, seen, weight, windowAt } from "./key";
import { NO_GAIN } from "./light";
import type { Key } from "./ops";

const KEY: Key = {
  coefficients: "bt709",
  hue: { centre: 118, width: 30, softness: 15 },
  saturation: { centre: 0.12, width: 0.1, softness: 0.04 },
  level: { centre: 0.5, width: 0.4, softness: 0.2 },
};

describe("a key", () => {
  it("is 1 on its flat top and falls smoothly", () => {
    expect(windowAt(KEY.hue, 15)).toBe(1);
    expect(windowAt(KEY.hue, -22.5)).toBeCloseTo(0.5, 9);
    expect(windowAt(KEY.hue, 30)).toBe(0);
    // BT.709 red, by its matrix: Y' = 0.2126, Cb = −0.1146, Cr = 0.5.
    const red = seen("bt709", 1, 0, 0);
    expect(red.y).toBeCloseTo(0.2126, 9);
    expect(red.chroma).toBeCloseTo(Math.hypot(0.11457, 0.5), 4);
    expect(red.hue).toBeCloseTo((Math.atan2(0.5, -0.11457) * 180) / Math.PI, 3);
  });
  it("takes skin, and neither grey nor green", () => {
    expect(weight(KEY, seen("bt709", 0.66, 0.5, 0.42))).toBe(1);
    expect(weight(KEY, seen("bt709", 0.5, 0.5, 0.5))).toBe(0);
    expect(weight(KEY, seen("bt709", 0.3, 0.6, 0.3))).toBe(0);
    expect(weight({ ...KEY, hue: { ...KEY.hue, centre: 118 + 360 } }, seen("bt709", 0.66, 0.5, 0.42))).toBe(1);
  });
  it("is baked as it acts", () => {
    const brighter = { ...NEUTRAL, slope: [1.2, 1.2, 1.2] as [number, number, number] };
    const table = new KeyBaker(null, "bt709", null, NO_GAIN).bake(KEY, brighter);
    const node = (i: number) => WIDE.min + ((WIDE.max - WIDE.min) * i) / 32;
    const out = [0, 0, 0];
    for (const place of [[20, 16, 13], [16, 16, 16], [8, 20, 8]] as const) {
      const rgb = [node(place[0]), node(place[1]), node(place[2])] as const;
      sample(table, WIDE, ...rgb, out, 0);
      const share = weight(KEY, seen("bt709", ...rgb));
      rgb.forEach((v, c) => expect(out[c]).toBeCloseTo(v * (1 + 0.2 * share), 5));
    }
  });
});

describe("taking hold of a key", () => {
  it("moves one end and leaves the other", () => {
    const wider = gripped("hue", KEY.hue, "low", 90);
    expect([gripAt(wider, "low"), gripAt(wider, "high")]).toEqual([90, 133]);
    expect(gripped("hue", KEY.hue, "low", 140).width).toBe(0);
    expect(gripped("level", KEY.level, "soft", 0.9).softness).toBeCloseTo(0.2, 9);
    expect(gripped("level", KEY.level, "soft", 0.1).softness).toBe(0.01);
  });
  it("never lets a flank of saturation end below neutral", () => {
    for (const [grip, value] of [["low", -1], ["low", 0.01], ["move", 0], ["soft", 0.6]] as const) {
      const { centre, width, softness } = gripped("saturation", KEY.saturation, grip, value);
      expect(centre - width / 2 - softness).toBeGreaterThanOrEqual(-1e-12);
      expect(softness).toBeGreaterThan(0);
    }
  });
  it("goes round the circle of hues, and meets itself nowhere", () => {
    expect(gripped("hue", KEY.hue, "move", 370).centre).toBe(10);
    const all = gripped("hue", KEY.hue, "high", 900);
    expect(all.width / 2 + all.softness).toBeLessThanOrEqual(180);
  });
});

describe("moving a part of a key", () => {
  const here = { deg: 118, chroma: 0.12, level: 0.5 };
  it("drags the shape along both axes and the bracket along one", () => {
    const shape = dragged(KEY, "shape", here, { deg: 123, chroma: 0.14, level: 0.9 });
    expect([shape.hue.centre, shape.saturation.centre, shape.level]).toEqual([123, 0.14, KEY.level]);
    const bracket = dragged(KEY, "bracket", here, { deg: 60, chroma: 0.3, level: 0.6 });
    expect(bracket.level.centre).toBeCloseTo(0.6, 9);
    expect([bracket.hue, bracket.saturation]).toEqual([KEY.hue, KEY.saturation]);
  });
  it("takes a hue near the window's own", () => {
    const turned = { ...KEY, hue: { ...KEY.hue, centre: 350 } };
    const wider = dragged(turned, { quantity: "hue", grip: "high" }, here, { ...here, deg: 10 });
    expect(gripAt(wider.hue, "high") % 360).toBeCloseTo(10, 9);
  });
  it("goes by steps, greener to the left on the sector", () => {
    expect(nudged(KEY, "shape", -1, 0).hue.centre).toBe(119);
    expect(nudged(KEY, "shape", 0, 5).saturation.centre).toBeCloseTo(0.14, 9);
    expect(nudged(KEY, "bracket", 3, 0).level.centre).toBe(0.5);
    expect(gripAt(nudged(KEY, { quantity: "hue", grip: "low" }, 1, 0).hue, "low")).toBe(104);
    expect(gripAt(nudged(KEY, { quantity: "level", grip: "high" }, 0, -2).level, "high")).toBeCloseTo(0.68, 9);
  });
});
