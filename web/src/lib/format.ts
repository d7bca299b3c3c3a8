// Numbers and states as words. No DOM here.

import type { ShotState } from "../api/schema";

/** A level in percent, one decimal. */
export function level(pct: number | null | undefined): string {
  return pct === null || pct === undefined ? "–" : `${pct.toFixed(1)} %`;
}

/** A hue in degrees, one decimal. */
export function hue(deg: number | null | undefined): string {
  return deg === null || deg === undefined ? "no hue" : `${deg.toFixed(1)}°`;
}

/** How far from the skin-tone line, and which way. */
export function offLine(deg: number | null | undefined): string {
  if (deg === null || deg === undefined) return "–";
  if (Math.abs(deg) < 0.05) return "on it";
  return `${Math.abs(deg).toFixed(1)}° ${deg > 0 ? "greener" : "redder"}`;
}

/** A plain number with so many decimals; a dash for none. A rounded zero has no sign. */
export function number(value: number | null | undefined, decimals: number): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const text = value.toFixed(decimals);
  return Number(text) === 0 ? (0).toFixed(decimals) : text;
}

/** A value with its expanded uncertainty (k = 2), both with so many decimals. */
export function withUncertainty(value: number, u: number, decimals: number): string {
  return `${number(value, decimals)} ± ${number(2 * u, decimals)}`;
}

/** Seconds as minutes and seconds. */
export function clock(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds));
  const minutes = Math.floor(whole / 60);
  const hours = Math.floor(minutes / 60);
  const two = (n: number) => String(n).padStart(2, "0");
  return hours > 0
    ? `${hours}:${two(minutes % 60)}:${two(whole % 60)}`
    : `${two(minutes)}:${two(whole % 60)}`;
}

/** Seconds that are left, in words. */
export function timeLeft(seconds: number | null | undefined): string {
  if (seconds === null || seconds === undefined) return "time left not known yet";
  if (seconds < 5) return "a few seconds left";
  if (seconds < 90) return `about ${Math.round(seconds / 5) * 5} s left`;
  return `about ${Math.round(seconds / 60)} min left`;
}

/** Bytes in a unit that reads well. */
export function bytes(count: number): string {
  const units = ["bytes", "kB", "MB", "GB", "TB"];
  let value = count;
  let unit = 0;
  while (value >= 1000 && unit < units.length - 1) {
    value /= 1000;
    unit += 1;
  }
  return `${unit === 0 ? value : value.toFixed(1)} ${units[unit]}`;
}

/** The states in the order in which they ask for attention. */
export const STATES: readonly ShotState[] = ["off aim", "short", "unread", "on aim", "kept", "proved"];

/** What a state means, for the help sheet and for readers of the report. */
export const STATE_MEANING: Record<ShotState, string> = {
  unread: "nothing was read",
  "off aim": "read, and not where the aim is",
  "on aim": "where the aim is, as it is or after the fix",
  kept: "you said: leave it",
  short: "cannot reach the aim within the limits",
  proved: "on aim or kept, and the delivered file was read again and agrees",
};

/** "1 shot", "2 shots". */
export function counted(count: number, what: string): string {
  return `${count} ${what}${count === 1 ? "" : "s"}`;
}

/** A sentence that begins and ends like one. */
export function sentence(text: string): string {
  const whole = text.charAt(0).toUpperCase() + text.slice(1);
  return /[.!?…]$/.test(whole) || whole === "" ? whole : `${whole}.`;
}

/** The file name of a path. */
export function fileName(path: string): string {
  return path.split(/[\\/]/).pop() ?? path;
}
