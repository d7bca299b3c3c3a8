// What a computer's screen is sent: sRGB of the light that a BT.1886 display makes of the signal.

/** sRGB code, 0–1, of a signal of BT.709 primaries (a power of 2.4, then IEC 61966-2-1). */
export function screenFromSignal(v: number): number {
  const light = Math.min(Math.max(v, 0), 1) ** 2.4;
  return light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055;
}
