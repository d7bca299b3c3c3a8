import { expect, it } from "vitest";
import { framesFromBytes, signalFromBytes } from "./frames";
import { bytes, clock, fileName, hue, level, number, offLine, sentence, timeLeft } from "./format";
import { outlinePoints, partAbout, pathOf, poseIn } from "./pose";
import { screenFromSignal } from "./screen";

it("says numbers as words", () => {
  expect(level(43.14)).toBe("43.1 %");
  expect(level(null)).toBe("–");
  expect(hue(null)).toBe("no hue");
  expect(offLine(8.42)).toBe("8.4° greener");
  expect(offLine(-8.42)).toBe("8.4° redder");
  expect(offLine(0.01)).toBe("on it");
  expect(number(-0.004, 1)).toBe("0.0");
  expect(clock(3725)).toBe("1:02:05");
  expect(clock(65)).toBe("01:05");
  expect(timeLeft(null)).toBe("time left not known yet");
  expect(timeLeft(240)).toBe("about 4 min left");
  expect(bytes(999)).toBe("999 bytes");
  expect(bytes(2_500_000)).toBe("2.5 MB");
  expect(sentence("balance the picture")).toBe("Balance the picture.");
  expect(sentence("")).toBe("");
  expect(fileName("/a/b c/d.mov")).toBe("d.mov");
});

// IEC 61966-2-1 and Rec. ITU-R BT.1886: a signal of 0.5 is a light of 0.5^2.4 = 0.18946, sRGB code 0.47274 (worked by hand).
it("shows the light of a BT.1886 display", () => {
  expect(screenFromSignal(0)).toBe(0);
  expect(screenFromSignal(1)).toBeCloseTo(1, 9);
  expect(screenFromSignal(0.5)).toBeCloseTo(1.055 * 0.189465 ** (1 / 2.4) - 0.055, 5);
  expect(screenFromSignal(-1)).toBe(0);
});

it("moves an outline with its patch", () => {
  const patch = { id: 1, person: "Ana", frame: 5, first_frame: 4, shape: { ellipse: { centre: [0.5, 0.5], radii: [0.1, 0.2] } }, poses: [null, [1, 0, 0.1, 0]] };
  expect(poseIn(patch, 4)).toBeNull();
  const points = outlinePoints(patch.shape, poseIn(patch, 5)!, 0.5);
  expect(points[0]![0]).toBeCloseTo(0.7, 9);
  expect(points[0]![1]).toBeCloseTo(0.5, 9);
  expect(pathOf([[0, 0], [1, 0.5]], 100, 50)).toBe("M0.00 0.00L100.00 25.00Z");
  const [left, top, width, height] = partAbout(points, 0.5, 2);
  expect(width).toBeCloseTo(0.4, 2);
  expect(height).toBeCloseTo(0.8, 2);
  expect(left + width).toBeLessThanOrEqual(1);
  expect(top).toBeGreaterThanOrEqual(0);
});

it("takes frames apart as they are sent, and says when they are not whole", () => {
  const one = new Uint32Array([2, 1, 7, 9]).buffer;
  const source = signalFromBytes(one);
  expect(source).toMatchObject({ kind: "signal", width: 2, height: 1 });
  expect(() => signalFromBytes(new Uint32Array([2, 2, 7]).buffer)).toThrow("expected 2 × 2");
  const two = new Uint8Array([2, 0, 0, 0, 1, 0, 0, 0, 2, 0, 0, 0, 65, 66, 67]).buffer;
  expect(framesFromBytes(two).map((frame) => frame.size)).toEqual([1, 2]);
  expect(() => framesFromBytes(two.slice(0, 14))).toThrow();
});
