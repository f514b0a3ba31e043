import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { parseMarkdown, parseSpans, type Block, type Span } from './markdown';

const NOTES = Object.fromEntries(readdirSync('src/notes').map((f) => [f.replace('.md', ''), parseMarkdown(readFileSync(`src/notes/${f}`, 'utf8'))]));
const spansOf = (b: Block): Span[] => (b.kind === 'paragraph' ? b.spans : b.kind === 'list' ? b.items.flat() : b.kind === 'table' ? [...b.head, ...b.rows.flat()].flat() : []);

describe('the notes’ Markdown', () => {
  it('has spans of code, strong, emphasis and links', () => {
    expect(parseSpans('a `b|c` **d** *e* [f](/g).')).toEqual([
      { kind: 'text', text: 'a ' }, { kind: 'code', text: 'b|c' }, { kind: 'text', text: ' ' }, { kind: 'strong', text: 'd' },
      { kind: 'text', text: ' ' }, { kind: 'em', text: 'e' }, { kind: 'text', text: ' ' }, { kind: 'link', text: 'f', to: '/g' }, { kind: 'text', text: '.' },
    ]);
    expect(parseSpans('`<a>` and 2 * 3')).toEqual([{ kind: 'code', text: '<a>' }, { kind: 'text', text: ' and 2 * 3' }]);
  });

  it('has headings, paragraphs, lists, code and tables, and no comments', () => {
    const text = ['# One', '', 'first', 'line', '- a', '  more', '- b', '', '<!-- not', 'this -->', '```c mat.c', 'int a;', '', '| x', '```', '| h | i |', '| --- | --- |', '| 1 |  |', '', '1. eins', '2. zwei'].join('\n');
    expect(parseMarkdown(text)).toEqual([
      { kind: 'heading', level: 1, id: 'one', spans: [{ kind: 'text', text: 'One' }] },
      { kind: 'paragraph', spans: [{ kind: 'text', text: 'first line' }] },
      { kind: 'list', ordered: false, items: [[{ kind: 'text', text: 'a more' }], [{ kind: 'text', text: 'b' }]] },
      { kind: 'code', language: 'c', name: 'mat.c', text: 'int a;\n\n| x' },
      { kind: 'table', head: [[{ kind: 'text', text: 'h' }], [{ kind: 'text', text: 'i' }]], rows: [[[{ kind: 'text', text: '1' }], []]] },
      { kind: 'list', ordered: true, items: [[{ kind: 'text', text: 'eins' }], [{ kind: 'text', text: 'zwei' }]] },
    ]);
  });

  it('has code that stands further in, also below an item, and with empty lines', () => {
    expect(parseMarkdown('say:\n\n    a: 1\n\n      b: 2\n\nso\n    it goes on\n\n- one:\n\n      keep:\n        c: 3\n')).toEqual([
      { kind: 'paragraph', spans: [{ kind: 'text', text: 'say:' }] },
      { kind: 'code', language: '', name: '', text: 'a: 1\n\n  b: 2' },
      { kind: 'paragraph', spans: [{ kind: 'text', text: 'so it goes on' }] },
      { kind: 'list', ordered: false, items: [[{ kind: 'text', text: 'one:' }]] },
      { kind: 'code', language: '', name: '', text: 'keep:\n  c: 3' },
    ]);
  });

  it('has figures, and headings with an address of their own', () => {
    expect(parseMarkdown('## 41 ± 2 mmHg {#doubt}\ntext\n![What it shows: a.](limb)')).toEqual([
      { kind: 'heading', level: 2, id: 'doubt', spans: [{ kind: 'text', text: '41 ± 2 mmHg' }] },
      { kind: 'paragraph', spans: [{ kind: 'text', text: 'text' }] },
      { kind: 'figure', name: 'limb', caption: 'What it shows: a.' },
    ]);
  });

  it('is all that the notes are written in', () => {
    const firmware = parseMarkdown(readFileSync('src/notes/firmware.md', 'utf8'));
    expect(firmware.filter((b) => b.kind === 'code' && b.name).map((b) => b.kind === 'code' && b.name)).toEqual(['board.ino', 'mat.c']);
    expect(Object.keys(NOTES)).toHaveLength(7);
    for (const [name, blocks] of Object.entries(NOTES)) {
      const prose = blocks.flatMap(spansOf);
      expect(prose.filter((s) => s.kind === 'text' && /[`|#]|\*\*|<!--|\]\(/.test(s.text)), name).toEqual([]);
      for (const b of blocks) if (b.kind === 'table') for (const row of b.rows) expect(row, name).toHaveLength(b.head.length);
    }
  });

  it('has links of the notes that lead to one of them, and to a part that is there', () => {
    for (const [name, blocks] of Object.entries(NOTES)) {
      for (const s of blocks.flatMap(spansOf)) {
        if (s.kind !== 'link' || /^(https?:|\/)/.test(s.to)) continue;
        const [, to, part] = /^(?:(\w+)\.md)?(?:#(.+))?$/.exec(s.to) ?? [];
        const there = NOTES[to ?? name];
        expect(there, `${name}: ${s.to}`).toBeDefined();
        if (part) expect(there!.flatMap((b) => (b.kind === 'heading' ? [b.id] : [])), `${name}: ${s.to}`).toContain(part);
      }
    }
  });
});
