// The program's page in Debian's Chromium. Graphics are drawn in software: speeds here say little about a desktop's.
import { spawn } from "node:child_process";
import { createInterface } from "node:readline";
import { chromium } from "playwright-core";

export const CHROMIUM = process.env.CHROMIUM ?? "/usr/bin/chromium";

/** Starts `inkarnat open FILM`; gives its address and what ends it. */
export async function opened(program, film, more = []) {
  const child = spawn(program, ["open", film, "--no-browser", ...more], { stdio: ["ignore", "pipe", "inherit"] });
  const lines = createInterface({ input: child.stdout });
  const address = await new Promise((resolve, reject) => {
    lines.once("line", resolve);
    child.once("exit", (code) => reject(new Error(`the program ended with ${code} before it gave its address`)));
  });
  return {
    address,
    close: () =>
      new Promise((resolve) => {
        child.once("exit", resolve);
        child.kill("SIGINT");
      }),
  };
}

/** A browser, with what it complains about gathered. */
export async function browser() {
  return chromium.launch({
    executablePath: CHROMIUM,
    args: ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--force-color-profile=srgb"],
  });
}

/** A page whose console errors, failed requests and exceptions are gathered in `complaints`. */
export async function pageIn(running, viewport = { width: 1280, height: 720 }) {
  const context = await running.newContext({ viewport, deviceScaleFactor: 1, acceptDownloads: true });
  const page = await context.newPage();
  const complaints = [];
  page.on("console", (message) => {
    if (message.type() === "error") complaints.push(`${message.text()} ${message.location().url}`);
  });
  page.on("pageerror", (error) => {
    complaints.push(String(error));
    if (process.env.INKARNAT_SHOTS) console.log(error.stack);
  });
  return { page, complaints };
}

/** The picture on the screen against a frame that the program takes through the exported table: the share of pixels within
 * 1/255, the share that the fix moves, and the mean of the source (0–255). The middle frame unless one is named. */
export async function compared(page, index, named, side = "table") {
  return page.evaluate(
    async ([at, wanted, side]) => {
      const canvas = document.querySelector("canvas[data-loaded]");
      const shot = (await (await fetch("api/film")).json()).shots[at];
      const frame = wanted ?? Math.floor((shot.in_frame + shot.out_frame - 1) / 2);
      const pixels = async (side) => {
        const answer = await fetch(`api/shots/${shot.id}/picture?frame=${frame}&side=${side}&form=screen_exact&width=${canvas.width}`);
        const bitmap = await createImageBitmap(await answer.blob(), { colorSpaceConversion: "none" });
        const plain = new OffscreenCanvas(bitmap.width, bitmap.height).getContext("2d");
        plain.drawImage(bitmap, 0, 0);
        return plain.getImageData(0, 0, bitmap.width, bitmap.height);
      };
      const [expected, source] = [await pixels(side), await pixels("before")];
      const shown = canvas.pixels();
      const size = [canvas.width, canvas.height, expected.width, expected.height];
      const count = expected.data.length / 4;
      let [near, moved, sum] = [0, 0, 0];
      for (let i = 0; i < expected.data.length; i += 4) {
        if (Math.max(...[0, 1, 2].map((c) => Math.abs(expected.data[i + c] - shown[i + c]))) <= 1) near += 1;
        if (Math.abs(source.data[i] - shown[i]) > 4) moved += 1;
        sum += source.data[i + 1];
      }
      return { size, share: near / count, moved: moved / count, source: sum / count };
    },
    [index, named, side],
  );
}

/** What of a page would be cut off on paper: on A4 and on Letter, with the margins that the report asks for. */
export async function cutOff(page) {
  const [side, ends] = [24, 30];
  const found = [];
  await page.emulateMedia({ media: "print" });
  for (const [sheet, width, height] of [["A4", 210, 297], ["Letter", 215.9, 279.4]]) {
    const pixels = (mm) => Math.floor((mm / 25.4) * 96);
    await page.setViewportSize({ width: pixels(width - side), height: pixels(height - ends) });
    const there = await page.evaluate(() => {
      const said = [];
      const name = (element) => `${element.tagName.toLowerCase()} "${(element.textContent || element.getAttribute("aria-label") || element.getAttribute("alt") || "").trim().slice(0, 40)}"`;
      for (const element of document.body.querySelectorAll("*")) {
        const box = element.getBoundingClientRect();
        if (box.width === 0 || box.height === 0) continue;
        if (box.right > innerWidth + 0.5 || box.left < -0.5) said.push(`${name(element)} ends ${(box.right - innerWidth).toFixed(0)} pixels beyond the side`);
        if (element.matches("td, th, p, dd, li") && element.scrollWidth > element.clientWidth + 1) said.push(`${name(element)} is wider than its room`);
        // What may not be broken has to fit on one sheet.
        if (getComputedStyle(element).breakInside === "avoid" && box.height > innerHeight) said.push(`${name(element)} is ${box.height.toFixed(0)} pixels high, the sheet ${innerHeight}`);
      }
      return said;
    });
    found.push(...there.map((text) => `${sheet}: ${text}`));
  }
  await page.emulateMedia({ media: null });
  return found;
}
