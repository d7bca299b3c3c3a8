import { describe, expect, it } from "vitest";
import type { AimTried, AimTriedShot, OtherMoved } from "../api/schema";
import { besides, caution, isListed, movedInWords, othersMoved, outcome, PRESETS } from "./aims";

function shot(name: string, more: Partial<AimTriedShot> = {}): AimTriedShot {
  return {
    id: 1, shot: name, before: null, now: null, tried: null, aim_level_pct: null, aim_hue_deg: null, width_de00: 2,
    de00_before: null, de00_now: null, de00_tried: null, state_now: "on aim", state: "on aim", why: null, limit: null,
    reach: "picture", sentence: "", changes: true, others: [], picture: "x", ...more,
  };
}
function tried(shots: AimTriedShot[], more: Partial<AimTried> = {}): AimTried {
  return { person: "Ada", aim: "measured-tan", shots, left: [], also: [], ...more };
}
function other(more: Partial<OtherMoved> = {}): OtherMoved {
  return { person: "Bo", level_pct: -1.25, hue_deg: 0.44, de00: 1.26, state_now: "on aim", state: "on aim", ...more };
}

describe("an aim that is looked at", () => {
  it("counts states, those that need somebody first", () => {
    expect(outcome(tried([shot("a"), shot("b", { state: "short" }), shot("c")]))).toBe("3 shots with this aim: 1 short, 2 on aim.");
    expect(outcome(tried([shot("a"), shot("b", { changes: false })]))).toBe("2 shots with this aim: 2 on aim; 1 would stay as now.");
    expect(outcome(tried([shot("a", { changes: false })]))).toBe("Nothing would change in this shot: 1 on aim.");
    expect(outcome(tried([], { left: [4] }))).toBe("No shot was looked at.");
  });
  it("says how others move, with signs and units", () => {
    expect(movedInWords(other())).toBe("Bo moves by 1.3 (−1.3 %, +0.4°)");
    expect(movedInWords(other({ hue_deg: null, level_pct: 0.01, state: "short" }))).toBe("Bo moves by 1.3 (0.0 %); would be short, now on aim");
  });
  it("gathers others over the shots: the furthest, and where", () => {
    const found = othersMoved(
      tried([
        shot("a", { others: [other({ de00: 0.4 })] }),
        shot("b", { others: [other({ de00: 2, level_pct: 1, state: "short" }), other({ person: "Cy" })] }),
        shot("c"),
      ]),
    );
    expect(found).toEqual([
      "Bo moves too, in 2 of these shots, most in b: by 2.0 CIEDE2000 (1.0 % brighter), and would no longer be on aim in 1 of them.",
      "Cy moves too, in b: by 1.3 CIEDE2000 (1.3 % darker).",
    ]);
    expect(othersMoved(tried([shot("a")]))).toEqual([]);
    const worse = other({ person: "person 2", state: "off aim" });
    expect(othersMoved(tried([shot("a", { others: [worse] })]))).toEqual([
      "Person 2 moves too, in a: by 1.3 CIEDE2000 (1.3 % darker), and would no longer be on aim there.",
    ]);
    // Who is short already is no worse off by being short.
    expect(othersMoved(tried([shot("a", { others: [{ ...worse, state: "short", state_now: "short" }] })]))[0]).not.toContain("no longer");
  });
  it("names what is not shown", () => {
    expect(besides(tried([]))).toBeNull();
    expect(besides(tried([], { also: ["x"] }))).toBe("x carries the same fixes and would change too.");
    expect(besides(tried([], { also: ["a", "b", "c", "d", "e"], left: [3] }))).toBe(
      "a, b, c and 2 more carry the same fixes and would change too. 1 shot could not be solved in the time there is; it is shown without this aim.",
    );
  });
  it("tells what is typed from what is listed", () => {
    const shots = [{ shot: "b" }];
    for (const aim of ["", "own", "measured-dark", "practice-deep", "like:b"]) expect(isListed(aim, shots)).toBe(true);
    for (const aim of ["like:c", "level:60", "rosy"]) expect(isListed(aim, shots)).toBe(false);
  });
  it("has a caution for every preset, and another for what is typed", () => {
    const typed = caution("level:62-68");
    for (const { choices } of PRESETS) for (const { aim } of choices) expect(caution(aim)).not.toBe(typed);
    expect(caution("own")).not.toBe(typed);
  });
});
