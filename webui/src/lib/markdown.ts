// The part of Markdown that the project's notes are written in, as a tree that
// a view can show. It is read when the pages are built: nothing of this goes to
// a browser but the tree.
//
// Headings, paragraphs, lists of one level, code (fenced, or in by four), tables, and in a line
// code, strong, emphasis and links. A heading can end with an address of its own,
// {#name}; an image by itself is a figure that the view draws. Comments are left
// out. Anything else is text.

export type Span = { kind: 'text' | 'code' | 'strong' | 'em'; text: string } | { kind: 'link'; text: string; to: string };

export type Block =
  | { kind: 'heading'; level: number; id: string; spans: Span[] }
  | { kind: 'paragraph'; spans: Span[] }
  | { kind: 'list'; ordered: boolean; items: Span[][] }
  | { kind: 'figure'; name: string; caption: string }
  | { kind: 'code'; language: string; name: string; text: string }
  | { kind: 'table'; head: Span[][]; rows: Span[][][] };

const INLINE = /`([^`]+)`|\*\*([^*]+)\*\*|\*([^*]+)\*|\[([^\]]+)\]\(([^)]+)\)/g;

export function parseSpans(line: string): Span[] {
  const spans: Span[] = [];
  let from = 0;
  for (const m of line.matchAll(INLINE)) {
    if (m.index > from) spans.push({ kind: 'text', text: line.slice(from, m.index) });
    from = m.index + m[0].length;
    if (m[1] !== undefined) spans.push({ kind: 'code', text: m[1] });
    else if (m[2] !== undefined) spans.push({ kind: 'strong', text: m[2] });
    else if (m[3] !== undefined) spans.push({ kind: 'em', text: m[3] });
    else spans.push({ kind: 'link', text: m[4]!, to: m[5]! });
  }
  if (from < line.length) spans.push({ kind: 'text', text: line.slice(from) });
  return spans;
}

/** A line of code that stands further in than text does; one of a paragraph or an item never comes to this. */
const INDENTED = /^ {4,}\S/;

const ITEM = /^(?:[-*]|(\d+)\.) +/;

/** A name for a heading's address: "What arrives" is "what-arrives". */
function slug(text: string): string {
  return text.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, '-').replace(/^-|-$/g, '');
}

function cells(line: string): Span[][] {
  return line.trim().replace(/^\||\|$/g, '').split(/(?<!\\)\|/).map((c) => parseSpans(c.trim().replaceAll('\\|', '|')));
}

export function parseMarkdown(source: string): Block[] {
  const lines = source.replace(/<!--[\s\S]*?-->/g, '').split(/\r?\n/);
  const blocks: Block[] = [];
  let i = 0;
  const special = (line: string) => line.trim() === '' || /^(#{1,6} |```|\||!\[)/.test(line) || ITEM.test(line);
  while (i < lines.length) {
    const line = lines[i]!;
    const heading = /^(#{1,6}) +(.*)$/.exec(line);
    const fence = /^```(\w*) *(.*)$/.exec(line);
    const figure = /^!\[(.+)\]\((\w+)\)$/.exec(line);
    const item = ITEM.exec(line);
    if (line.trim() === '') {
      i++;
    } else if (heading) {
      const [, words, own] = /^(.*?)(?: *\{#([\w-]+)\})?$/.exec(heading[2]!)!;
      blocks.push({ kind: 'heading', level: heading[1]!.length, id: own ?? slug(words!), spans: parseSpans(words!) });
      i++;
    } else if (figure) {
      blocks.push({ kind: 'figure', caption: figure[1]!, name: figure[2]! });
      i++;
    } else if (fence) {
      const from = ++i;
      while (i < lines.length && lines[i] !== '```') i++;
      blocks.push({ kind: 'code', language: fence[1]!, name: fence[2]!.trim(), text: lines.slice(from, i).join('\n') });
      i++;
    } else if (INDENTED.test(line)) {
      const from = i;
      // An empty line is part of it if more of it follows.
      while (i < lines.length && (INDENTED.test(lines[i]!) || (lines[i]!.trim() === '' && INDENTED.test(lines[i + 1] ?? '')))) i++;
      const code = lines.slice(from, i);
      const margin = Math.min(...code.flatMap((l) => (l.trim() === '' ? [] : [l.search(/\S/)])));
      blocks.push({ kind: 'code', language: '', name: '', text: code.map((l) => l.slice(margin)).join('\n') });
    } else if (line.startsWith('|')) {
      const from = i;
      while (i < lines.length && lines[i]!.startsWith('|')) i++;
      const [head, , ...rows] = lines.slice(from, i);
      blocks.push({ kind: 'table', head: cells(head!), rows: rows.map(cells) });
    } else if (item) {
      const items: string[] = [];
      const ordered = item[1] !== undefined;
      for (; i < lines.length && lines[i]!.trim() !== ''; i++) {
        const begins = ITEM.exec(lines[i]!);
        if (begins) items.push(lines[i]!.slice(begins[0].length));
        else items[items.length - 1] += ` ${lines[i]!.trim()}`;
      }
      blocks.push({ kind: 'list', ordered, items: items.map(parseSpans) });
    } else {
      const words = [line.trim()];
      for (i++; i < lines.length && !special(lines[i]!); i++) words.push(lines[i]!.trim());
      blocks.push({ kind: 'paragraph', spans: parseSpans(words.join(' ')) });
    }
  }
  return blocks;
}
