// Over time: results of months, what moved between two of them, what creeps, when to look again.
import { el, field, select, typed, table, dropPlace, fillSelect, button, reportFrame } from './elements.js';
import { step, said, guarded, commandShown, settled, saveButtons, stemOf } from './bench.js';
import { currentMachine } from './room-machine.js';
import { resultName } from './room-measure.js';

/** When to look again: the earliest date of all values, or why there is none. */
function nextCheck(values) {
  const of = (kind) => values.filter((each) => each.next_check.kind === kind);
  const [overdue] = of('overdue');
  if (overdue) return ['bad', `Next check: now. ${overdue.name} with its U95 is already beyond its limit.`];
  const [first] = of('by-date').sort((a, b) => a.next_check.unix_s - b.next_check.unix_s);
  if (first) return ['', `Next check: before ${new Date(first.next_check.unix_s * 1000).toISOString().slice(0, 10)}. By then ${first.name} may reach its limit.`];
  if (of('beyond-horizon').length > 0) return ['', 'Next check: no value reaches its limit in the time that can be foreseen.'];
  return ['', of('not-enough-results').length > 0 ? 'Next check: no date yet, three results since the last jump are needed.' : 'Next check: no date, because no change is stated above that does no harm.'];
}

function nextCheckLine(values) {
  const [look, words] = nextCheck(values);
  return el('p', { class: `verdict ${look}` }, words);
}

function within(bench) {
  const text = bench.shop.choice('within', '').trim();
  return text ? ['--within', text] : [];
}

/** What is kept of limits counts here as well. */
function allowed(bench) {
  const limits = bench.shop.named('.limits.toml').at(-1);
  return [...within(bench), ...(limits ? ['--limits', limits] : [])];
}

/** The page the program makes of several results. */
async function pageOf(bench, title, names, lane) {
  const file = 'over-time.html';
  const told = await bench.run(['report', ...names, ...within(bench), ...bench.unitArgs, '-o', file], { lane, keep: false });
  const page = told.written.get(file);
  return page ? reportFrame(title, file, page) : said(told).filter(Boolean);
}

function historyStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const shown = commandShown(['history']);
  const show = settled(guarded(place, async () => {
    const names = shop.named('.result.json');
    if (names.length < 2) {
      place.replaceChildren(el('p', { class: 'why' }, 'Two results are the least for a course over time.'));
      return;
    }
    const args = ['history', ...names, ...allowed(bench)];
    shown.set([...args, ...bench.unitArgs]);
    const { outcome, value } = await bench.json([...args, '--json'], { lane: 'history', keep: false });
    if (!value) {
      place.replaceChildren(...said(outcome).filter(Boolean));
      return;
    }
    const told = await bench.run([...args, ...bench.unitArgs], { lane: 'history', keep: false });
    place.replaceChildren(nextCheckLine(value.values), ...said(told, { open: true }).slice(1).filter(Boolean),
      ...(names.length > 2 ? await pageOf(bench, 'Every value over time', names, 'history') : []));
  }));
  return { element: step('The course of every value', null, place, shown), refresh: show };
}

function compareStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const shown = commandShown(['compare']);
  const old = select([], '', () => refresh());
  const fresh = select([], '', () => refresh());
  const argsNow = () => ['compare', old.value, fresh.value, ...within(bench), ...bench.unitArgs];
  const go = guarded(place, async () => {
    const { outcome, value } = await bench.json([...argsNow(), '--json'], { keep: false });
    const told = await bench.run(argsNow(), { keep: false });
    if (!value) {
      place.replaceChildren(...said(outcome).filter(Boolean));
      return;
    }
    const rows = value.values.map((each) => [each.name, bench.amount(each.change, each.unit), bench.amount(each.U95, each.unit), bench.amount(each.smallest_seen, each.unit),
      each.moved ? 'moved' : each.within_tolerance ? 'within tolerance' : 'cannot tell']);
    place.replaceChildren(el('p', { class: value.moved ? 'verdict bad' : 'verdict' }, value.moved ? 'Something moved.' : 'Nothing is seen to have moved.'),
      table('Changes', ['value', 'change', 'U95', 'a change that would show', 'verdict'], rows), el('pre', { class: 'said', tabindex: '0' }, told.out),
      ...(await pageOf(bench, 'What moved', [old.value, fresh.value])));
  });
  function refresh() {
    const names = shop.named('.result.json');
    const several = names.length > 1;
    fillSelect(old, names, names.includes(old.value) ? old.value : names.at(-2));
    fillSelect(fresh, names, names.includes(fresh.value) && fresh.value !== old.value ? fresh.value : names.at(-1));
    body.hidden = !several;
    if (several) shown.set(argsNow());
  }
  const body = el('div', {}, el('div', { class: 'row' }, field('Earlier', old), field('Later', fresh), button('Compare', go, { class: 'main' })), shown, place);
  return { element: step('What moved?', 'Two surveys of the same machine, for example before and after a crash.', body), refresh };
}

function confirmStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const shown = commandShown(['confirm']);
  const argsNow = () => {
    const name = resultName(shop);
    return ['confirm', name, '--machine', currentMachine(shop), '--plan-file', `${stemOf(name)}.confirm.plan.toml`, ...within(bench), ...bench.unitArgs];
  };
  const go = guarded(place, async () => {
    const args = argsNow();
    const told = await bench.run(args, { label: 'plan a confirmation', choices: {} });
    const plan = args[args.indexOf('--plan-file') + 1];
    place.replaceChildren(...said(told, { open: true }).filter(Boolean), shop.files.has(plan) ? saveButtons(bench, [plan]) : '');
  });
  function refresh() {
    body.hidden = !(resultName(shop) && currentMachine(shop));
    if (!body.hidden) shown.set(argsNow());
  }
  const body = el('div', {}, el('p', { class: 'buttons' }, button('Plan the shortest touches', go)), shown, place);
  return { element: el('details', { class: 'choice' }, el('summary', {}, 'After a value was written: does it hold?'), step('Confirm', 'A few touches that prove the value, or show that it is off.', body)), refresh };
}

/** Records of which no result is here yet. */
const withoutResult = (shop) => shop.named('.touches.csv').filter((name) => !shop.files.has(`${stemOf(name)}.result.json`));

function fitAllStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const go = button('', guarded(place, async () => {
    const results = new Map();
    const refused = [];
    for (const record of withoutResult(shop)) {
      const told = await bench.run(['fit', currentMachine(shop), record, '-o', `${stemOf(record)}.result.json`], { lane: `fit ${record}`, keep: false });
      for (const [name, bytes] of told.written) results.set(name, bytes);
      if (told.written.size === 0) refused.push(record);
    }
    shop.change('fit every record', { written: results });
    place.replaceChildren(el('p', { class: refused.length > 0 ? 'verdict bad' : 'verdict' }, `${results.size} of ${results.size + refused.length} records gave a result.`),
      refused.length > 0 ? el('p', {}, `Look at these in Measure: ${refused.join(', ')}.`) : '');
  }));
  const buttons = el('p', { class: 'buttons' }, go);
  const shown = commandShown(['fit']);
  function refresh() {
    const [first, ...others] = withoutResult(shop);
    const can = Boolean(first && currentMachine(shop));
    buttons.hidden = shown.hidden = !can;
    if (!can) return;
    go.textContent = others.length > 0 ? `Fit the ${others.length + 1} records that have no result yet` : `Fit ${first}, which has no result yet`;
    shown.set(['fit', currentMachine(shop), first, '-o', `${stemOf(first)}.result.json`]);
  }
  return { element: el('div', {}, buttons, place, shown), refresh };
}

export function buildTimeRoom(bench) {
  const { shop } = bench;
  const tolerance = typed(shop.choice('within', ''), (text) => {
    shop.choose('within', text);
    refresh();
  }, { placeholder: '0.010' });
  const steps = [fitAllStep(bench), historyStep(bench), compareStep(bench), confirmStep(bench)];
  const note = el('p', { class: 'why', role: 'status' });
  /** Of a folder only results count; of files chosen one by one all do. */
  const take = (files, wholeFolder) => {
    const results = [...files].filter(([name]) => !wholeFolder || name.endsWith('.result.json'));
    const taken = new Map(results.map(([name, bytes]) => [name.endsWith('.result.json') ? name : `${stemOf(name)}.result.json`, bytes]));
    note.textContent = taken.size > 0 ? `${taken.size} result${taken.size === 1 ? '' : 's'} taken, of ${files.size} file${files.size === 1 ? '' : 's'}.` : `None of these ${files.size} files is a result: their names end in .result.json.`;
    shop.change('open results', { written: taken });
  };
  const looksLikeFolder = (files) => [...files.keys()].some((name) => name.endsWith('.result.json'));
  const drop = el('div', { class: 'row' },
    dropPlace('Drop results or a folder of them here, or press to choose files', (files) => take(files, looksLikeFolder(files)), { accept: '.json' }),
    dropPlace('Choose a folder', (files) => take(files, true), { folder: true }), note);
  function refresh() {
    for (const each of steps) each.refresh();
  }
  return {
    element: el('div', {}, el('h2', { tabindex: '-1' }, 'Over time'), drop,
      field('A change that does no harm', tolerance, 'In mm, or with um or in; leans over 300 mm. May stay empty.'), steps.map((each) => each.element)),
    refresh,
  };
}
