import { describe, expect, it } from "vitest";
import { Latest } from "./latest";

function slow() {
  const asked: number[] = [];
  const waiting: (() => void)[] = [];
  const heard: number[] = [];
  const failed: unknown[] = [];
  const latest = new Latest<number, number>(
    (question) => {
      asked.push(question);
      return new Promise((resolve, reject) => waiting.push(() => (question < 0 ? reject(new Error("no")) : resolve(10 * question))));
    },
    (answer) => heard.push(answer),
    (error) => failed.push(error),
  );
  const answer = async () => {
    waiting.shift()?.();
    await new Promise((resolve) => setTimeout(resolve));
  };
  return { latest, asked, heard, failed, answer };
}

describe("asking about what changes fast", () => {
  it("asks at once, then only the newest", async () => {
    const { latest, asked, heard, answer } = slow();
    for (const question of [1, 2, 3, 4]) latest.ask(question);
    expect(asked).toEqual([1]);
    await answer();
    expect(asked).toEqual([1, 4]);
    await answer();
    expect(heard).toEqual([10, 40]);
    latest.ask(5);
    expect(asked).toEqual([1, 4, 5]);
  });
  it("does not hear what was called off", async () => {
    const { latest, asked, heard, answer } = slow();
    latest.ask(1);
    latest.ask(2);
    latest.callOff();
    await answer();
    expect(heard).toEqual([]);
    expect(asked).toEqual([1]);
    latest.ask(3);
    await answer();
    expect(heard).toEqual([30]);
  });
  it("goes on after a failure", async () => {
    const { latest, heard, failed, answer } = slow();
    latest.ask(-1);
    latest.ask(2);
    await answer();
    await answer();
    expect(failed).toHaveLength(1);
    expect(heard).toEqual([20]);
  });
  it("gives up what is asked for something newer, and hears nothing of it", async () => {
    const [asked, heard, failed]: [number[], number[], unknown[]] = [[], [], []];
    const latest = new Latest<number, number>(
      (question, stop) => {
        asked.push(question);
        return new Promise((resolve, reject) => {
          stop.addEventListener("abort", () => reject(new Error(`given up: ${question}`)));
          if (question === 3) resolve(30);
        });
      },
      (answer) => heard.push(answer),
      (error) => failed.push(error),
      "gives up",
    );
    for (const question of [1, 2, 3]) latest.ask(question);
    await new Promise((resolve) => setTimeout(resolve));
    expect(asked).toEqual([1, 3]);
    expect(heard).toEqual([30]);
    expect(failed).toEqual([]);
    latest.ask(4);
    latest.callOff();
    await new Promise((resolve) => setTimeout(resolve));
    expect(asked).toEqual([1, 3, 4]);
    expect([heard, failed]).toEqual([[30], []]);
  });
});
