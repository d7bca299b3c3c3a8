import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vitest/config";

// The page: addresses are relative, since it lies below a token that differs each time.
export default defineConfig({
  base: "./",
  plugins: [svelte()],
  build: { outDir: "dist", assetsInlineLimit: 0, modulePreload: { polyfill: false }, target: "es2022" },
  test: { include: ["src/**/*.test.ts"], environment: "node" },
});
