// Makes the README's pictures of the page and of the report from a film, the demo's by default (script/demo makes it).
// Usage: node web/e2e/pictures.mjs [FILM [SHOT [DIRECTORY]]]   INKARNAT names the program, SHOT the shot that is shown.
import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { browser, opened, pageIn } from "./browser.mjs";

const ROOT = fileURLToPath(new URL("../..", import.meta.url));
const PROGRAM = process.env.INKARNAT ?? join(ROOT, "target/release/inkarnat");
const [film = join(ROOT, "demo/out/the_spare_key.inkarnat"), named, to = join(ROOT, "docs/pictures")] = process.argv.slice(2);
const work = mkdtempSync(join(tmpdir(), "inkarnat-pictures-"));
const jpeg = (input, name, filter = []) => execFileSync("ffmpeg", ["-v", "error", "-y", "-i", input, ...filter, "-q:v", "3", join(to, name)]);

const served = await opened(PROGRAM, film);
const running = await browser();
try {
  const { page, complaints } = await pageIn(running, { width: 1440, height: 900 });
  await page.goto(`${served.address}#/film`);
  await page.getByRole("button", { name: "run charts" }).waitFor();
  const { shots, people } = await page.evaluate(async () => (await fetch("api/film")).json());
  // The shot whose fix does most, unless one is named.
  const far = (shot) => Math.max(0, ...shot.people.map((person) => (person.de00_before ?? 0) - (person.de00_after ?? 0)));
  const shown = shots.find((shot) => shot.shot === named) ?? [...shots].sort((a, b) => far(b) - far(a))[0];
  const taken = async (name) => {
    await page.waitForTimeout(2500);
    const png = join(work, `${name}.png`);
    await page.screenshot({ path: png });
    jpeg(png, `${name}.jpg`);
  };
  await taken("page_film");
  await page.goto(`${served.address}#/shot/${shown.id}`);
  await page.waitForFunction(() => Number(document.querySelector("canvas[data-loaded]")?.dataset.loaded ?? 0) > 0, null, { timeout: 60_000 });
  await taken("page_shot");
  await page.goto(`${served.address}#/people`);
  await page.getByRole("heading", { name: "People", exact: true }).waitFor();
  // Somebody of several shots, with an aim that is looked at before it is taken.
  const seen = (person) => shots.filter((shot) => shot.people.some((other) => other.person === person)).length;
  const often = people.map((person) => person.person).sort((a, b) => seen(b) - seen(a))[0];
  const aim = "level:61-65,hue:119-125";
  const words = page.getByRole("textbox", { name: `an aim typed in for ${often}` });
  await words.fill(aim);
  await words.press("Enter");
  await page.getByRole("region", { name: `${aim} for ${often}: not taken yet` }).getByText("take this aim").waitFor();
  await page.waitForTimeout(500);
  await page.waitForFunction(() => {
    const inSight = [...document.images].filter((image) => image.getBoundingClientRect().top < window.innerHeight);
    return inSight.length > 3 && inSight.every((image) => image.complete && image.naturalWidth > 0);
  });
  await taken("page_people");
  await page.goto(`${served.address}#/hand-over`);
  await page.getByRole("heading", { name: "Hand over", exact: true }).waitFor();
  // A folder of nobody's machine.
  await page.getByRole("textbox", { name: "where" }).fill("/films/the_spare_key-handover");
  await taken("page_hand_over");
  if (complaints.length > 0) throw new Error(complaints.join("; "));

  // The report as it prints: its first two pages, and the one of the shot.
  const html = join(work, "report.html");
  execFileSync(PROGRAM, ["report", film, "--to", html], { stdio: ["ignore", "ignore", "inherit"] });
  const report = await running.newPage();
  await report.goto(`file://${html}`);
  await report.getByRole("heading", { name: "Each shot" }).waitFor();
  const pdf = join(work, "report.pdf");
  await report.pdf({ path: pdf, format: "A4", margin: { top: "14mm", bottom: "16mm", left: "12mm", right: "12mm" } });
  const pages = Number(/Pages:\s+(\d+)/.exec(execFileSync("pdfinfo", [pdf], { encoding: "utf8" }))[1]);
  const of = (number) => execFileSync("pdftotext", ["-f", String(number), "-l", String(number), pdf, "-"], { encoding: "utf8" });
  const numbers = Array.from({ length: pages }, (_, i) => i + 1);
  const each = numbers.find((number) => of(number).includes(shown.shot) && of(number).includes("before") && of(number).includes("Fix:"));
  const sheets = [1, 2, each ?? 3].map((number, i) => {
    const sheet = join(work, `sheet${i}`);
    execFileSync("pdftoppm", ["-png", "-singlefile", "-scale-to-x", "700", "-scale-to-y", "-1", "-f", String(number), "-l", String(number), pdf, sheet]);
    return ["-i", `${sheet}.png`];
  });
  const stack = ["-filter_complex", "hstack=inputs=3", "-q:v", "3", join(to, "report.jpg")];
  execFileSync("ffmpeg", ["-v", "error", "-y", ...sheets.flat(), ...stack]);
  console.log(`${to}: pictures of ${shots.length} shots and ${people.length} people, of ${shown.shot}, and of pages 1, 2 and ${each ?? 3} of ${pages} of the report`);
} finally {
  await running.close();
  await served.close();
  rmSync(work, { recursive: true, force: true });
}
