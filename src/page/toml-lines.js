// A machine file as the form sees it: sections of lines `key = value # comment`. The text stays the truth;
// a change of one value changes its place in its line and leaves order, comments and unknown keys alone.

/** Where the comment of a line begins, or its end. */
function commentStart(line) {
  let quote = '';
  for (let k = 0; k < line.length; ++k) {
    const c = line[k];
    if (quote) {
      if (c === '\\' && quote === '"') ++k;
      else if (c === quote) quote = '';
    } else if (c === '"' || c === "'") quote = c;
    else if (c === '#') return k;
  }
  return line.length;
}

function unquoted(text) {
  if (text.startsWith("'")) return text.slice(1, -1);
  try {
    return JSON.parse(text);
  } catch {
    return text.slice(1, -1);
  }
}

/** Parts between commas outside brackets and quotes. */
function parts(text) {
  const found = [];
  let depth = 0;
  let quote = '';
  let part = '';
  for (const c of text) {
    if (quote) quote = c === quote ? '' : quote;
    else if (c === '"' || c === "'") quote = c;
    else if (c === '[' || c === '{') ++depth;
    else if (c === ']' || c === '}') --depth;
    if (c === ',' && depth === 0 && !quote) {
      found.push(part);
      part = '';
    } else part += c;
  }
  if (part.trim()) found.push(part);
  return found.map((each) => each.trim());
}

/** Text, number, truth, list or table, as written on one line. */
export function valueOf(raw) {
  const text = raw.trim();
  if (text.startsWith('"') || text.startsWith("'")) return unquoted(text);
  if (text.startsWith('[')) return parts(text.slice(1, -1)).map(valueOf);
  if (text.startsWith('{')) {
    return Object.fromEntries(
      parts(text.slice(1, -1)).map((pair) => {
        const at = pair.indexOf('=');
        return [pair.slice(0, at).trim(), valueOf(pair.slice(at + 1))];
      }),
    );
  }
  if (text === 'true' || text === 'false') return text === 'true';
  return Number(text.replaceAll('_', ''));
}

export function rawOf(value) {
  if (typeof value === 'string') return JSON.stringify(value);
  if (Array.isArray(value)) return `[${value.map(rawOf).join(', ')}]`;
  if (typeof value === 'object') {
    return `{ ${Object.entries(value).map(([key, each]) => `${key} = ${rawOf(each)}`).join(', ')} }`;
  }
  return String(value);
}

/** Sections in order: {name, line, end, keys: Map(key -> {line, from, to, raw})}; line numbers from 0. */
export function sectionsOf(text) {
  const lines = text.split('\n');
  const sections = [{ name: '', line: 0, end: 0, keys: new Map() }];
  lines.forEach((line, k) => {
    const end = commentStart(line);
    const said = line.slice(0, end);
    const head = said.match(/^\s*\[\[?\s*([A-Za-z0-9_.-]+)\s*\]?\]\s*$/);
    if (head) {
      sections.push({ name: head[1], line: k, end: k, keys: new Map() });
      return;
    }
    const pair = said.match(/^(\s*([A-Za-z0-9_-]+)\s*=\s*)(\S.*?)\s*$/);
    const section = sections.at(-1);
    if (said.trim()) section.end = k;
    if (pair) section.keys.set(pair[2], { line: k, from: pair[1].length, to: pair[1].length + pair[3].length, raw: pair[3] });
  });
  return sections;
}

export function withValue(text, sectionIndex, key, value) {
  const lines = text.split('\n');
  const section = sectionsOf(text)[sectionIndex];
  const place = section.keys.get(key);
  if (place) {
    const line = lines[place.line];
    lines[place.line] = line.slice(0, place.from) + rawOf(value) + line.slice(place.to);
  } else {
    lines.splice(section.end + 1, 0, `${key} = ${rawOf(value)}`);
  }
  return lines.join('\n');
}

/** Adds a section behind the last one of its kind, or at the end. */
export function withSection(text, name, entries, list = true) {
  const sections = sectionsOf(text);
  const last = sections.findLast((section) => section.name === name);
  const lines = text.replace(/\n*$/, '\n').split('\n');
  const at = last ? last.end + 1 : lines.length - 1;
  const head = list ? `[[${name}]]` : `[${name}]`;
  const body = Object.entries(entries).map(([key, value]) => `${key} = ${rawOf(value)}`);
  lines.splice(at, 0, '', head, ...body);
  return lines.join('\n');
}

export function withoutSection(text, sectionIndex) {
  const section = sectionsOf(text)[sectionIndex];
  const lines = text.split('\n');
  lines.splice(section.line, section.end - section.line + 1);
  return lines.join('\n').replace(/\n{3,}/g, '\n\n');
}

/** The machine as plain values, for the form and the drawing; throws nothing on half-typed text. */
export function machineOf(text) {
  const machine = { rotary: [], artefact: [], obstacle: [], linear: {}, probe: {} };
  sectionsOf(text).forEach((section, index) => {
    const values = Object.fromEntries([...section.keys].map(([key, place]) => [key, valueOf(place.raw)]));
    const entry = { ...values, section: index };
    if (Array.isArray(machine[section.name])) machine[section.name].push(entry);
    else if (section.name) machine[section.name] = entry;
    else Object.assign(machine, values, { section: index });
  });
  return machine;
}
