// How long it takes from a control that is moved to the picture, and to the program's exact numbers, with a film of 1080p.
// Prints, asserts nothing: graphics are drawn in software here, by the processor that also runs browser and program.
// Usage: node web/e2e/latency.mjs [TIMES]   INKARNAT names the program.
import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { cpus, loadavg, tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { browser, opened, pageIn } from "./browser.mjs";

const ROOT = fileURLToPath(new URL("../..", import.meta.url));
const PROGRAM = process.env.INKARNAT ?? join(ROOT, "target/debug/inkarnat");
const times = Number(process.argv[2] ?? 40);
/** One frame of a screen of 60 Hz, and what numbers may take, ms. */
const [FRAME, NUMBERS] = [1000 / 60, 100];
const work = mkdtempSync(join(tmpdir(), "inkarnat-latency-"));

function ran(args) {
  try {
    execFileSync(PROGRAM, args, { stdio: "pipe" });
  } catch (error) {
    // 2: something is short or unread, which a film may be.
    if (error.status !== 2) throw new Error(`${args[0]}: ${error.stderr}`);
  }
}

/** Two seconds of a real clip, enlarged to 1080p with grain; its fix has a balance, and a key on skin. */
function film() {
  const clip = join(work, "clip.mp4");
  const tags = ["-color_range", "tv", "-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"];
  const source = join(ROOT, ".cache/real/single_face.mp4");
  const filter = "scale=1920:1080:flags=bicubic,noise=alls=7:allf=t";
  execFileSync("ffmpeg", ["-v", "error", "-y", "-i", source, "-an", "-vf", filter, "-frames:v", "50", "-c:v", "libx264", "-preset", "fast", "-b:v", "20M", ...tags, clip]);
  const path = join(work, "film.inkarnat");
  ran(["start", path, clip, "--patch", `${clip}@0:ellipse=0.405,0.55,0.022,0.045:person=Ada`]);
  for (const args of [["read", path], ["aim", path, "--person", "Ada=level:60-66,hue:119-125"], ["fix", path]]) ran(args);
  return path;
}

/** Notes what the page draws, asks and shows, and when. Runs in the page, before anything else of it. */
function watch() {
  const seen = { frame: 0, inputs: [], draws: [], asked: 0, answers: [], shown: [] };
  globalThis.seen = seen;
  const tick = () => {
    seen.frame += 1;
    requestAnimationFrame(tick);
  };
  requestAnimationFrame(tick);
  for (const kind of ["keydown", "pointermove"]) {
    // Shift alone moves nothing.
    addEventListener(kind, (event) => event.key === "Shift" || seen.inputs.push({ at: event.timeStamp, frame: seen.frame }), true);
  }
  // Reading a pixel back waits until it is drawn; numbers that come meanwhile would have to wait too.
  seen.readBack = true;
  const drawArrays = WebGL2RenderingContext.prototype.drawArrays;
  WebGL2RenderingContext.prototype.drawArrays = function (...args) {
    drawArrays.apply(this, args);
    if (!seen.readBack) return;
    const pixel = new Uint8Array(4);
    const { width, height } = this.canvas;
    this.readPixels(Math.floor(0.7 * width), Math.floor(0.5 * height), 1, 1, this.RGBA, this.UNSIGNED_BYTE, pixel);
    seen.draws.push({ at: performance.now(), frame: seen.frame, pixel: pixel.join(" ") });
  };
  const plain = globalThis.fetch;
  globalThis.fetch = async (...args) => {
    if (!String(args[0]).endsWith("/try")) return plain(...args);
    const asked = performance.now();
    seen.asked += 1;
    const answer = await plain(...args);
    const [person] = (await answer.clone().json()).people;
    seen.answers.push({ asked, at: performance.now(), ratio: person.sat_ratio });
    return answer;
  };
  const text = () => [...document.querySelectorAll("table")].find((table) => table.querySelector("thead")?.textContent.includes("tried"))?.textContent ?? null;
  new MutationObserver(() => {
    const now = text();
    if (now !== null && now !== seen.shown.at(-1)?.text) seen.shown.push({ at: performance.now(), text: now });
  }).observe(document, { subtree: true, childList: true, characterData: true });
}

/** Waits until the page has done all that it was asked for: no answer is outstanding, and frames pass in which nothing is drawn. */
async function settled(page) {
  for (let quiet = 0, last = ""; quiet < 3; ) {
    await page.waitForTimeout(60);
    const now = await page.evaluate(() => JSON.stringify([globalThis.seen.asked, globalThis.seen.answers.length, globalThis.seen.draws.length, globalThis.seen.shown.length]));
    const waiting = await page.evaluate(() => new Promise((resolve) => requestAnimationFrame(() => resolve(globalThis.seen.asked > globalThis.seen.answers.length))));
    quiet = now === last && !waiting ? quiet + 1 : 0;
    last = now;
  }
}

/** One input: frames and ms to the picture with the new value, or ms to the numbers that were measured with it. */
async function measured(page, act, of) {
  const pixel = await page.evaluate((of) => {
    const { seen } = globalThis;
    const canvas = document.querySelector("canvas[data-loaded]");
    const at = 4 * ((canvas.height - 1 - Math.floor(0.5 * canvas.height)) * canvas.width + Math.floor(0.7 * canvas.width));
    const last = canvas.pixels().subarray(at, at + 4).join(" ");
    Object.assign(seen, { inputs: [], draws: [], answers: [], shown: [], asked: 0, readBack: of === "picture" });
    return last;
  }, of);
  await act();
  const handle = await page.waitForFunction(
    ([pixel, of]) => {
      const { inputs, draws, answers, shown } = globalThis.seen;
      const input = inputs[0];
      if (!input) return false;
      if (of === "picture") {
        const draw = draws.find((one) => one.pixel !== pixel);
        return draw && { frames: draw.frame - input.frame, ms: draw.at - input.at };
      }
      // The table says what was answered to the last number.
      const answer = answers.at(-1);
      const table = answer && shown.find((one) => one.at >= answer.at && one.text.includes(answer.ratio.toFixed(3)));
      return table && { ms: table.at - input.at, server: answer.at - answer.asked };
    },
    [pixel, of],
    { timeout: 60_000 },
  );
  const found = await handle.jsonValue();
  // What follows is another input, not a burst.
  await settled(page);
  return found;
}

function spread(values) {
  const sorted = [...values].sort((a, b) => a - b);
  const at = (share) => sorted[Math.min(sorted.length - 1, Math.round(share * (sorted.length - 1)))];
  return { low: sorted[0], middle: at(0.5), high: at(0.95), most: sorted.at(-1) };
}
const line = ({ low, middle, high, most }) => `median ${middle.toFixed(0)} ms (least ${low.toFixed(0)}, 95 % within ${high.toFixed(0)}, most ${most.toFixed(0)})`;

async function series(page, name, act) {
  const rows = async (of) => {
    const all = [];
    for (let i = 0; i < times + 3; i += 1) all.push(await measured(page, () => act(i), of));
    // The first few have compiling in them.
    return all.slice(3);
  };
  const [pictures, numbers] = [await rows("picture"), await rows("numbers")];
  const next = pictures.filter((row) => row.frames <= 1).length;
  const picture = spread(pictures.map((row) => row.ms));
  const shown = spread(numbers.map((row) => row.ms));
  const within = numbers.filter((row) => row.ms <= NUMBERS).length;
  console.log(`  ${name}`);
  console.log(`    picture: in the next drawn frame ${next} of ${times} times, in the ${Math.max(...pictures.map((row) => row.frames))}. at the latest; drawn and read back after ${line(picture)}: ${(picture.middle / FRAME).toFixed(1)}x a frame of 60 Hz`);
  console.log(`    numbers: shown after ${line(shown)}: ${(shown.middle / NUMBERS).toFixed(2)}x of ${NUMBERS} ms, within it ${within} of ${times} times; of that the program's answer ${line(spread(numbers.map((row) => row.server)))}`);
}

const path = film();
const served = await opened(PROGRAM, path);
const running = await browser();
try {
  const load = loadavg()[0];
  console.log(`control to picture and numbers, a film of 1080p, ${times} times each; WebGL in software, ${cpus().length} cores, load ${load.toFixed(1)}${load > 0.7 * cpus().length ? " (others work on this machine: figures are too high)" : ""}`);
  for (const viewport of [{ width: 1920, height: 1080 }, { width: 3840, height: 2160 }]) {
    const { page, complaints } = await pageIn(running, viewport);
    await page.addInitScript(watch);
    await page.goto(`${served.address}#/shot`);
    await page.waitForFunction(() => Number(document.querySelector("canvas[data-loaded]")?.dataset.loaded ?? 0) > 0, null, { timeout: 60_000 });
    await page.waitForTimeout(1500);
    const size = await page.evaluate(() => {
      const canvas = document.querySelector("canvas[data-loaded]");
      return `${canvas.width}×${canvas.height}`;
    });
    console.log(`a window of ${viewport.width}×${viewport.height}, picture drawn at ${size}`);
    const slope = page.getByRole("textbox", { name: "slope red" });
    await slope.focus();
    await series(page, "slope of red, arrow key", (i) => page.keyboard.press(Math.floor(i / 8) % 2 === 0 ? "Shift+ArrowUp" : "Shift+ArrowDown"));
    await page.keyboard.press("Escape");
    await page.evaluate(() => document.activeElement.blur());
    const box = await slope.boundingBox();
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    await page.waitForTimeout(500);
    await page.mouse.down();
    await page.mouse.move(box.x + box.width / 2 + 6, box.y + box.height / 2);
    await page.waitForTimeout(1000);
    // Forth and back; the last of one round and the first of the next are two places too.
    let forth = false;
    await series(page, "slope of red, dragged", () => page.mouse.move(box.x + box.width / 2 + ((forth = !forth) ? 20 : 8), box.y + box.height / 2));
    if (complaints.length > 0) console.log(`  the page complained: ${complaints.join("; ")}`);
    await page.context().close();
  }
} finally {
  await running.close();
  await served.close();
  rmSync(work, { recursive: true, force: true });
}
