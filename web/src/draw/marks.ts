// States as shapes, for canvas and for SVG. Before is always open, after always filled.

import type { ShotState } from "../api/schema";

type Path = Pick<CanvasRenderingContext2D, "moveTo" | "lineTo" | "arc" | "closePath" | "rect">;

/** The outline of a state's mark about a point; r is about half its width. */
export function outline(path: Path, state: ShotState, x: number, y: number, r: number): void {
  switch (state) {
    case "off aim":
      path.moveTo(x, y - 1.35 * r);
      path.lineTo(x + 1.35 * r, y);
      path.lineTo(x, y + 1.35 * r);
      path.lineTo(x - 1.35 * r, y);
      path.closePath();
      break;
    case "short":
      path.moveTo(x - 1.2 * r, y - r);
      path.lineTo(x + 1.2 * r, y - r);
      path.lineTo(x, y + 1.2 * r);
      path.closePath();
      break;
    case "kept":
      path.rect(x - 0.9 * r, y - 0.9 * r, 1.8 * r, 1.8 * r);
      break;
    case "unread":
      path.rect(x - 1.2 * r, y - 0.25 * r, 2.4 * r, 0.5 * r);
      break;
    case "on aim":
    case "proved":
      path.moveTo(x + r, y);
      path.arc(x, y, r, 0, 2 * Math.PI);
      break;
  }
}

/** Whether a state's mark is filled; off aim is open, so that it stands out among filled ones. */
export function filled(state: ShotState): boolean {
  return state !== "off aim";
}

/** The mark as an SVG path about (0, 0) with r = 5. */
export function svgPath(state: ShotState): string {
  const parts: string[] = [];
  const n = (v: number) => Number(v.toFixed(2));
  outline(
    {
      moveTo: (x, y) => parts.push(`M${n(x)} ${n(y)}`),
      lineTo: (x, y) => parts.push(`L${n(x)} ${n(y)}`),
      closePath: () => parts.push("Z"),
      rect: (x, y, w, h) => parts.push(`M${n(x)} ${n(y)}h${n(w)}v${n(h)}h${n(-w)}Z`),
      arc: (x, y, r) => parts.push(`M${n(x + r)} ${n(y)}A${r} ${r} 0 1 1 ${n(x - r)} ${n(y)}A${r} ${r} 0 1 1 ${n(x + r)} ${n(y)}Z`),
    },
    state,
    0,
    0,
    5,
  );
  return parts.join("");
}
