import { describe, expect, it } from "vitest";
import type { PatchView } from "../api/schema";
import { lostSpans, outlineUnder } from "./pose";

const ellipse = { ellipse: { centre: [0.4, 0.5], radii: [0.02, 0.05] } };
const patch = (frame: number, first: number, held: boolean[]): PatchView => ({
  id: frame, person: "Ren", frame, shape: ellipse, first_frame: first, poses: held.map((is) => (is ? [1, 0, 0, 0] : null)),
});

describe("drawn patches", () => {
  it("are lost where none of them is held", () => {
    const one = patch(0, 0, [true, true, false, false, false, true]);
    expect(lostSpans([one], 0, 6)).toEqual([[2, 4]]);
    expect(lostSpans([one, patch(3, 0, [false, false, false, true, true, true])], 0, 6)).toEqual([[2, 2]]);
    expect(lostSpans([], 4, 6)).toEqual([[4, 5]]);
  });
  it("are drawn again from where they lie", () => {
    // Twice as large about the picture's corner, a tenth of the width to the right.
    const there = outlineUnder(ellipse, [2, 0, 0.1, 0], 0.5);
    if (!("ellipse" in there)) throw new Error("an ellipse stays one");
    expect(there.ellipse.centre[0]).toBeCloseTo(0.9, 9);
    expect(there.ellipse.centre[1]).toBeCloseTo(1, 9);
    expect(there.ellipse.radii).toEqual([0.04, 0.1]);
  });
});
