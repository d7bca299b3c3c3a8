// Where a patch lies in a frame, as a path in fractions of the picture.

import type { FaceView, OutlineShape, PatchView } from "../api/schema";

type Pose = readonly [number, number, number, number];

/** The pose of a patch in a frame; null where it is lost. A patch that was not followed yet lies on its own frame alone. */
export function poseIn(patch: PatchView, frame: number): Pose | null {
  if (patch.poses.length === 0) return frame === patch.frame ? [1, 0, 0, 0] : null;
  const pose = patch.poses[frame - patch.first_frame];
  return (pose as Pose | null | undefined) ?? null;
}

/** Frames of a shot in which none of a person's drawn patches is held, as spans from their first to their last frame. */
export function lostSpans(patches: readonly PatchView[], from: number, to: number): [number, number][] {
  const spans: [number, number][] = [];
  for (let frame = from; frame < to; frame += 1) {
    if (patches.some((patch) => poseIn(patch, frame) !== null)) continue;
    const last = spans[spans.length - 1];
    if (last && last[1] === frame - 1) last[1] = frame;
    else spans.push([frame, frame]);
  }
  return spans;
}

/** The outline of a patch as it lies under a pose: turned ellipses stand upright again. */
export function outlineUnder(shape: OutlineShape, pose: Pose, aspect: number): OutlineShape {
  if ("polygon" in shape) return { polygon: outlinePoints(shape, pose, aspect) };
  const { centre, radii } = shape.ellipse;
  const [moved] = outlinePoints({ polygon: [centre] }, pose, aspect);
  const scale = Math.hypot(pose[0], pose[1]);
  return { ellipse: { centre: [...moved!], radii: radii.map((r) => r * scale) } };
}

/** Points around an outline, moved by a pose. `aspect` is height over width of the picture. */
export function outlinePoints(shape: OutlineShape, pose: Pose, aspect: number): [number, number][] {
  const [a, b, tx, ty] = pose;
  const moved = ([x, y]: readonly [number, number]): [number, number] => {
    const v = y * aspect;
    return [a * x - b * v + tx, (b * x + a * v + ty) / aspect];
  };
  if ("polygon" in shape) return shape.polygon.map((corner) => moved(corner as [number, number]));
  const { centre, radii } = shape.ellipse;
  const points: [number, number][] = [];
  for (let step = 0; step < 48; step += 1) {
    const angle = (step / 48) * 2 * Math.PI;
    points.push(moved([centre[0]! + radii[0]! * Math.cos(angle), centre[1]! + radii[1]! * Math.sin(angle)]));
  }
  return points;
}

/** The edge of a found face in a frame, or in the nearest one in which it was looked at; null where it is lost. */
export function edgeIn(face: FaceView, frame: number): [number, number][] | null {
  let best = -1;
  face.frames.forEach((known, i) => {
    if (best < 0 || Math.abs(known - frame) < Math.abs(face.frames[best]! - frame)) best = i;
  });
  const near = face.frames[best];
  const edge = face.edges[best];
  if (near === undefined || !edge || Math.abs(near - frame) > 12) return null;
  const points: [number, number][] = [];
  for (let i = 0; i + 1 < edge.length; i += 2) points.push([edge[i]!, edge[i + 1]!]);
  return points;
}

/** Points as an SVG path in a box of `width` by `height`. */
export function pathOf(points: readonly (readonly [number, number])[], width: number, height: number): string {
  if (points.length === 0) return "";
  const text = points.map(([x, y]) => `${(x * width).toFixed(2)} ${(y * height).toFixed(2)}`);
  return `M${text.join("L")}Z`;
}

/** The square part of a picture about some points, with room around: left, top, width, height in fractions. */
export function partAbout(
  points: readonly (readonly [number, number])[],
  aspect: number,
  room: number,
): [number, number, number, number] {
  const xs = points.map((p) => p[0]);
  const ys = points.map((p) => p[1]);
  const [cx, cy] = [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2];
  const wide = Math.max(Math.max(...xs) - Math.min(...xs), (Math.max(...ys) - Math.min(...ys)) * aspect);
  const width = Math.min(wide * room, 1, aspect);
  const height = width / aspect;
  const inside = (v: number, size: number) => Math.min(Math.max(v - size / 2, 0), 1 - size);
  return [inside(cx, width), inside(cy, height), width, height];
}
