// Talks to the program that serves the page. Addresses are relative: the token is part of the page's own.

import type {
  AimTried,
  Delivered,
  FilmState,
  FixChoice,
  JobView,
  Numbers,
  OutlineShape,
  Overview,
  PeopleOrder,
  ShotLimits,
  ShotView,
  Tried,
  WorkOrder,
} from "./schema";

import { tableFromBytes, TWICE } from "../lib/cdl";

/** What the program said instead of an answer. */
export class Refused extends Error {}

async function answered(path: string, init?: RequestInit): Promise<Response> {
  let response: Response;
  try {
    response = await fetch(`api/${path}`, init);
  } catch {
    throw new Refused("The program does not answer. Start it again with `inkarnat open`, and open the address that it prints.");
  }
  if (!response.ok) {
    const text = await response.text();
    let reason = text.trim();
    try {
      reason = (JSON.parse(text) as { error: string }).error;
    } catch {
      // Plain text says it itself.
    }
    throw new Refused(reason || `the program answered ${response.status}`);
  }
  return response;
}

async function got<T>(path: string): Promise<T> {
  return (await (await answered(path)).json()) as T;
}

async function sent<T>(path: string, body: unknown, signal?: AbortSignal): Promise<T> {
  const response = await answered(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
    ...(signal ? { signal } : {}),
  });
  return (await response.json()) as T;
}

interface Done {
  done: string;
}

export type Side = "before" | "after" | "table" | "tried";
export type Form = "screen" | "screen_exact" | "signal" | "still16";

export interface PictureOrder {
  shot: number;
  frame: number;
  side: Side;
  form: Form;
  width?: number;
  part?: [number, number, number, number];
  /** Of side `tried`: the name of the fix. */
  tried?: string;
  version?: string;
}

/** The address of a picture. */
export function pictureAddress(order: PictureOrder): string {
  const query = new URLSearchParams({ frame: String(order.frame), side: order.side, form: order.form });
  if (order.width !== undefined) query.set("width", String(Math.round(order.width)));
  if (order.part) query.set("part", order.part.map((v) => v.toFixed(5)).join(","));
  if (order.tried) query.set("tried", order.tried);
  if (order.version) query.set("v", order.version);
  return `api/shots/${order.shot}/picture?${query}`;
}

async function buffer(address: string, signal?: AbortSignal): Promise<ArrayBuffer> {
  const path = address.replace(/^api\//, "");
  return (await answered(path, signal ? { signal } : undefined)).arrayBuffer();
}

export const api = {
  state: () => got<FilmState>("state"),
  film: () => got<Overview>("film"),
  shot: (id: number) => got<ShotView>(`shots/${id}`),
  job: () => got<JobView>("job"),
  limits: () => got<ShotLimits[]>("limits"),
  delivered: () => got<Delivered[]>("delivered"),
  picture: (order: PictureOrder, signal?: AbortSignal) => buffer(pictureAddress(order), signal),
  proxy: (shot: number, from: number, count: number, width: number, signal?: AbortSignal) =>
    buffer(`api/shots/${shot}/proxy?from=${from}&count=${count}&width=${width}`, signal),
  traces: (shot: number, frame: number, person: string | null, version: string) => {
    const query = new URLSearchParams({ frame: String(frame), v: version });
    if (person !== null) query.set("person", person);
    return buffer(`api/shots/${shot}/traces?${query}`);
  },
  /** The table that the fix is exported as; of one that follows the light, that of a frame. */
  table: async (shot: number, frame?: number, signal?: AbortSignal) =>
    tableFromBytes(await buffer(`api/shots/${shot}/table${frame === undefined ? "" : `?frame=${frame}`}`, signal)),
  /** The look over the fix. */
  tableOfLook: async (shot: number) => tableFromBytes(await buffer(`api/shots/${shot}/table?look=true`)),
  /** The operations of the fix from one of them on (up to another), without what follows the light. */
  tableOfPart: async (shot: number, from: number, to?: number) =>
    tableFromBytes(await buffer(`api/shots/${shot}/table?from=${from}${to === undefined ? "" : `&to=${to}`}`), TWICE),
  tryNumbers: (shot: number, numbers: Numbers) => sent<Tried>(`shots/${shot}/try`, numbers),
  choose: (shot: number, fix: FixChoice) => sent<Done>(`shots/${shot}/choose`, { fix }),
  copyToScene: (shot: number) => sent<Done>(`shots/${shot}/copy`, { to: "scene" }),
  holdConstant: (shot: number, constant: boolean) => sent<Done>(`shots/${shot}/constant`, { constant }),
  keep: (shot: number, kept: boolean) => sent<Done>(`shots/${shot}/keep`, { kept }),
  note: (shot: number, text: string) => sent<Done>(`shots/${shot}/note`, { text }),
  patch: (shot: number, person: string, frame: number, shape: OutlineShape) =>
    sent<JobView>(`shots/${shot}/patch`, { person, frame, shape }),
  undraw: (shot: number, person: string, frame: number) => sent<JobView>(`shots/${shot}/undraw`, { person, frame }),
  people: (order: PeopleOrder) => sent<Done>("people", order),
  answer: (id: number, yes: boolean) => sent<Done>("answer", { id, yes }),
  erase: () => sent<Done>("erase", {}),
  /** What an aim would do to some shots; nothing is changed. */
  tryAim: (person: string, aim: string, shots: number[], stop?: AbortSignal) =>
    sent<AimTried>("aim/try", { person, aim, shots }, stop),
  aim: (person: string, aim: string) => sent<JobView>("aim", { person, aim }),
  work: (order: WorkOrder) => sent<JobView>("work", order),
  undo: () => sent<Done>("undo", {}),
  redo: () => sent<Done>("redo", {}),
  stop: () => sent<Done>("stop", {}),
  async drop(file: File): Promise<string> {
    const response = await answered(`drop?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
    return ((await response.json()) as { path: string }).path;
  },
};

/** Listens to what happens; gives what ends it. */
export function listen(onJob: (job: JobView) => void, onFilm: () => void, onState: (connected: boolean) => void): () => void {
  const events = new EventSource("api/events");
  events.addEventListener("job", (event) => onJob(JSON.parse((event as MessageEvent<string>).data) as JobView));
  events.addEventListener("film", onFilm);
  events.addEventListener("open", () => onState(true));
  events.addEventListener("error", () => onState(false));
  return () => events.close();
}
