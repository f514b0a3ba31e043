import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { parseMarkdown, parseSpans } from './markdown';

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

  it('has figures, and headings with an address of their own', () => {
    expect(parseMarkdown('## 41 ± 2 mmHg {#doubt}\ntext\n![What it shows: a.](limb)')).toEqual([
      { kind: 'heading', level: 2, id: 'doubt', spans: [{ kind: 'text', text: '41 ± 2 mmHg' }] },
      { kind: 'paragraph', spans: [{ kind: 'text', text: 'text' }] },
      { kind: 'figure', name: 'limb', caption: 'What it shows: a.' },
    ]);
  });

  it('is all that the notes are written in', () => {
    const blocks = parseMarkdown(readFileSync('src/notes/firmware.md', 'utf8'));
    expect(blocks.filter((b) => b.kind === 'code' && b.name).map((b) => b.kind === 'code' && b.name)).toEqual(['board.ino', 'mat.c']);
    const prose = blocks.flatMap((b) => (b.kind === 'paragraph' ? b.spans : b.kind === 'list' ? b.items.flat() : []));
    expect(prose.filter((s) => s.kind === 'text' && /[`|#]|\*\*|<!--/.test(s.text))).toEqual([]);
    for (const b of blocks) if (b.kind === 'table') for (const row of b.rows) expect(row).toHaveLength(b.head.length);
  });
});
