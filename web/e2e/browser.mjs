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
    if (message.type() === "error") complaints.push(message.text());
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
