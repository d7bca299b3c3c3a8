// Asks about what changes faster than answers come.

/** Asks one thing at a time, at once; what has come up while it waits for an answer is asked next, and only the newest of it. */
export class Latest<Question, Answer> {
  #asking = false;
  #next: { question: Question } | null = null;
  // Counts what was called off: an answer from before is not heard.
  #round = 0;

  constructor(
    private readonly work: (question: Question) => Promise<Answer>,
    private readonly done: (answer: Answer) => void,
    private readonly failed: (error: unknown) => void,
  ) {}

  ask(question: Question): void {
    this.#next = { question };
    if (!this.#asking) void this.#go();
  }

  /** Nothing that was asked so far is answered any more. */
  callOff(): void {
    this.#next = null;
    this.#round += 1;
  }

  async #go(): Promise<void> {
    this.#asking = true;
    while (this.#next) {
      const { question } = this.#next;
      const round = this.#round;
      this.#next = null;
      try {
        const answer = await this.work(question);
        if (round === this.#round) this.done(answer);
      } catch (error) {
        if (round === this.#round) this.failed(error);
      }
    }
    this.#asking = false;
  }
}
