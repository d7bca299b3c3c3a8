// The keys that mean the same in every place. A place adds its own while it is shown.

import { PLACES, store } from "./store.svelte";

export interface Key {
  keys: string;
  does: string;
}

export const EVERYWHERE: readonly Key[] = [
  { keys: "1 2 3 4", does: "Film, Shot, People, Hand over" },
  { keys: "← →", does: "shot before, shot after" },
  { keys: "N", does: "next shot that is off aim, short or unread" },
  { keys: "/", does: "find a shot by its name" },
  { keys: "Z, Shift Z", does: "take back, do again" },
  { keys: "?", does: "this sheet" },
];

export const IN_FILM: readonly Key[] = [
  { keys: "Home, End", does: "first shot, last shot" },
  { keys: "+ − 0", does: "charts closer, wider, all" },
  { keys: "Enter", does: "open the shot" },
];

export const IN_SHOT: readonly Key[] = [
  { keys: "hold B", does: "see before" },
  { keys: "D", does: "divider in the middle, at the left, at the right" },
  { keys: "Space", does: "play, stop" },
  { keys: ", .", does: "frame before, frame after" },
  { keys: "K", does: "keep the shot as it is, or no longer" },
  { keys: "O", does: "outlines of patches on and off" },
  { keys: "T", does: "traces on and off" },
  { keys: "C", does: "copy the fix to the scene" },
  { keys: "Tab to a part of the key, arrows", does: "move the key on skin; with Shift five times as far" },
];

export const IN_PEOPLE: readonly Key[] = [
  { keys: "Esc", does: "leave the aim that is looked at" },
];

type Handler = (event: KeyboardEvent) => boolean;
const handlers = new Set<Handler>();

/** Adds keys of a place; gives what takes them away again. A handler that used the key says so. */
export function withKeys(handler: Handler): () => void {
  handlers.add(handler);
  return () => handlers.delete(handler);
}

function typing(event: KeyboardEvent): boolean {
  const target = event.target;
  return target instanceof HTMLElement && target.matches("input, textarea, select, [contenteditable]");
}

export function keyPressed(event: KeyboardEvent): void {
  if (event.ctrlKey || event.metaKey || event.altKey || typing(event)) return;
  if (store.helpOpen || store.findOpen) return;
  // A button that has the focus keeps Enter and Space for itself.
  const onButton = event.target instanceof HTMLElement && event.target.matches("button, a, summary");
  if (onButton && (event.key === "Enter" || event.key === " ")) return;
  for (const handler of handlers) {
    if (handler(event)) {
      event.preventDefault();
      return;
    }
  }
  const place = PLACES[Number(event.key) - 1];
  if (place) store.go(place);
  else if (event.key === "ArrowLeft") store.step(-1);
  else if (event.key === "ArrowRight") store.step(1);
  else if (event.key === "n" || event.key === "N") store.nextOff();
  else if (event.key === "?") store.helpOpen = true;
  else if (event.key === "/") store.findOpen = true;
  else if (event.key === "z") void store.goBack();
  else if (event.key === "Z") void store.goForward();
  else return;
  event.preventDefault();
}
