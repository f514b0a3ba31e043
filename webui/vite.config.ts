import { svelte } from '@sveltejs/vite-plugin-svelte';
import { svelteTesting } from '@testing-library/svelte/vite';
import { defineConfig } from 'vitest/config';

// The pages run under `default-src 'self'`: nothing may be inlined, neither
// small images nor the module preload helper.
export default defineConfig({
  plugins: [svelte(), svelteTesting()],
  build: {
    target: 'es2022',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    reportCompressedSize: true,
  },
  server: {
    proxy: {
      '/api': 'http://127.0.0.1:8420',
      '/live': { target: 'ws://127.0.0.1:8420', ws: true },
    },
  },
  test: {
    environment: 'happy-dom',
    include: ['src/**/*.test.ts'],
  },
});
