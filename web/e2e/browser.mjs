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
