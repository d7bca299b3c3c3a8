import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vite";

// The report: one script and one style of fixed names, which the program puts into one HTML file.
export default defineConfig({
  plugins: [svelte()],
  build: {
    outDir: "dist/report",
    emptyOutDir: true,
    target: "es2022",
    cssCodeSplit: false,
    rollupOptions: {
      input: "src/report/main.ts",
      output: { format: "iife", entryFileNames: "report.js", assetFileNames: "report[extname]" },
    },
  },
});
