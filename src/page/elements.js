// Building blocks of the rooms.

/** el('p', {class: 'note', onclick}, 'text', child...): an element with its attributes and children. */
export function el(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else if (name in element && typeof value !== 'string') element[name] = value;
    else element.setAttribute(name, value === true ? '' : value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

let nextId = 1;
export const freshId = (stem) => `${stem}-${nextId++}`;

/** A labelled control, with one sentence on what it is for. */
export function field(label, control, why) {
  const id = control.id || freshId('field');
  control.id = id;
  const note = why ? el('span', { class: 'why', id: `${id}-why` }, why) : null;
  if (note) control.setAttribute('aria-describedby', note.id);
  return el('div', { class: 'field' }, el('label', { for: id }, label), control, note);
}

export function select(options, value, onchange, attributes = {}) {
  const list = el('select', { ...attributes, onchange: (event) => onchange(event.target.value) });
  fillSelect(list, options, value);
  return list;
}

/** Options are texts, or [value, text]. */
export function fillSelect(list, options, value) {
  list.replaceChildren(
    ...options.map((option) => {
      const [key, text] = Array.isArray(option) ? option : [option, option];
      return el('option', { value: key, selected: key === value }, text);
    }),
  );
}

/** Typed text that speaks up when typing pauses. */
export function typed(value, onchange, attributes = {}) {
  const box = el('input', { type: 'text', autocomplete: 'off', spellcheck: 'false', ...attributes });
  box.value = value;
  box.addEventListener('change', () => onchange(box.value));
  return box;
}

export function slider(label, { min, max, step, value, shown, oninput, onchange }) {
  const out = el('output', {}, shown(value));
  const range = el('input', { type: 'range', min: String(min), max: String(max), step: String(step) });
  range.value = String(value);
  range.setAttribute('aria-valuetext', shown(value));
  range.addEventListener('input', () => {
    out.textContent = shown(Number(range.value));
    range.setAttribute('aria-valuetext', out.textContent);
    oninput?.(Number(range.value));
  });
  range.addEventListener('change', () => onchange?.(Number(range.value)));
  const id = freshId('slider');
  range.id = id;
  out.setAttribute('for', id);
  const box = el('div', { class: 'field slider' }, el('label', { for: id }, label), range, out);
  box.range = range;
  return box;
}

export function button(text, onclick, attributes = {}) {
  return el('button', { type: 'button', onclick, ...attributes }, text);
}

/** Copies a text, and says so for a moment. */
export function copyButton(text, attributes = {}) {
  const made = button('Copy', async () => {
    const copied = await navigator.clipboard.writeText(text()).then(() => true, () => false);
    made.textContent = copied ? 'Copied' : 'Not allowed here';
    setTimeout(() => (made.textContent = 'Copy'), 1500);
  }, { class: 'quiet', ...attributes });
  return made;
}

export function table(caption, head, rows) {
  return el(
    'div',
    { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': caption },
    el(
      'table',
      {},
      el('caption', {}, caption),
      el('thead', {}, el('tr', {}, head.map((cell) => el('th', { scope: 'col' }, cell)))),
      el('tbody', {}, rows.map((row) => (row instanceof Element ? row : tableRow(row)))),
    ),
  );
}

export function tableRow([first, ...others]) {
  return el('tr', {}, el('th', { scope: 'row' }, first), others.map((cell) => el('td', {}, cell)));
}

/** A page or sheet the program made, shown as it is; scripts in it do not run. */
export function pageFrame(title, html) {
  return el('iframe', { class: 'sheet', title, sandbox: 'allow-same-origin allow-modals', srcdoc: html });
}

/** A page the program made, to look at, save and print. */
export function reportFrame(title, file, page) {
  const frame = pageFrame(title, new TextDecoder().decode(page));
  return [frame, el('p', { class: 'buttons' }, button(`Save ${file}`, () => download(file, page)), button('Print it', () => frame.contentWindow.print()))];
}

/** A film plays by its own script, which the content policy names; it reaches nothing of this page. */
export function filmFrame(title, html) {
  return el('iframe', { class: 'sheet', title, sandbox: 'allow-scripts', srcdoc: html });
}

/** Hands a file to the person: where it goes is the browser's matter. */
export function download(name, bytes) {
  const url = URL.createObjectURL(new Blob([bytes]));
  const link = el('a', { href: url, download: name.split('/').at(-1) });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
}

const bytesOf = async (file) => new Uint8Array(await file.arrayBuffer());

/** Files of a folder that was dropped, and of the folders in it: [[name, bytes]...]. */
async function filesOfFolder(folder) {
  const reader = folder.createReader();
  const found = [];
  for (;;) {
    const entries = await new Promise((done, failed) => reader.readEntries(done, failed));
    if (entries.length === 0) return found;
    for (const entry of entries) found.push(...(await filesOfEntry(entry)));
  }
}

async function filesOfEntry(entry) {
  if (entry.isDirectory) return filesOfFolder(entry);
  const file = await new Promise((done, failed) => entry.file(done, failed));
  return [[file.name, await bytesOf(file)]];
}

const filesOfList = (list) => Promise.all([...list].map(async (file) => [file.name, await bytesOf(file)]));

/** What was dropped: entries must be asked for before the event is over. */
function filesDropped(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.some((entry) => entry.isDirectory)) return filesOfList(transfer.files);
  return Promise.all(entries.map(filesOfEntry)).then((lists) => lists.flat());
}

/**
 * A place to drop files on, which is a button as well.
 * @param options {multiple, accept, folder: true where a folder is chosen}; folders can be dropped anywhere
 */
export function dropPlace(text, onfiles, { multiple = true, accept, folder = false } = {}) {
  const input = el('input', { type: 'file', multiple, accept, class: 'unseen' });
  if (folder) input.webkitdirectory = true;
  const take = async (found) => {
    const files = await found;
    if (files.length > 0) onfiles(new Map(files));
  };
  input.addEventListener('change', () => take(filesOfList(input.files)).then(() => (input.value = '')));
  const label = el('label', { class: 'drop' }, text, input);
  label.addEventListener('dragover', (event) => {
    event.preventDefault();
    label.classList.add('over');
  });
  label.addEventListener('dragleave', () => label.classList.remove('over'));
  label.addEventListener('drop', (event) => {
    event.preventDefault();
    label.classList.remove('over');
    take(filesDropped(event.dataTransfer));
  });
  return label;
}

const svgNames = 'http://www.w3.org/2000/svg';
export function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS(svgNames, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children.flat().filter(Boolean));
  return element;
}
