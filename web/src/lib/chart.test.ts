import { describe, expect, it } from "vitest";
import type { Overview, OverviewShot, ShotState } from "../api/schema";
import { arc, meanHue } from "./angle";
import { counts, distance, indexAt, layout, nextOff, runs, shown, startTimes, xOf, yOf, zoomed } from "./chart";

function shot(id: number, state: ShotState, far: number, scene = "quay"): OverviewShot {
  return {
    id, shot: `s${id}`, source: "a.mov", setup: `${scene} ${id % 2}`, scene, in_frame: 10, out_frame: 60, rate: 25, size: [16, 9], state, sentence: "",
    people: [{ person: "Ana", state, width_de00: 2, before: { level_pct: 40 + id, level_pct_u: 0.2, hue_deg: 358 + id }, de00_before: 9, de00_after: far }],
  };
}
function film(shots: OverviewShot[]): Overview {
  return {
    film: "f", file: "f.inkarnat", working_space: { primaries: "BT.709", coefficients: "BT.709" }, skin_tone_line_deg: 123, published_band_deg: [111, 135],
    people: [{ person: "Ana", aim: "own", shots: shots.length }], shots, questions: [], proposals: [], has_picture: false, has_look: false, versions: [], programmes: [], history: { decisions: 0 },
  };
}

describe("angles", () => {
  it("go the short way round", () => {
    expect(arc(350, 10)).toBe(20);
    expect(arc(10, 350)).toBe(-20);
    expect(arc(0, 180)).toBe(180);
    expect(meanHue([350, 10])).toBeCloseTo(0, 9);
    expect(meanHue([0, 180])).toBeNull();
  });
});

describe("the run charts", () => {
  const all = film([shot(1, "on aim", 0.5), shot(2, "off aim", 6), shot(3, "short", 3, "deck"), shot(4, "kept", 8, "deck")]);

  it("show what is asked for, in its order", () => {
    const ids = (states: ShotState[], order: "film" | "distance") => shown(all, { states: new Set(states), order }).map((s) => s.id);
    expect(ids([], "film")).toEqual([1, 2, 3, 4]);
    expect(ids([], "distance")).toEqual([4, 2, 3, 1]);
    expect(ids(["short", "kept"], "film")).toEqual([3, 4]);
    expect(counts(all).get("off aim")).toBe(1);
    expect(distance({ ...shot(1, "unread", 0), people: [] })).toBe(-1);
  });

  it("find what needs somebody, going round", () => {
    expect(nextOff(all.shots, 0)).toBe(1);
    expect(nextOff(all.shots, 2)).toBe(1);
    expect(nextOff([shot(1, "on aim", 0)], 0)).toBeNull();
  });

  it("know film time, scenes and setups", () => {
    expect(startTimes(all).get(3)).toBe(4);
    expect(runs(all.shots, "scene")).toEqual([{ name: "quay", from: 0, to: 2 }, { name: "deck", from: 2, to: 4 }]);
  });

  it("put a shot where the pointer finds it again", () => {
    const where = layout(all, 4, { width: 900, height: 400 }, { first: 0, span: 4 });
    for (let i = 0; i < 4; i += 1) expect(indexAt(where, xOf(where, i), 4)).toBe(i);
    expect(indexAt(where, 2, 4)).toBeNull();
    const [level, hue] = where.bands;
    expect(yOf(level!, 44)).toBeLessThan(yOf(level!, 41));
    // Across 0° too, greener (counter-clockwise) is up.
    expect(yOf(hue!, 2)).toBeLessThan(yOf(hue!, 359));
  });

  it("zoom about what stays in place, and never beyond the film", () => {
    const near = zoomed({ first: 0, span: 500 }, 500, 0.5, 100);
    expect((100 - near.first) / near.span).toBeCloseTo(0.2, 9);
    expect(zoomed(near, 500, 100, 100)).toEqual({ first: 0, span: 500 });
    expect(zoomed({ first: 0, span: 4 }, 4, 0.1, 1).span).toBe(4);
  });

  it("fit 500 shots", () => {
    const many = film(Array.from({ length: 500 }, (_, i) => shot(i, "on aim", 1)));
    const where = layout(many, 500, { width: 1000, height: 600 }, { first: 0, span: Infinity });
    expect(where.column).toBeCloseTo((where.right - where.left) / 500, 9);
  });
});
