import { svelte } from '@sveltejs/vite-plugin-svelte';
import { svelteTesting } from '@testing-library/svelte/vite';
import { defineConfig } from 'vitest/config';
import { parseMarkdown } from './src/lib/markdown.ts';

/** Markdown is read when the pages are built; a page gets the tree. */
const markdown = {
  name: 'markdown',
  transform(code: string, id: string) {
    return id.endsWith('.md') ? { code: `export default ${JSON.stringify(parseMarkdown(code))}`, map: null } : undefined;
  },
};

// The pages run under `default-src 'self'`: nothing may be inlined, neither
// small images nor the module preload helper.
export default defineConfig({
  plugins: [markdown, svelte()],
  build: {
    target: 'es2022',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    reportCompressedSize: true,
    // Two pages: those of the ward, and that of who sits, which must not wait for them.
    rollupOptions: { input: ['index.html', 'seat/index.html'] },
  },
  server: {
    proxy: {
      '/api': 'http://127.0.0.1:8420',
      '/live': { target: 'ws://127.0.0.1:8420', ws: true },
    },
  },
  // Only views need something like a browser, which takes longer to make than most tests.
  // What is tested in lib keeps nothing to itself that another test could find, so that its
  // files share their workers.
  test: {
    projects: [
      { extends: true, test: { name: 'lib', include: ['src/lib/**/*.test.ts'], pool: 'threads', isolate: false } },
      { extends: true, plugins: [svelteTesting()], test: { name: 'views', include: ['src/views/**/*.test.ts'], environment: 'happy-dom' } },
    ],
  },
});
