// Markdown files are trees of blocks by the time that code sees them: see
// vite.config.ts.
declare module '*.md' {
  const blocks: readonly import('./lib/markdown').Block[];
  export default blocks;
}
