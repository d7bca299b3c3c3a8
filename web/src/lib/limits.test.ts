import { describe, expect, it } from "vitest";
import type { LimitsReport } from "../api/schema";
import { limitsInWords } from "./limits";

const limits = (over: number, worst: LimitsReport["worst"] = []): LimitsReport => ({ frames: 50, over_nominal: over, over_preferred: Math.max(0, over - 2), over_total: 0, worst });

describe("limits of delivery", () => {
  it("are said where they are passed, and that they are not", () => {
    expect(limitsInWords(limits(0), limits(0))).toBe("EBU R 103: every one of 50 frames inside 0…100 %.");
    const worst = [{ frame: 7, timecode: "10:00:00:07", nominal_pct: 3.25, preferred_pct: 1, total_pct: 0, component: "red" }];
    expect(limitsInWords(limits(9), limits(4, worst))).toBe(
      "EBU R 103, of 50 frames before → after: outside 0…100 % 9 → 4, outside −5…105 % 7 → 2, outside video codes 0 → 0; worst at 10:00:00:07: 3.3 % of its area outside 0…100 %, mostly red.",
    );
    expect(limitsInWords(limits(9), limits(0))).toBe("EBU R 103, of 50 frames before → after: outside 0…100 % 9 → 0, outside −5…105 % 7 → 0, outside video codes 0 → 0.");
  });
});
