// Makes src/api/types.ts from docs/openapi.json, which the Rust types make. With --check: says whether it is fresh.
import { readFile, writeFile } from "node:fs/promises";
import openapiTS, { astToString } from "openapi-typescript";

const description = new URL("../../docs/openapi.json", import.meta.url);
const target = new URL("../src/api/types.ts", import.meta.url);
const head = "// Made by `npm run types` from docs/openapi.json. Not to be edited.\n\n";
const made = head + astToString(await openapiTS(description));
if (process.argv.includes("--check")) {
  const there = await readFile(target, "utf8").catch(() => "");
  if (there !== made) {
    console.error("src/api/types.ts is not what docs/openapi.json gives; run: npm run types");
    process.exit(1);
  }
} else {
  await writeFile(target, made);
}
