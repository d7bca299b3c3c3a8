// Aims to choose from, and what is said of one that is looked at before it is taken. No DOM here.

import type { AimTried, AimTriedShot, OtherMoved, ShotState } from "../api/schema";
import { counted, level, number, STATES } from "./format";

export interface AimChoice {
  aim: string;
  text: string;
}

/** The presets, by where their numbers come from. */
export const PRESETS: readonly { from: string; choices: readonly AimChoice[] }[] = [
  {
    from: "common practice, no source",
    choices: [
      { aim: "practice-light", text: "practice-light: 70 %, 65–75" },
      { aim: "practice-deep", text: "practice-deep: 50 %, 40–60" },
    ],
  },
  {
    from: "published facial spectra",
    choices: [
      { aim: "measured-very-light", text: "measured-very-light: 61 %, 57–64" },
      { aim: "measured-light", text: "measured-light: 57 %, 53–61" },
      { aim: "measured-intermediate", text: "measured-intermediate: 53 %, 50–56" },
      { aim: "measured-tan", text: "measured-tan: 48 %, 45–51" },
      { aim: "measured-brown", text: "measured-brown: 40 %, 33–44" },
      { aim: "measured-dark", text: "measured-dark: 27 %, 21–32" },
    ],
  },
];

/** Shots that an aim is looked at on at once, as the program takes them. */
export const MOST_SHOTS = 64;

/** Whether an aim is one of those to choose from, with a person's shots beside. */
export function isListed(aim: string, shots: readonly { shot: string }[]): boolean {
  return aim === "" || aim === "own" || PRESETS.some(({ choices }) => choices.some((choice) => choice.aim === aim)) || shots.some(({ shot }) => aim === `like:${shot}`);
}

/** What to know before an aim is taken. */
export function caution(aim: string): string {
  if (aim === "own") return "Own keeps this person's own complexion.";
  if (aim.startsWith("practice-")) return "A convention without a source that grew up around light skin, and brighter than such skin measures.";
  if (aim.startsWith("measured-")) return "The median and the 5th to 95th percentile of one complexion class: for somebody of that complexion only, never to bring anybody to another.";
  if (aim.startsWith("like:")) return "That shot should show this person, in light that is meant the same.";
  return "A typed aim is a convention of your own: it should be this person's complexion, not another's.";
}

/** How many shots would be in which state. */
export function outcome(tried: AimTried): string {
  const count = (state: ShotState) => tried.shots.filter((shot) => shot.state === state).length;
  const parts = STATES.map((state) => ({ state, n: count(state) })).filter(({ n }) => n > 0);
  const states = parts.map(({ state, n }) => `${n} ${state}`).join(", ");
  const same = tried.shots.filter((shot) => !shot.changes).length;
  if (tried.shots.length === 0) return "No shot was looked at.";
  if (same === tried.shots.length) return `Nothing would change in ${tried.shots.length === 1 ? "this shot" : `these ${tried.shots.length} shots`}: ${states}.`;
  return `${counted(tried.shots.length, "shot")} with this aim: ${states}${same > 0 ? `; ${same} would stay as now` : ""}.`;
}

/** A signed number with its unit. */
function by(value: number, decimals: number, unit: string): string {
  const text = number(value, decimals);
  return `${value > 0 && Number(text) !== 0 ? "+" : ""}${text.replace("-", "−")}${unit}`;
}

/** A name at the head of a sentence: "person 2" is one too. */
function capital(name: string): string {
  return name.charAt(0).toUpperCase() + name.slice(1);
}

/** How somebody else moves. */
export function movedInWords(other: OtherMoved): string {
  const hue = other.hue_deg == null ? "" : `, ${by(other.hue_deg, 1, "°")}`;
  const state = other.state === other.state_now ? "" : `; would be ${other.state}, now ${other.state_now}`;
  return `${capital(other.person)} moves by ${number(other.de00, 1)} (${by(other.level_pct, 1, " %")}${hue})${state}`;
}

/** Everybody else who would move in the shots that were looked at: by how much at most, and where. */
export function othersMoved(tried: AimTried): string[] {
  const furthest = new Map<string, { other: OtherMoved; shot: AimTriedShot; shots: number; worse: number }>();
  for (const shot of tried.shots) {
    for (const other of shot.others) {
      const known = furthest.get(other.person);
      const was = other.state_now === "on aim" || other.state_now === "proved";
      const worse = (known?.worse ?? 0) + (was && (other.state === "short" || other.state === "off aim") ? 1 : 0);
      if (!known || other.de00 > known.other.de00) furthest.set(other.person, { other, shot, shots: (known?.shots ?? 0) + 1, worse });
      else furthest.set(other.person, { ...known, shots: known.shots + 1, worse });
    }
  }
  return [...furthest.values()].map(({ other, shot, shots, worse }) => {
    const where = shots === 1 ? `in ${shot.shot}` : `in ${shots} of these shots, most in ${shot.shot}`;
    return `${capital(other.person)} moves too, ${where}: by ${number(other.de00, 1)} CIEDE2000 (${level(Math.abs(other.level_pct))} ${other.level_pct < 0 ? "darker" : "brighter"})${worse === 0 ? "" : `, and would no longer be on aim ${shots === 1 ? "there" : `in ${worse} of them`}`}.`;
  });
}

/** Shots beside those that are shown. */
export function besides(tried: AimTried): string | null {
  const parts: string[] = [];
  if (tried.also.length > 0) {
    const some = tried.also.slice(0, 3).join(", ");
    const more = tried.also.length > 3 ? ` and ${tried.also.length - 3} more` : "";
    parts.push(`${some}${more} ${tried.also.length === 1 ? "carries" : "carry"} the same fixes and would change too.`);
  }
  if (tried.left.length > 0) parts.push(`${counted(tried.left.length, "shot")} could not be solved in the time there is; ${tried.left.length === 1 ? "it is" : "they are"} shown without this aim.`);
  return parts.length > 0 ? parts.join(" ") : null;
}
