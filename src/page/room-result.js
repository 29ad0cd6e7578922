// Result: the report, what one touch does to it, limits, the feet, and the values where they are used.
import { el, field, select, typed, slider, button, table, tableRow, pageFrame, dropPlace, fillSelect, download } from './elements.js';
import { step, said, guarded, commandShown, saveButtons, settled, stemOf, encode } from './bench.js';
import { controlNames } from './room-plan.js';
import { resultName } from './room-measure.js';
import { trialStep } from './trial-step.js';
import { shimStep } from './shim-step.js';
import { valuesOf } from './result-values.js';

const written = (values) => Object.entries(values).filter(([, each]) => each.U95 > 0);

function reportStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const shown = commandShown(['report']);
  const show = settled(guarded(place, async () => {
    const name = resultName(shop);
    const page = `${stemOf(name)}.report.html`;
    const args = ['report', name, ...bench.unitArgs, '-o', page];
    shown.set(args);
    const told = await bench.run(args, { lane: 'report', keep: false });
    const html = told.written.get(page);
    if (!html) {
      place.replaceChildren(...said(told).filter(Boolean));
      return;
    }
    const frame = pageFrame('Report', new TextDecoder().decode(html));
    place.replaceChildren(frame, el('p', { class: 'buttons' }, button('Save the report', () => download(page, html)), button('Print it', () => frame.contentWindow.print())));
  }), 100);
  return { element: step('Report', null, place, shown), refresh: show };
}

function judgeStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const sliders = el('div', {});
  const shown = commandShown(['judge']);
  let filledFor = '';
  let limits = new Map();

  const judge = settled(guarded(place, async () => {
    const name = resultName(shop);
    const file = `${stemOf(name)}.limits.toml`;
    const args = ['judge', name, '--limits', file];
    shown.set(args);
    if (limits.size === 0) {
      place.replaceChildren(el('p', { class: 'why' }, 'Draw a slider to set a first limit.'));
      return;
    }
    const extra = new Map([[file, encode(limitsText(limits))]]);
    const { outcome, value } = await bench.json([...args, '--json'], { lane: 'judge', keep: false, extra });
    if (!value) {
      place.replaceChildren(...said(outcome).filter(Boolean));
      return;
    }
    place.replaceChildren(el('p', { class: value.verdict === 'conforms' ? 'verdict' : 'verdict bad' }, `All in all: ${value.verdict} (decision rule of ISO 14253-1)`), judgementTable(bench, value),
      el('p', { class: 'buttons' }, button('Keep these limits', () => shop.change('keep limits', { written: extra }))));
  }));

  function fill() {
    const name = resultName(shop);
    if (filledFor === shop.text(name)) return;
    filledFor = shop.text(name);
    limits = new Map();
    const result = JSON.parse(filledFor);
    sliders.replaceChildren(...[...valuesOf(result)].map(([value, each]) => limitSlider(bench, value, each, nominalOf(result, value), limits, judge)));
    judge();
  }

  const element = el('details', { class: 'choice' }, el('summary', {}, 'Judge it against limits'),
    step('Limits', 'How far may a value be from the one in use? Uncertainty counts: inside the limits by its guard band conforms, outside by it does not, between the two nothing is proven.', sliders, place, shown));
  return { element, refresh: fill };
}

function nominalOf(result, value) {
  const [axis, kind, direction] = value.split('.');
  if (kind !== 'centre') return 0;
  const nominal = result.axes[axis].nominal;
  return nominal ? nominal.point['XYZ'.indexOf(direction)] : Math.round(result.axes[axis].centre[direction].value);
}

function limitSlider(bench, name, each, nominal, limits, judge) {
  const isAngle = each.unit === 'deg';
  const most = isAngle ? 180 : 0.2;
  const shownNow = (within) => within === 0 ? 'no limit' : isAngle ? `within ${within} arcsec of 0` : `within ${bench.length(within)} of ${bench.length(nominal)}`;
  return slider(name, { min: 0, max: most, step: isAngle ? 1 : 0.001, value: 0, shown: shownNow, onchange: (within) => {
    if (within === 0) limits.delete(name);
    else limits.set(name, isAngle ? { low: -within, high: within, unit: 'arcsec' } : { nominal, within });
    judge();
  } });
}

export function limitsText(limits) {
  const entries = [...limits].map(([name, limit]) => ['[[limit]]', `value = "${name}"`, ...Object.entries(limit).map(([key, value]) => `${key} = ${typeof value === 'string' ? JSON.stringify(value) : value}`)].join('\n'));
  return `format = 1\nunits = "mm"\n\n${entries.join('\n\n')}\n`;
}

function judgementTable(bench, value) {
  const amount = (number, unit) => (number === null || number === undefined ? '' : unit === 'mm' ? bench.length(number, 4) : `${number} ${unit}`);
  return table('Judgement', ['value', 'measured', 'U95', 'from', 'to', 'verdict', 'what would settle it'],
    value.judgements.map((each) => [each.value, amount(each.measured, each.unit), amount(each.U95, each.unit), amount(each.low, each.unit), amount(each.high, each.unit), each.verdict, each.settles]));
}

function valuesStep(bench) {
  const { shop } = bench;
  const place = el('div', {});
  const shown = commandShown(['write']);
  const show = settled(guarded(place, async () => {
    const name = resultName(shop);
    const args = ['write', name, '--list', ...bench.unitArgs, '--simulated'];
    shown.set(args.filter((word) => word !== '--simulated'));
    const { outcome, value } = await bench.json([...args, '--json'], { lane: 'values', keep: false });
    if (!value) {
      place.replaceChildren(...said(outcome).filter(Boolean));
      return;
    }
    bench.values = value.values;
    place.replaceChildren(
      table('Values to copy', ['name', 'value', 'U95', 'unit', 'what it is', 'copy'], Object.entries(value.values).map(([key, each]) => {
        const row = tableRow([key, String(each.value).replace('-', '−'), each.U95 ? String(each.U95) : '', each.unit, each.meaning, '']);
        row.lastElementChild.append(button('Copy', () => navigator.clipboard?.writeText(String(each.value)), { class: 'quiet', 'aria-label': `copy ${key}` }));
        return row;
      })),
      el('p', { class: 'why' }, value.coordinates), el('p', { class: 'caution' }, el('strong', {}, 'CAUTION '), value.caution),
    );
  }), 150);
  return { element: el('details', { class: 'choice' }, el('summary', {}, 'Values to copy'), step('Every value by its name', null, place, shown)), refresh: show };
}

function offsetStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const control = select([], '', () => refresh());
  const number = typed('1', () => refresh(), { inputmode: 'numeric', size: '4' });
  const taught = typed('', () => refresh());
  const taughtAt = typed('A=0', () => refresh());
  const at = typed('A=0..270/90', () => refresh());
  const shown = commandShown(['write']);
  const many = el('input', { type: 'checkbox', onchange: () => refresh() });
  const simulated = () => (JSON.parse(shop.text(resultName(shop))).simulated ? ['--simulated'] : []);
  const argsNow = () => {
    const name = resultName(shop);
    const end = ['--control', control.value, ...simulated(), '-o', `${stemOf(name)}.offsets.nc`];
    if (!many.checked) return ['write', name, '--work-offset', number.value, ...end];
    return ['reseat', name, '--offset', ...taught.value.trim().split(/[\s,]+/), '--taught-at', taughtAt.value, '--at', ...at.value.trim().split(/\s+/), '--form', 'program', '--first-offset', number.value, ...end];
  };
  const go = guarded(place, async () => {
    const args = argsNow();
    const file = args.at(-1);
    const told = await bench.run(args, { label: 'offset program' });
    let listed = null;
    if (many.checked && told.code <= 1) {
      const cut = args.slice(0, args.indexOf('--form'));
      listed = await bench.run(cut, { keep: false });
    }
    place.replaceChildren(...said(told).filter(Boolean),
      ...(listed ? [el('pre', { class: 'said', tabindex: '0' }, listed.out)] : []),
      ...(told.code <= 1 && shop.files.has(file) ? [saveButtons(bench, [file]), el('pre', { class: 'said', tabindex: '0' }, shop.text(file))] : []));
  });
  function refresh() {
    fillSelect(control, controlNames(bench), control.value || shop.choice('control', 'demo-control'));
    manyFields.hidden = !many.checked;
    if (resultName(shop)) shown.set(argsNow());
  }
  const manyFields = el('div', { class: 'row' }, field('The offset as taught: X Y Z', taught, 'Machine coordinates, counted as the touch record counts.'), field('Taught at', taughtAt), field('Wanted at', at, 'A=90, a list A=0,90 or a range with a step A=0..270/90.'));
  const element = el('details', { class: 'choice' }, el('summary', {}, 'A program that sets work offsets'),
    step('Offset program', 'It stops before it does anything and shows what it will replace. CAUTION: A wrong work offset can wreck tool, part and machine. The machine manual, local safety rules and qualified people come first. Check the first run without a part, high up, slowly.',
      el('div', { class: 'row' }, field('Control sheet', control), field('Work offset (1 is G54)', number)),
      el('div', { class: 'field check' }, el('label', {}, many, ' one for each index angle: pallet or tombstone')), manyFields,
      el('p', { class: 'buttons' }, button('Write the program', go)), shown, place));
  return { element, refresh };
}

function patchStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const post = el('p', { class: 'why' }, 'No file yet.');
  const entries = el('div', {});
  const shown = commandShown(['write']);
  let rows = [{ value: '', key: '', decimals: 3 }];
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

  function fillRows() {
    const names = written(bench.values ?? {}).map(([name]) => name);
    entries.replaceChildren(
      ...rows.map((row, k) => el('div', { class: 'row' },
        field('Value', select([['', 'choose'], ...names], row.value, (value) => (row.value = value))),
        field('The text before the number', typed(row.key, (key) => (row.key = key)), 'Exactly as in the file.'),
        field('Decimals', typed(String(row.decimals), (text) => (row.decimals = Math.round(Number(text)) || 0), { inputmode: 'numeric', size: '3' })),
        button('×', () => { rows.splice(k, 1); fillRows(); }, { class: 'quiet', 'aria-label': `remove entry ${k + 1}` }))),
      el('p', { class: 'buttons' }, button('One more value', () => { rows.push({ value: '', key: '', decimals: 3 }); fillRows(); }, { class: 'quiet' })));
  }

  const takePost = (files) => {
    const taken = new Map(files);
    const maps = [...taken.keys()].filter((name) => name.endsWith('.mapping.toml'));
    const others = [...taken.keys()].filter((name) => !name.endsWith('.mapping.toml'));
    const choices = { ...(others.length > 0 ? { post: others[0] } : {}), ...(maps.length > 0 ? { mapping: maps[0] } : {}) };
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
    if (has) shown.set(argsNow());
  }

  const text = el('pre', { class: 'said', tabindex: '0' });
  const element = el('details', { class: 'choice' }, el('summary', {}, 'Into a post-processor or parameter file'),
    step('Patch a file', 'Drop the file that takes the values, and its mapping if you have one. What would change is shown first. CAUTION: A wrong pivot value can wreck tool, part and machine. The machine manual, local safety rules and qualified people come first.',
      dropPlace('Drop the post file here', takePost), post, text, entries,
      el('div', { class: 'field check' }, el('label', {}, small, ' changes smaller than their U95 as well')),
      el('div', { class: 'field check' }, el('label', {}, large, ' changes above 1 mm or 0.5° as well: only when you know why')),
      el('p', { class: 'buttons' }, button('Show what would change', look)), shown, place));
  return { element, refresh };
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

/** Why a file cannot be shown as a result, in words; empty when it can. */
function faultOf(text) {
  try {
    const result = JSON.parse(text);
    if (String(result.format).startsWith('pivotrace-result')) return '';
    return 'This file is no result of a fit. Open one that ends in .result.json.';
  } catch {
    return 'This file is damaged or of another kind: it cannot be read as a result. Fit the touches again, or open another file.';
  }
}

export function buildResultRoom(bench) {
  const { shop } = bench;
  const picker = select([], '', (name) => {
    shop.choose('result', name);
    refresh();
  });
  const steps = [reportStep(bench), trialStep(bench), judgeStep(bench), valuesStep(bench), offsetStep(bench), patchStep(bench), shimStep(bench)];
  const drop = dropPlace('Open a result', (files) => {
    const taken = new Map([...files].map(([name, bytes]) => [name.endsWith('.result.json') ? name : `${stemOf(name)}.result.json`, bytes]));
    shop.change('open a result', { written: taken, choices: { result: [...taken.keys()].at(-1) } });
  }, { accept: '.json' });
  function refresh() {
    const name = resultName(shop);
    fillSelect(picker, name ? shop.named('.result.json') : [['', 'none yet']], name);
    const fault = name ? faultOf(shop.text(name)) : '';
    body.hidden = !name || Boolean(fault);
    empty.hidden = Boolean(name);
    bad.textContent = fault;
    bad.hidden = !fault;
    if (name && !fault) for (const each of steps) each.refresh();
  }
  const bad = el('p', { class: 'verdict bad', role: 'status' });
  const empty = el('p', {}, 'Find the axis first, in the room ', el('a', { href: '#measure' }, 'Measure'), ', or open a result.');
  const body = el('div', {}, steps.map((each) => each.element), el('p', { class: 'buttons' }, button('Save the result', () => bench.save(resultName(shop)))));
  return { element: el('div', {}, el('h2', { tabindex: '-1' }, 'Result'), el('div', { class: 'row' }, field('Result', picker)), drop, bad, empty, body), refresh };
}
