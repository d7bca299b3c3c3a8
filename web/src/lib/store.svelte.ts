// The one store of the page: what the program said last, and what is selected.

import { api, listen, Refused } from "../api/client";
import type { FilmState, JobView, Overview, OverviewShot, ShotState } from "../api/schema";
import { nextOff, shown, startTimes } from "./chart";

export type Place = "film" | "shot" | "people" | "hand over";
export const PLACES: readonly Place[] = ["film", "shot", "people", "hand over"];
export const PLACE_NAMES: Record<Place, string> = {
  film: "Film",
  shot: "Shot",
  people: "People",
  "hand over": "Hand over",
};

class Store {
  place = $state<Place>("film");
  state = $state.raw<FilmState | null>(null);
  film = $state.raw<Overview | null>(null);
  job = $state.raw<JobView | null>(null);
  /** Number of the selected shot. */
  selected = $state<number | null>(null);
  states = $state.raw<ReadonlySet<ShotState>>(new Set());
  order = $state<"film" | "distance">("film");
  /** What went wrong last; the editor sends it away. */
  trouble = $state<string | null>(null);
  /** What was done last. */
  notice = $state<string | null>(null);
  connected = $state(true);
  helpOpen = $state(false);
  findOpen = $state(false);
  /** The frame at which a shot is to be opened. */
  wanted: { shot: number; frame: number } | null = null;
  /** Counts what the program changed: addresses of pictures carry it, so that a browser asks anew. */
  version = $state(1);

  shots = $derived(this.film ? shown(this.film, { states: this.states, order: this.order }) : []);
  starts = $derived(this.film ? startTimes(this.film) : new Map<number, number>());
  shot = $derived<OverviewShot | null>(this.film?.shots.find((shot) => shot.id === this.selected) ?? null);
  /** Column of the selected shot among those shown. */
  index = $derived(this.shots.findIndex((shot) => shot.id === this.selected));

  #reload: number | undefined;
  #session = Math.random().toString(36).slice(2, 8);

  /** Names the present version of a picture to the browser. */
  get pictureVersion(): string {
    return `${this.#session}${this.version}`;
  }

  start(): void {
    this.#readAddress();
    window.addEventListener("hashchange", () => this.#readAddress());
    void this.load();
    listen(
      (job) => (this.job = job),
      () => this.#soon(),
      (connected) => {
        if (connected && !this.connected) this.#soon();
        this.connected = connected;
      },
    );
  }

  /** Loads the film, at most a few times a second however fast it changes. */
  #soon(): void {
    this.#reload ??= window.setTimeout(() => {
      this.#reload = undefined;
      void this.load();
    }, 250);
  }

  async load(): Promise<void> {
    try {
      this.state = await api.state();
      if (!this.state.exists) return;
      this.film = await api.film();
      this.version += 1;
      if (this.selected === null || !this.film.shots.some((shot) => shot.id === this.selected)) {
        this.selected = this.film.shots[0]?.id ?? null;
      }
    } catch (error) {
      this.fail(error);
    }
  }

  fail(error: unknown): void {
    this.trouble = error instanceof Refused ? error.message : `The page met an error: ${String(error)}`;
  }

  /** Does something that may be refused, and says what came of it. */
  async attempt<T>(work: () => Promise<T>): Promise<T | null> {
    this.trouble = null;
    try {
      const result = await work();
      if (result && typeof result === "object" && "done" in result) this.notice = String(result.done);
      return result;
    } catch (error) {
      this.fail(error);
      return null;
    }
  }

  go(place: Place, shot: number | null = this.selected): void {
    this.place = place;
    if (shot !== null) this.selected = shot;
    this.#writeAddress();
  }

  /** Opens a shot at one of its frames. */
  goToFrame(shot: number, frame: number): void {
    this.wanted = { shot, frame };
    this.go("shot", shot);
  }

  select(shot: number): void {
    this.selected = shot;
    this.#writeAddress();
  }

  /** Selects the shot so many columns further. */
  step(by: number): void {
    if (this.shots.length === 0) return;
    const from = this.index < 0 ? 0 : this.index;
    const to = Math.min(Math.max(from + by, 0), this.shots.length - 1);
    this.select(this.shots[to]!.id);
  }

  nextOff(): void {
    const index = nextOff(this.shots, this.index);
    if (index === null) this.notice = "No shot is off aim, short or unread.";
    else this.select(this.shots[index]!.id);
  }

  /** Takes the last decision back. */
  async goBack(): Promise<void> {
    if (await this.attempt(() => api.undo())) await this.load();
  }

  /** Does again what was taken back. */
  async goForward(): Promise<void> {
    if (await this.attempt(() => api.redo())) await this.load();
  }

  toggle(state: ShotState): void {
    // A new set each time: the old one is never changed.
    // eslint-disable-next-line svelte/prefer-svelte-reactivity
    const states = new Set(this.states);
    if (!states.delete(state)) states.add(state);
    this.states = states;
    if (this.shots.length > 0 && this.index < 0) this.select(this.shots[0]!.id);
  }

  #readAddress(): void {
    const [place, shot] = location.hash.replace(/^#\/?/, "").split("/");
    const found = PLACES.find((known) => known.replace(" ", "-") === place);
    if (found) this.place = found;
    if (shot && /^\d+$/.test(shot)) this.selected = Number(shot);
  }

  #writeAddress(): void {
    const shot = this.selected === null ? "" : `/${this.selected}`;
    history.replaceState(null, "", `#/${this.place.replace(" ", "-")}${shot}`);
  }
}

export const store = new Store();
