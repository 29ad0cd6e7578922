// Result: the report, what one touch does to it, limits, the feet, and the values where they are used.
import { el, field, select, button, copyButton, table, tableRow, reportFrame, dropPlace, fillSelect } from './elements.js';
import { step, said, guarded, commandShown, settled, stemOf } from './bench.js';
import { resultName } from './room-measure.js';
import { trialStep } from './trial-step.js';
import { judgeStep } from './judge-step.js';
import { offsetStep } from './offset-step.js';
import { patchStep } from './patch-step.js';
import { shimStep } from './shim-step.js';
import { limitsName } from './result-values.js';

function reportStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const shown = commandShown(['report']);
  const show = settled(guarded(place, async () => {
    const name = resultName(shop);
    const page = `${stemOf(name)}.report.html`;
    const limits = shop.files.has(limitsName(name)) ? ['--limits', limitsName(name)] : [];
    const args = ['report', name, ...limits, ...bench.unitArgs, '-o', page];
    shown.set(args);
    const told = await bench.run(args, { lane: 'report', keep: false });
    const html = told.written.get(page);
    place.replaceChildren(...(html ? reportFrame('Report', page, html) : said(told).filter(Boolean)));
  }), 100);
  return { element: step('Report', null, place, shown), refresh: show };
}

function valuesStep(bench, onValues) {
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
    onValues();
    place.replaceChildren(
      JSON.parse(shop.text(name)).simulated ? el('p', { class: 'verdict bad' }, 'SIMULATED: these values are not from a machine.') : '',
      table('Values to copy', ['name', 'value', 'U95', 'unit', 'what it is', 'copy'], Object.entries(value.values).map(([key, each]) => {
        const row = tableRow([key, String(each.value).replace('-', '−'), each.U95 ? String(each.U95) : '', each.unit, each.meaning, '']);
        row.lastElementChild.append(copyButton(() => String(each.value), { 'aria-label': `copy ${key}` }));
        return row;
      })),
      el('p', { class: 'why' }, value.coordinates), el('p', { class: 'caution' }, el('strong', {}, 'CAUTION '), value.caution),
    );
  }), 150);
  return { element: el('details', { class: 'choice' }, el('summary', {}, 'Values to copy'), step('Every value by its name', null, place, shown)), refresh: show };
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
  const patch = patchStep(bench);
  const steps = [reportStep(bench), trialStep(bench), judgeStep(bench), valuesStep(bench, patch.fillRows), offsetStep(bench), patch, shimStep(bench)];
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
