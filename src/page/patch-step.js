// The values into a post-processor or parameter file: what would change first, then the file and its backup.
import { el, field, select, typed, button, dropPlace } from './elements.js';
import { step, said, guarded, commandShown, saveButtons, encode } from './bench.js';
import { resultName } from './room-measure.js';

const written = (values) => Object.entries(values).filter(([, each]) => each.U95 > 0);

export function patchStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const post = el('p', { class: 'why' }, 'No file yet.');
  const entries = el('div', {});
  const shown = commandShown(['write']);
  let rows = [{ value: '', key: '', decimals: 3 }];
  /** The result that what stands in `place` belongs to. */
  let shownFor;
  const postName = () => shop.choice('post', '');
  const mappingName = () => (shop.files.has(shop.choice('mapping', '')) ? shop.choice('mapping') : `${postName()}.mapping.toml`);
  const simulated = () => (JSON.parse(shop.text(resultName(shop))).simulated ? ['--simulated'] : []);
  const small = el('input', { type: 'checkbox' });
  const large = el('input', { type: 'checkbox' });
  const allowed = () => [...(small.checked ? ['--allow-small-change'] : []), ...(large.checked ? ['--allow-large-change'] : [])];
  const argsNow = () => ['write', resultName(shop), '--patch', postName(), '--mapping', mappingName(), ...allowed(), ...simulated()];

  const mapping = () => (shop.files.has(mappingName()) && shop.choice('mapping', '') === mappingName() ? new Map() : new Map([[mappingName(), encode(mappingText(rows))]]));

  const look = guarded(place, async () => {
    if (!shop.files.has(postName())) throw new Error('Drop the file that takes the values first.');
    const args = argsNow();
    shown.set(args);
    const told = await bench.run(args, { keep: false, extra: mapping() });
    place.replaceChildren(diffShown(told.out), ...said(told).filter(Boolean),
      told.code === 0 ? el('p', { class: 'buttons' }, button('Write it into the file, with a backup', apply, { class: 'main' })) : '');
  });

  const apply = guarded(place, async () => {
    const args = [...argsNow(), '--apply'];
    shown.set(args);
    const extra = mapping();
    const told = await bench.run(args, { keep: false, extra });
    const changed = new Map([...extra, ...told.written]);
    if (told.code === 0) shop.change('patch the file', { written: changed });
    place.replaceChildren(...said(told).filter(Boolean), ...(told.code === 0 ? [el('p', { class: 'verdict' }, 'Patched. Save the new file, and its backup with it.'), saveButtons(bench, [...told.written.keys()])] : []));
  });

  function showRows() {
    const names = written(bench.values ?? {}).map(([name]) => name);
    entries.replaceChildren(
      ...rows.map((row, k) => el('div', { class: 'row' },
        field('Value', select([['', 'choose'], ...names], row.value, (value) => (row.value = value))),
        field('The text before the number', typed(row.key, (key) => (row.key = key)), 'Exactly as in the file.'),
        field('Decimals', typed(String(row.decimals), (text) => (row.decimals = Math.round(Number(text)) || 0), { inputmode: 'numeric', size: '3' })),
        button('×', () => { rows.splice(k, 1); showRows(); }, { class: 'quiet', 'aria-label': `remove entry ${k + 1}` }))),
      el('p', { class: 'buttons' }, button('One more value', () => { rows.push({ value: '', key: '', decimals: 3 }); showRows(); }, { class: 'quiet' })));
  }

  const takePost = (files) => {
    const taken = new Map(files);
    const maps = [...taken.keys()].filter((name) => name.endsWith('.mapping.toml'));
    const others = [...taken.keys()].filter((name) => !name.endsWith('.mapping.toml'));
    // Another file has another mapping.
    const choices = { ...(others.length > 0 ? { post: others[0], mapping: '' } : {}), ...(maps.length > 0 ? { mapping: maps[0] } : {}) };
    shop.change('open a post file', { written: taken, choices });
  };

  function refresh() {
    const name = postName();
    const has = shop.files.has(name);
    post.textContent = has ? `File: ${name}${shop.files.has(shop.choice('mapping', '')) ? `, with the mapping ${shop.choice('mapping')}` : ''}` : 'No file yet.';
    entries.hidden = shop.files.has(shop.choice('mapping', ''));
    text.textContent = has ? shop.text(name) : '';
    text.hidden = !has;
    fillRows();
    if (shownFor !== shop.text(resultName(shop))) place.replaceChildren();
    shownFor = shop.text(resultName(shop));
    if (has) shown.set(argsNow());
  }

  const text = el('pre', { class: 'said', tabindex: '0' });
  const fillRows = () => {
    if (!entries.contains(document.activeElement)) showRows();
  };
  const element = el('details', { class: 'choice' }, el('summary', {}, 'Into a post-processor or parameter file'),
    step('Patch a file', 'Drop the file that takes the values, and its mapping if you have one. What would change is shown first. CAUTION: A wrong pivot value can wreck tool, part and machine. The machine manual, local safety rules and qualified people come first.',
      dropPlace('Drop the post file here', takePost), post, text, entries,
      el('div', { class: 'field check' }, el('label', {}, small, ' changes smaller than their U95 as well')),
      el('div', { class: 'field check' }, el('label', {}, large, ' changes above 1 mm or 0.5° as well: only when you know why')),
      el('p', { class: 'buttons' }, button('Show what would change', look)), shown, place));
  return { element, refresh, fillRows };
}

export function mappingText(rows) {
  return `format = 1\n\n${rows.filter((row) => row.value && row.key).map((row) => `[[entry]]\nvalue = ${JSON.stringify(row.value)}\nkey = ${JSON.stringify(row.key)}\ndecimals = ${row.decimals}\n`).join('\n')}`;
}

/** The lines of a difference, with what goes and what comes told apart by sign and look. */
function diffShown(out) {
  const start = out.indexOf('--- ');
  if (start < 0) return '';
  const lines = out.slice(start).split('\n');
  const end = lines.findIndex((line, k) => k > 2 && !/^[ +\-@]/.test(line));
  return el('pre', { class: 'said diff', tabindex: '0' }, lines.slice(0, end < 0 ? undefined : end).map((line) => {
    const kind = /^(\+\+\+|---) /.test(line) ? '' : line.startsWith('+') ? 'comes' : line.startsWith('-') ? 'goes' : '';
    return el('span', { class: kind }, `${line}\n`);
  }));
}
