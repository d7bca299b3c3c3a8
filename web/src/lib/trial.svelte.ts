// An aim that is looked at on a person's own crops, and not taken yet.

import { api } from "../api/client";
import type { AimTried } from "../api/schema";
import { MOST_SHOTS } from "./aims";
import { Latest } from "./latest";

export class Trial {
  /** What it would do, as the program said last. */
  tried = $state.raw<AimTried | null>(null);
  /** Why that cannot be said. */
  wrong = $state<string | null>(null);
  asking = $state(true);

  #asker: Latest<number[], AimTried>;

  constructor(
    readonly person: string,
    readonly aim: string,
  ) {
    this.#asker = new Latest(
      (shots: number[], stop) => api.tryAim(person, aim, shots, stop),
      (tried) => {
        this.tried = tried;
        this.wrong = null;
        this.asking = false;
      },
      (error) => {
        this.tried = null;
        this.wrong = error instanceof Error ? error.message : String(error);
        this.asking = false;
      },
      "gives up",
    );
  }

  /** Asks what it would do to these shots; what was asked before is given up. */
  look(shots: number[]): void {
    const some = shots.slice(0, MOST_SHOTS);
    if (some.length === 0) {
      this.asking = false;
      return;
    }
    this.asking = true;
    this.#asker.ask(some);
  }

  /** Nobody looks any more. */
  end(): void {
    this.#asker.callOff();
  }
}
