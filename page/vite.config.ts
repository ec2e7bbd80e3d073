import { defineConfig } from "vite";

// The built files are served by the program itself under a strict policy: no inline script or
// style, nothing from elsewhere.
export default defineConfig({
  base: "/",
  oxc: { jsx: { runtime: "automatic", importSource: "preact" } },
  build: {
    outDir: "../src/gudgeon/faces/web/page",
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    cssCodeSplit: false,
    chunkSizeWarningLimit: 900,
  },
});
