// How long a film of 500 shots and six people takes to open, from the address to drawn run charts. Prints, asserts nothing:
// graphics are drawn in software here. Usage: node web/e2e/opening.mjs [SHOTS]   INKARNAT names the program.
import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { browser, opened, pageIn } from "./browser.mjs";

const ROOT = fileURLToPath(new URL("../..", import.meta.url));
const PROGRAM = process.env.INKARNAT ?? join(ROOT, "target/debug/inkarnat");
const shots = Number(process.argv[2] ?? 500);
const work = mkdtempSync(join(tmpdir(), "inkarnat-long-"));
const one = join(work, "one.inkarnat");
try {
  execFileSync(PROGRAM, ["run", join(ROOT, ".cache/real/single_face.mp4"), "--to", join(work, "out"), "--film", one, "--codec", "h264"], { stdio: "pipe" });
} catch (error) {
  if (error.status !== 2) throw error;
}
const long = join(work, "long.inkarnat");
execFileSync("python3", [join(ROOT, "script/film/long.py"), one, long, String(shots)], { stdio: "inherit" });

const running = await browser();
const rows = [];
for (let run = 0; run < 4; run += 1) {
  // A program of its own each time: nothing is remembered from before.
  const served = await opened(PROGRAM, long);
  const { page } = await pageIn(running);
  await page.addInitScript(() => {
    const look = () => {
      const canvas = document.querySelector(".chart canvas");
      if (canvas && canvas.width > 300 && canvas.height > 150) globalThis.drawn = performance.now();
      else requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  });
  await page.goto(served.address);
  await page.waitForFunction(() => globalThis.drawn !== undefined, null, { timeout: 60_000 });
  rows.push(
    await page.evaluate(() => {
      const film = performance.getEntriesByType("resource").find((entry) => entry.name.endsWith("/api/film"));
      return { drawn: globalThis.drawn, film: film.duration, bytes: film.decodedBodySize, asked: film.startTime };
    }),
  );
  await page.context().close();
  await served.close();
}
await running.close();
rmSync(work, { recursive: true, force: true });
// The first run has the browser's own start in it.
const of = (name) => rows.slice(1).map((row) => row[name]).sort((a, b) => a - b);
const middle = (name) => of(name)[1].toFixed(0);
console.log(`${shots} shots: run charts drawn after ${middle("drawn")} ms (${of("drawn").map((v) => v.toFixed(0)).join(", ")})`);
console.log(`  of that: until the film was asked for ${middle("asked")} ms, its answer ${middle("film")} ms (${(rows[0].bytes / 1e6).toFixed(2)} MB), page and drawing ${(of("drawn")[1] - of("asked")[1] - of("film")[1]).toFixed(0)} ms`);
