// Over time: results of months, what moved between two of them, what creeps, when to look again.
import { el, field, select, typed, table, dropPlace, fillSelect, button, svg } from './elements.js';
import { step, said, guarded, commandShown, settled, saveButtons, stemOf } from './bench.js';
import { currentMachine } from './room-machine.js';
import { resultName } from './room-measure.js';

const width = 680;
const height = 190;
const margin = { left: 20, right: 170, top: 30, bottom: 28 };

/** One value over time: its points with U95 bars, jumps marked, the last one labelled. */
function chart(bench, value, results) {
  const points = value.points.map((point) => ({ ...point, time: Date.parse(results[point.result].started) || point.result }));
  const times = points.map((point) => point.time);
  const lows = points.map((point) => point.value - point.U95);
  const highs = points.map((point) => point.value + point.U95);
  const [t0, t1, v0, v1] = [Math.min(...times), Math.max(...times), Math.min(...lows), Math.max(...highs)];
  const x = (time) => margin.left + ((time - t0) / (t1 - t0 || 1)) * (width - margin.left - margin.right);
  const y = (number) => height - margin.bottom - ((number - v0) / (v1 - v0 || 1)) * (height - margin.top - margin.bottom);
  const marks = points.map((point) => {
    const [at, low, high] = [x(point.time), y(point.value - point.U95), y(point.value + point.U95)];
    const bar = svg('path', { class: 'bar', d: `M${at} ${low}V${high}M${at - 5} ${low}h10M${at - 5} ${high}h10` });
    return [bar, svg('circle', { class: point.alarm ? 'point alarm' : 'point', cx: at, cy: y(point.value), r: point.alarm ? 6 : 4 })];
  });
  const last = points.at(-1);
  const text = (attributes, words) => svg('text', attributes, words);
  const picture = svg('svg', { viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': `${value.name} over time` },
    text({ x: margin.left, y: 18, class: 'claim' }, claimOf(bench, value)),
    svg('path', { class: 'course', d: `M${points.map((point) => `${x(point.time)} ${y(point.value)}`).join('L')}` }),
    marks.flat(),
    text({ x: x(last.time) + 10, y: y(last.value) + 5 }, value.unit === 'deg' ? bench.angle(last.value) : bench.length(last.value, 4)),
    text({ x: margin.left, y: height - 6, class: 'small' }, results[points[0].result].started.slice(0, 10)),
    text({ x: x(last.time), y: height - 6, class: 'small', 'text-anchor': 'end' }, results[last.result].started.slice(0, 10)));
  return el('figure', { class: 'chart' }, picture);
}

function claimOf(bench, value) {
  if (value.jumps.length > 0) return `${value.name} jumped`;
  if (value.trend.creeps) return `${value.name} creeps by ${bench.amount(value.trend.per_month, value.unit)} a month`;
  return value.points.some((point) => point.alarm) ? `${value.name} is restless` : `${value.name} is steady`;
}

function within(bench) {
  const text = bench.shop.choice('within', '').trim();
  return text ? ['--within', text] : [];
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
    const args = ['history', ...names, ...within(bench)];
    shown.set(args);
    const { outcome, value } = await bench.json([...args, '--json'], { lane: 'history', keep: false });
    if (!value) {
      place.replaceChildren(...said(outcome).filter(Boolean));
      return;
    }
    const told = await bench.run([...args, ...bench.unitArgs], { lane: 'history', keep: false });
    place.replaceChildren(...value.values.filter((each) => each.points.length > 1).map((each) => chart(bench, each, value.results)), ...said(told, { open: true }).filter(Boolean));
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
      table('Changes', ['value', 'change', 'U95', 'a change that would show', 'verdict'], rows), el('pre', { class: 'said', tabindex: '0' }, told.out));
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

export function buildTimeRoom(bench) {
  const { shop } = bench;
  const tolerance = typed(shop.choice('within', ''), (text) => {
    shop.choose('within', text);
    refresh();
  }, { placeholder: '0.010' });
  const steps = [historyStep(bench), compareStep(bench), confirmStep(bench)];
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
