// Asks about what changes faster than answers come.

/** Asks one thing at a time, at once; what has come up while it waits for an answer is asked next, and only the newest of it.
 * `gives up`: what is being asked is given up for something newer, as whoever answers can stop halfway. */
export class Latest<Question, Answer> {
  #asking = false;
  #next: { question: Question } | null = null;
  // Counts what was called off: an answer from before is not heard.
  #round = 0;
  #stop = new AbortController();

  constructor(
    private readonly work: (question: Question, stop: AbortSignal) => Promise<Answer>,
    private readonly done: (answer: Answer) => void,
    private readonly failed: (error: unknown) => void,
    private readonly habit: "waits" | "gives up" = "waits",
  ) {}

  ask(question: Question): void {
    this.#next = { question };
    if (!this.#asking) void this.#go();
    else if (this.habit === "gives up") this.#stop.abort();
  }

  /** Nothing that was asked so far is answered any more. */
  callOff(): void {
    this.#next = null;
    this.#round += 1;
    if (this.habit === "gives up") this.#stop.abort();
  }

  async #go(): Promise<void> {
    this.#asking = true;
    while (this.#next) {
      const { question } = this.#next;
      const round = this.#round;
      this.#next = null;
      const stop = new AbortController();
      this.#stop = stop;
      const heard = () => round === this.#round && !stop.signal.aborted;
      try {
        const answer = await this.work(question, stop.signal);
        if (heard()) this.done(answer);
      } catch (error) {
        if (heard()) this.failed(error);
      }
    }
    this.#asking = false;
  }
}
