// What one touch does: point at it, leave it out on trial, see what the values and their U95 do.
import { el, button, table, tableRow } from './elements.js';
import { step, said, guarded, commandShown, encode } from './bench.js';
import { currentMachine } from './room-machine.js';
import { currentRecord, resultName } from './room-measure.js';
import { touchChart, nameOf } from './touch-chart.js';
import { valuesOf } from './result-values.js';

const trialName = 'trial.touches.csv';
/** Somebody who only passes over a dot does not want to know, in ms. */
const dwell = 180;

function sourcesOf(shop, result) {
  const of = (role, otherwise) => {
    const file = result.inputs?.find((each) => each.role === role)?.file;
    return shop.files.has(file) ? file : otherwise;
  };
  return { machine: of('machine', currentMachine(shop)), touches: of('touches', currentRecord(shop)) };
}

/** The record without some of its lines, which become comments: the others keep their numbers. */
export function withoutLines(text, lines) {
  return text.split('\n').map((line, k) => (lines.has(k + 1) ? '#' : line)).join('\n');
}

function besideTable(bench, before, after, title) {
  const old = valuesOf(before);
  const rows = [...valuesOf(after)].filter(([name]) => old.has(name)).map(([name, each]) => {
    const was = old.get(name);
    return [name, bench.amount(each.value - was.value, each.unit), bench.amount(was.U95, each.unit), bench.amount(each.U95, each.unit)];
  });
  return table(title, ['value', 'goes by', 'U95 now', 'U95 without'], rows);
}

function touchDetails(bench, touch) {
  const seen = Number.isFinite(touch.detectable_mm) ? ` A slip here would be seen from ${bench.small(touch.detectable_mm)} on.` : '';
  return `${nameOf(touch)} of ${touch.artefact}: left over ${bench.small(touch.residual_mm)}, line ${touch.line} of the record.${touch.excluded ? ' The fit left it out.' : ''}${seen}`;
}

export function trialStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const detail = el('p', { class: 'why detail', 'aria-live': 'polite' });
  const list = el('div', {});
  const shown = commandShown(['fit']);
  let left = new Set();
  let listed = '';
  let result;
  let chart;
  let dwelling;

  /** The fit without some lines, as JSON; what it says where it could not fit. */
  async function fitWithout(lines) {
    const { machine, touches } = sourcesOf(shop, result);
    const text = withoutLines(shop.text(touches), lines);
    const args = ['fit', machine, trialName];
    shown.set(args);
    return bench.json([...args, '--json'], { lane: 'trial', keep: false, extra: new Map([[trialName, encode(text)]]) });
  }

  async function show(lines, title) {
    const { outcome, value } = await fitWithout(lines);
    place.replaceChildren(...(value ? [besideTable(bench, result, value, title)] : said(outcome).filter(Boolean)));
  }

  const tryIt = guarded(place, async () => {
    chart?.mark((touch) => left.has(touch.line) || touch.excluded);
    list.querySelectorAll('input[data-line]').forEach((tick) => (tick.checked = !left.has(Number(tick.dataset.line))));
    again.hidden = left.size === 0;
    if (left.size === 0) place.replaceChildren();
    else await show(left, `With ${left.size} touch${left.size === 1 ? '' : 'es'} left out`);
  });

  const preview = guarded(place, (touch) => show(new Set([...left, touch.line]), `Without ${nameOf(touch)}${left.size > 0 ? ' as well' : ''}`));

  const actions = {
    point(touch) {
      detail.textContent = touchDetails(bench, touch);
      clearTimeout(dwelling);
      if (!left.has(touch.line)) dwelling = setTimeout(() => preview(touch), dwell);
    },
    toggle(touch) {
      clearTimeout(dwelling);
      if (!left.delete(touch.line)) left.add(touch.line);
      tryIt();
    },
  };
  const again = button('Take all in again', () => {
    left.clear();
    tryIt();
  }, { class: 'quiet', hidden: true });

  function touchTable(touches) {
    const rows = touches.map((touch) => {
      const tick = el('input', { type: 'checkbox', checked: true, 'data-line': String(touch.line), 'aria-label': nameOf(touch), onchange: () => actions.toggle(touch) });
      const row = tableRow([touch.label, touch.station, touch.artefact, bench.small(touch.residual_mm), touch.excluded ? 'left out by the fit' : '', '']);
      row.lastElementChild.append(tick);
      return row;
    });
    return el('details', {}, el('summary', {}, 'The same as a table'), table('Touches', ['touch', 'station', 'of', 'left over', 'note', 'in'], rows));
  }

  function fill() {
    const name = resultName(shop);
    const key = `${shop.text(name)} ${bench.inch}`;
    if (listed === key) return;
    listed = key;
    left = new Set();
    result = JSON.parse(shop.text(name));
    place.replaceChildren();
    detail.textContent = '';
    again.hidden = true;
    const { machine, touches } = sourcesOf(shop, result);
    shown.hidden = !touches;
    if (!touches) {
      list.replaceChildren(el('p', { class: 'why' }, 'The touch record of this result is not here: open it in Measure.'));
      return;
    }
    shown.set(['fit', machine, touches]);
    chart = touchChart(bench, result.touches, actions);
    chart.mark((touch) => touch.excluded);
    list.replaceChildren(chart, detail, el('p', { class: 'buttons' }, again), touchTable(result.touches));
  }

  const element = step('What does one touch do?', 'Point at a dot: the fit is made once more without that touch, on trial. Nothing is kept.', list, place, shown);
  return { element, refresh: fill };
}
