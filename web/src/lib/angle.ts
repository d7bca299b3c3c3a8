// Hues are angles: differences go the short way round.

/** The shortest arc from `from` to `to` in degrees, in (−180, 180]. */
export function arc(from: number, to: number): number {
  const turned = (((to - from) % 360) + 360) % 360;
  return turned > 180 ? turned - 360 : turned;
}

/** The mean direction of some hues; null where they cancel or there are none. */
export function meanHue(hues: readonly number[]): number | null {
  let x = 0;
  let y = 0;
  for (const hue of hues) {
    x += Math.cos((hue * Math.PI) / 180);
    y += Math.sin((hue * Math.PI) / 180);
  }
  if (Math.hypot(x, y) < 1e-9) return null;
  return ((Math.atan2(y, x) * 180) / Math.PI + 360) % 360;
}
