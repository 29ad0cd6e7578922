// How to move the unit: what goes under each foot, where to tap, drawn from above.
import { el, field, button, dropPlace, svg } from './elements.js';
import { step, said, guarded, commandShown, stemOf, encode } from './bench.js';
import { machineOf, sectionsOf, valueOf } from './toml-lines.js';
import { resultName } from './room-measure.js';

const width = 680;
const height = 420;
const margin = { x: 110, top: 96, bottom: 84 };
const mmPerInch = 25.4;
const offered = 'left front  -485 -275 -340\nleft rear  -485 -125 -340\nright front  -365 -275 -340\nright rear  -365 -125 -340';

/** "left front  -485 -275 -340" a line: feet by name. */
export function feetOf(text) {
  return text.split('\n').map((line) => line.match(/^(.*?)\s+(-?[\d.]+)[\s,]+(-?[\d.]+)[\s,]+(-?[\d.]+)\s*$/)).filter(Boolean)
    .map(([, name, ...at]) => ({ name: name.trim(), at: at.map(Number) }));
}

export function feetText(feet, units) {
  return `format = 1\nunits = "${units}"\n\n${feet.map((foot) => `[[foot]]\nname = ${JSON.stringify(foot.name)}\nat = [${foot.at.join(', ')}]\n`).join('\n')}`;
}

/** Feet and keys of a file, in mm. */
function placesIn(text) {
  const scale = machineOf(text).units === 'inch' ? mmPerInch : 1;
  const named = (kind) => sectionsOf(text).filter((section) => section.name === kind && section.keys.has('at') && section.keys.has('name'))
    .map(({ keys }) => ({ name: valueOf(keys.get('name').raw), at: valueOf(keys.get('at').raw).map((each) => each * scale) }));
  return { feet: named('foot'), keys: named('key') };
}

/** From X Y of the machine to the sheet: X to the right, Y away from the front, one scale for both. */
function projection(points) {
  const [xs, ys] = [0, 1].map((axis) => points.map((point) => point[axis]));
  const [left, right, front, back] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const scale = Math.min((width - 2 * margin.x) / (right - left || 1), (height - margin.top - margin.bottom) / (back - front || 1));
  const [x0, y0] = [(width - (right - left) * scale) / 2, margin.top + (height - margin.top - margin.bottom - (back - front) * scale) / 2];
  return ([x, y]) => [x0 + (x - left) * scale, y0 + (back - y) * scale];
}

const text = (x, y, words, attributes = {}) => svg('text', { x, y, 'text-anchor': 'middle', ...attributes }, words);

/** Words stand below the foot, or above it where the arrow comes from below. */
function footMarks(bench, foot, advice, tap, place) {
  const [x, y] = place(foot.at);
  const above = tap?.at === foot.name && tap.towards[1] > 0.5;
  const line = (k) => (above ? y - 62 + 18 * k : y + 30 + 18 * k);
  const pieces = advice && advice.pieces_mm.length > 1 ? advice.pieces_mm.map((each) => bench.length(each, 2)).join(' + ') : '';
  return [svg('rect', { x: x - 11, y: y - 11, width: 22, height: 22, class: 'foot' }), text(x, line(0), foot.name),
    text(x, line(1), !advice ? '' : advice.shim_mm > 0 ? `shim ${bench.length(advice.shim_mm, 3)}` : 'nothing', { class: 'claim' }), text(x, line(2), pieces, { class: 'small' })];
}

function keyMarks(key, place) {
  const [x, y] = place(key.at);
  return [svg('path', { class: 'pivot', d: `M${x - 9} ${y}h18M${x} ${y - 9}v18` }), svg('circle', { class: 'pivot', cx: x, cy: y, r: 5 }), text(x + 12, y + 5, key.name, { 'text-anchor': 'start', class: 'small' })];
}

/** An arrow that pushes the foot, with how far. */
function tapMarks(bench, tap, feet, place) {
  const foot = feet.find((each) => each.name === tap?.at);
  if (!foot) return [];
  const [x, y] = place(foot.at);
  const [dx, dy] = [tap.towards[0], -tap.towards[1]];
  const [tipX, tipY] = [x - dx * 15, y - dy * 15];
  const [fromX, fromY] = [x - dx * 62, y - dy * 62];
  const head = `M${tipX} ${tipY}l${-dx * 12 - dy * 6} ${-dy * 12 + dx * 6}M${tipX} ${tipY}l${-dx * 12 + dy * 6} ${-dy * 12 - dx * 6}`;
  return [svg('path', { class: 'tap', d: `M${fromX} ${fromY}L${tipX} ${tipY}${head}` }), text(fromX + 8, fromY + (dy ? 0 : -8), `tap ${bench.length(tap.amount_mm, 3)}`, { class: 'claim', 'text-anchor': 'start' })];
}

function claimOf(advice) {
  if (advice.nothing_to_gain) return 'Nothing to gain: it stands as well as can be seen';
  return advice.offset_is_enough ? 'A work offset is enough; aligned it would stand so' : 'Shims under the feet, seen from above';
}

export function feetDrawing(bench, { feet, keys }, advice) {
  if (feet.length === 0) return '';
  const place = projection([...feet, ...keys].map((each) => each.at));
  const adviceFor = (foot) => advice.feet.find((each) => each.name === foot.name);
  const spoken = advice.feet.map((each) => `${each.name}: ${each.shim_mm > 0 ? bench.length(each.shim_mm, 3) : 'nothing'}`).join('; ');
  const picture = svg('svg', { viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': `The feet from above. ${spoken}` },
    text(0, 20, claimOf(advice), { class: 'claim', 'text-anchor': 'start' }),
    feet.flatMap((foot) => footMarks(bench, foot, adviceFor(foot), advice.tap, place)), keys.flatMap((key) => keyMarks(key, place)), tapMarks(bench, advice.tap, feet, place));
  return el('figure', { class: 'feet' }, picture, el('figcaption', { class: 'why' }, 'X to the right, Y away from the front.'));
}

export function shimStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const feetBox = el('textarea', { rows: '6', class: 'text', spellcheck: 'false' });
  const typedFeet = field('One foot a line: its name, then X Y Z in machine coordinates', feetBox);
  const fromFile = el('p', { class: 'why' });
  const shown = commandShown(['shim']);
  feetBox.value = shop.choice('feet', offered);
  const given = () => shop.named('.feet.toml').at(-1);
  const fileName = () => given() ?? `${stemOf(resultName(shop))}.feet.toml`;
  const argsNow = () => ['shim', resultName(shop), '--feet', fileName(), ...bench.unitArgs];

  const go = guarded(place, async () => {
    shop.choose('feet', feetBox.value);
    const typed = feetText(feetOf(feetBox.value), bench.inch ? 'inch' : 'mm');
    const feetFile = given() ? shop.text(given()) : typed;
    const extra = given() ? new Map() : new Map([[fileName(), encode(typed)]]);
    const { value, outcome } = await bench.json([...argsNow(), '--json'], { keep: false, extra });
    const told = value ? await bench.run(argsNow(), { keep: false, extra }) : outcome;
    place.replaceChildren(...(value ? [feetDrawing(bench, placesIn(feetFile), value)] : []), ...said(told, { open: true }).filter(Boolean));
  });
  const drop = dropPlace('Open a file of feet', (files) => shop.change('open feet', { written: new Map([...files].map(([name, bytes]) => [name.replace(/(\.feet)?\.toml$/, '.feet.toml'), bytes])) }), { accept: '.toml' });

  function refresh() {
    const name = given();
    typedFeet.hidden = Boolean(name);
    fromFile.hidden = !name;
    fromFile.textContent = name ? `The feet stand in ${name}.` : '';
    shown.set(argsNow());
  }
  const element = el('details', { class: 'choice' }, el('summary', {}, 'Move the unit: shims and taps'),
    step('The feet of the unit', 'CAUTION: Machine off and locked before hands go near the unit; a heavy unit needs lifting gear. The machine manual, local safety rules and qualified people come first.',
      typedFeet, fromFile, drop, el('p', { class: 'buttons' }, button('What to do', go)), place, shown));
  return { element, refresh };
}
