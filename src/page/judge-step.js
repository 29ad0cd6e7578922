// Limits as sliders, or from a file, and what the result is worth beside them.
import { el, slider, button, table, dropPlace } from './elements.js';
import { step, said, guarded, commandShown, settled, encode } from './bench.js';
import { resultName } from './room-measure.js';
import { valuesOf, limitsName } from './result-values.js';

export function judgeStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const sliders = el('div', {});
  const shown = commandShown(['judge']);
  let filledFor = '';
  let limits = new Map();

  const judge = settled(guarded(place, async () => {
    const name = resultName(shop);
    const file = limitsName(name);
    const args = ['judge', name, '--limits', file];
    shown.set(args);
    const drawn = limits.size > 0;
    if (!drawn && !shop.files.has(file)) {
      place.replaceChildren(el('p', { class: 'why' }, 'Draw a slider to set a first limit.'));
      return;
    }
    const extra = drawn ? new Map([[file, encode(limitsText(limits))]]) : new Map();
    const { outcome, value } = await bench.json([...args, '--json'], { lane: 'judge', keep: false, extra });
    if (!value) {
      place.replaceChildren(...said(outcome).filter(Boolean));
      return;
    }
    place.replaceChildren(
      el('p', { class: value.verdict === 'conforms' ? 'verdict' : 'verdict bad' }, `All in all: ${value.verdict} (decision rule of ISO 14253-1)`), judgementTable(bench, value),
      drawn ? el('p', { class: 'buttons' }, button('Keep these limits', () => shop.change('keep limits', { written: extra })))
        : el('p', { class: 'why' }, `The limits stand in ${file}; the sliders make new ones.`));
  }));
  const drop = dropPlace('Open a file of limits', (files) => {
    limits = new Map();
    shop.change('open limits', { written: new Map([[limitsName(resultName(shop)), [...files.values()][0]]]) });
    filledFor = '';
    fill();
  }, { multiple: false, accept: '.toml' });

  function fill() {
    const name = resultName(shop);
    const key = `${shop.text(name)} ${bench.inch}`;
    if (filledFor === key) return;
    filledFor = key;
    limits = new Map();
    const result = JSON.parse(shop.text(name));
    sliders.replaceChildren(...[...valuesOf(result)].map(([value, each]) => limitSlider(bench, value, each, nominalOf(result, value), limits, judge)));
    judge();
  }

  const element = el('details', { class: 'choice' }, el('summary', {}, 'Judge it against limits'),
    step('Limits', 'How far may a value be from the one in use? Uncertainty counts: inside the limits by its guard band conforms, outside by it does not, between the two nothing is proven.', sliders, drop, place, shown));
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
