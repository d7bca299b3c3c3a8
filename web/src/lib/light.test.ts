import { describe, expect, it } from "vitest";
import type { ShotView } from "../api/schema";
import { gainIn, keyFrames, moves, movesInWords } from "./light";

function view(light: number[][], frames: number[]): ShotView {
  const report = { in_frame: 10, out_frame: 13, fix: { keyframes: frames.map((frame) => ({ frame })) } };
  return { light, report } as unknown as ShotView;
}

describe("a fix that follows the light", () => {
  const moving = view([[1, 1, 1], [1.1, 1, 0.9], [1.2, 1, 0.8]], [4, 10, 12]);
  it("has gains in every frame of the shot, and none elsewhere", () => {
    expect(gainIn(moving, 11)).toEqual([1.1, 1, 0.9]);
    expect(gainIn(moving, 13)).toEqual([1, 1, 1]);
    expect(gainIn(view([], []), 11)).toEqual([1, 1, 1]);
  });
  it("says how many keyframes it has, and where", () => {
    expect(keyFrames(moving)).toEqual([10, 12]);
    expect(movesInWords(moving)).toBe("moves: 3 keyframes, at frames 10 and 12; 1 of them outside this shot");
    expect(movesInWords(view([[1, 1, 1]], [10]))).toBe("moves: 1 keyframe, at frame 10");
    expect(moves(view([], [10]))).toBe(false);
    expect(movesInWords(view([], [10]))).toBeNull();
  });
});
