// My machine: what the program must know of it, as a form over the machine file, with a drawing that turns.
import { el, field, select, typed, button, slider, dropPlace, download, fillSelect } from './elements.js';
import { step, said, settled, guarded, commandShown, fileStem, encode } from './bench.js';
import { machineOf, withValue, withSection, withoutSection } from './toml-lines.js';
import { DrawingPanel } from './drawing-panel.js';

const kinds = [
  ['A', 'one rotary axis along X: a 4th axis'],
  ['B', 'one rotary axis along Y'],
  ['C', 'one rotary axis along Z: a round table'],
  ['AC', 'two axes: a cradle that tilts about X with a round table on it'],
  ['BC', 'two axes: a cradle that tilts about Y with a round table on it'],
  ['head', 'a head that swivels about Y'],
];

/** A round table on a cradle, and the ball on that table, beside what `new` offers for the cradle itself. */
const roundTable = (place) => ['--turn-limits=-30 110', '--second-letter', 'C', '--second-along', 'Z',
  `--second-centre=${place([-300, -200, -270])}`, `--ball-at=${place([-230, -200, -210])}`];

/** Answers of `new` for each kind; the rest is as it offers. `place` writes X Y Z in the units of the file. */
const kindOptions = {
  A: () => ['--letter', 'A'],
  B: () => ['--letter', 'B', '--along', 'Y'],
  C: () => ['--letter', 'C', '--along', 'Z'],
  AC: (place) => ['--letter', 'A', ...roundTable(place)],
  BC: (place) => ['--letter', 'B', '--along', 'Y', ...roundTable(place)],
  head: () => ['--letter', 'B', '--carries', 'tool', '--along', 'Y', '--turn', 'right-hand'],
};

const inUnits = (units, mm) => (units === 'inch' ? Number((mm / 25.4).toFixed(4)) : mm);

const lists = ['X', 'Y', 'Z'];

/** What is asked, by section of the file: key, words, what it is for, kind of answer. */
const questions = {
  '': [['name', 'What is the machine called?', 'Records and results name it.', 'text']],
  linear: [
    ['limits', 'From where to where does it travel?', 'Machine coordinates, smaller number first.', 'ranges'],
    ['station_sigma', 'How well does a linear axis come back?', 'One sigma; left empty, 0.002 mm is assumed.', 'number'],
    ['rapid', 'Rapid feed', 'Per minute, for time estimates.', 'number'],
    ['acceleration', 'Acceleration', 'Per second squared, for time estimates.', 'number'],
  ],
  rotary: [
    ['letter', 'Letter', 'As programs call it.', ['A', 'B', 'C']],
    ['carries', 'What does it carry?', 'A table or chuck carries the work, a head the tool.', ['work', 'tool']],
    ['along', 'Which linear axis does it lie along?', 'The lean is measured from there.', lists],
    ['positive_turn', 'Left or right hand?', 'Thumb of your left hand along + of that axis: does a small + command turn what it carries the way the fingers point? Then left-hand. If it is wrong, the fit says so.', ['left-hand', 'right-hand']],
    ['centre', 'Roughly where is it: a point on it', 'X Y Z, machine coordinates; a few mm off do no harm. A head counts from the position shown.', 'place'],
    ['quote_at', 'Where along it shall the centre be quoted?', 'The plane a value belongs to; the same number as in the point.', 'number'],
    ['limits', 'From where to where does it turn?', 'Degrees; only angles inside are planned.', 'range'],
    ['index_sigma_arcsec', 'How well does it reach an angle?', 'One sigma, seconds of arc; left empty, 5 is assumed.', 'number'],
  ],
  probe: [
    ['stylus_diameter', 'Diameter of the stylus ball', 'A touch lies half of it beside the surface.', 'number'],
    ['stylus_length', 'Length of the stylus', 'From its ball to the probe: what could hit something.', 'number'],
    ['length_datum', 'What does the Z shown belong to?', 'The centre of the stylus ball, or its tip. A wrong guess is a wrong centre.', ['centre', 'tip']],
    ['touch_sigma', 'How well does a touch repeat?', 'One sigma.', 'number'],
  ],
  artefact: [
    ['name', 'Name', 'Touch records use it.', 'text'],
    ['kind', 'What is touched?', 'A ball is best: it looks the same from everywhere.', ['ball', 'pin', 'bore', 'flat']],
    ['carried_by', 'What carries it?', 'Letter of the innermost axis it turns with, or bed.', ['A', 'B', 'C', 'bed']],
    ['at', 'Roughly where is its centre?', 'X Y Z with all rotary axes at 0; 50 to 150 mm off the axis is best.', 'place'],
    ['diameter', 'Diameter', 'From its certificate.', 'number'],
    ['stem', 'The stem a ball stands on', 'Where it goes from the ball, its diameter and length: touches keep clear of it.', 'stem', (entry) => entry.kind === 'ball'],
    ['direction', 'Which way does it point?', 'X Y Z, towards the open end, or out of the material of a flat: 1 0 0 is along +X.', 'place', (entry) => entry.kind !== 'ball'],
    ['length', 'Usable length or depth', '', 'number', (entry) => entry.kind === 'pin' || entry.kind === 'bore'],
  ],
  obstacle: [
    ['name', 'Name', 'Messages name it.', 'text'],
    ['carried_by', 'What carries it?', 'Letter of the innermost axis it turns with, or bed.', ['A', 'B', 'C', 'bed']],
    ['shape', 'Shape', '', ['cylinder', 'box']],
    ['from', 'From', 'X Y Z with all rotary axes at 0: one end of a cylinder, one corner of a box.', 'place'],
    ['to', 'To', 'The other end, or the opposite corner.', 'place'],
    ['diameter', 'Diameter', '', 'number', (entry) => entry.shape === 'cylinder'],
  ],
};
const titles = { '': 'The machine', linear: 'Linear axes', rotary: 'Rotary axis', probe: 'Probe', artefact: 'What is touched', obstacle: 'What must not be hit' };

const stemWays = [['0,0,-1', 'down (−Z)'], ['0,0,1', 'up (+Z)'], ['1,0,0', '+X'], ['-1,0,0', '−X'], ['0,1,0', '+Y'], ['0,-1,0', '−Y']];

/** "1 2,3" with blanks or commas between: numbers, or null. */
export function numbersOf(text, count) {
  const words = text.trim().split(/[\s;,]+/).filter(Boolean);
  const numbers = words.map(Number);
  return numbers.length === count && numbers.every(Number.isFinite) ? numbers : null;
}

/** What a rehearsal needs to know of the probe: offered, to be put right in the form. */
export function withProbeBody(text) {
  const machine = machineOf(text);
  const unit = (mm) => inUnits(machine.units, mm);
  let next = withValue(text, machine.probe.section, 'stylus_length', unit(75));
  next = withValue(next, machine.probe.section, 'shank_diameter', unit(4));
  return withValue(next, machine.probe.section, 'holder', { diameter: unit(40), length: unit(60) });
}

export function buildMachineRoom(bench, demos) {
  const { shop } = bench;
  const drawing = new DrawingPanel(bench);
  const outcome = el('div', { class: 'outcome', 'aria-live': 'polite' });
  const form = el('div', { class: 'form' });
  const picker = select([], '', (name) => choose(name));
  const text = el('textarea', { rows: '18', spellcheck: 'false', class: 'text', 'aria-label': 'The machine file as text' });
  const shown = commandShown(['check', 'my.machine.toml']);

  const current = () => currentMachine(shop);
  const choose = (name) => {
    shop.choose('machine', name);
    refresh();
  };

  const check = settled(
    guarded(outcome, async () => {
      const name = current();
      if (!name) return;
      const args = ['check', name];
      shown.set(args);
      const { outcome: told, value } = await bench.json([...args, '--json'], { lane: 'check', keep: false });
      showCheck(outcome, told, value);
    }),
  );

  const edit = (next, label) => {
    shop.write(label, current(), next);
  };

  text.addEventListener('change', () => edit(text.value, 'edit the machine file'));

  function refresh() {
    const names = shop.named('.machine.toml');
    const name = current();
    fillSelect(picker, names.length > 0 ? names : [['', 'none yet']], name);
    kept.hidden = !name;
    if (!name) {
      drawing.clear();
      return;
    }
    const file = shop.text(name);
    if (text.value !== file) text.value = file;
    fillForm(form, file, edit);
    drawing.show({ machine: machineOf(file), stations: [], points: [] });
    check();
  }

  const kept = el(
    'div',
    {},
    step('What the program must know', 'Everything you change is checked at once. Lengths are in the units of the file, angles in degrees.', form, outcome, shown,
      el('details', {}, el('summary', {}, 'The file itself'), el('p', { class: 'why' }, 'The form shows what is asked most. Every other key can be written here; the page “files” of the manual says what each means.'), text),
      el('p', { class: 'buttons' }, button('Save the machine file', () => download(current(), shop.files.get(current()))))),
  );

  const element = el(
    'div',
    { class: 'two' },
    el('div', {}, el('h2', { tabindex: '-1' }, 'My machine'), beginning(bench, demos, picker, choose), kept),
    drawing.element,
  );
  return { element, refresh, drawing };
}

export function currentMachine(shop) {
  const names = shop.named('.machine.toml');
  const chosen = shop.choice('machine');
  return names.includes(chosen) ? chosen : names.at(-1);
}

/** New machine, demo, or a file that exists. */
function beginning(bench, demos, picker, choose) {
  const { shop } = bench;
  const outcome = el('div', { 'aria-live': 'polite' });
  const kind = select(kinds, 'A', () => {});
  const name = typed('My machine', () => {});
  const units = select([['mm', 'mm'], ['inch', 'inch']], bench.inch ? 'inch' : 'mm', () => {});
  const touched = select([['probe', 'a touch probe'], ['edge-finder', 'an edge finder'], ['indicator', 'an indicator in the spindle']], 'probe', () => {});
  const shown = commandShown(['new']);
  const argsNow = () => {
    const place = (at) => at.map((mm) => inUnits(units.value, mm)).join(' ');
    return ['new', `${fileStem(name.value)}.machine.toml`, '--defaults', '--name', name.value || 'My machine', '--units', units.value, '--touched-with', touched.value, ...kindOptions[kind.value](place)];
  };
  for (const each of [kind, name, units, touched]) each.addEventListener('change', () => shown.set(argsNow()));
  shown.set(argsNow());
  const make = guarded(outcome, async () => {
    const args = argsNow();
    const [, file] = args;
    const told = await bench.run(args, { keep: false });
    const written = told.written.get(file);
    if (!written) {
      outcome.replaceChildren(...said(told).filter(Boolean));
      return;
    }
    let text = new TextDecoder().decode(written);
    if (touched.value === 'probe') text = withProbeBody(text);
    shop.change(`new machine ${name.value}`, { written: new Map([[file, encode(text)]]), choices: { machine: file } });
    outcome.replaceChildren(el('p', { class: 'verdict' }, `${file} is made: go through it below.`));
  });
  const demo = select(Object.entries(demos).map(([key, each]) => [key, each.title]), Object.keys(demos)[0], () => {});
  const openDemo = () => {
    const chosen = demos[demo.value];
    const written = new Map(Object.entries(chosen.files).map(([file, text]) => [file, encode(text)]));
    shop.change(`open the demo ${chosen.title}`, { written, choices: chosen.choices });
    outcome.replaceChildren(el('p', { class: 'verdict' }, 'The demo is open. All its data are invented.'));
  };
  const drop = dropPlace('Open a machine file: drop it here, or press to choose', (files) => {
    const taken = new Map([...files].map(([file, bytes]) => [file.endsWith('.machine.toml') ? file : `${file.replace(/\.toml$/, '')}.machine.toml`, bytes]));
    shop.change('open a machine file', { written: taken, choices: { machine: [...taken.keys()].at(-1) } });
  }, { accept: '.toml' });
  // Whoever has a machine need not see the questions for a new one.
  shop.addEventListener('change', () => (asking.open = shop.named('.machine.toml').length === 0));
  const asking = el('details', { class: 'choice', open: shop.named('.machine.toml').length === 0 }, el('summary', {}, 'A new machine'),
    el('div', { class: 'row' }, field('What is it called?', name), field('What turns?', kind), field('Do you write mm or inch?', units, 'It holds for every length of the file.'), field('What do you measure with?', touched)),
    el('p', { class: 'buttons' }, button('Make its form', make, { class: 'main' })), shown);
  return step(
    'Begin',
    'Make a new machine, open your file, or try a demo with invented data.',
    el('div', { class: 'row' }, field('The machine worked on', picker)),
    asking,
    el('div', { class: 'row' }, field('A demo', demo), button('Open the demo', openDemo)),
    drop,
    outcome,
  );
}

function showCheck(place, told, value) {
  const file = value?.files?.[0];
  if (!file) {
    place.replaceChildren(...said(told).filter(Boolean));
    return;
  }
  const problems = file.problems.map((each) =>
    el('li', {}, each.line ? `Line ${each.line}: ` : '', el('strong', {}, each.what), ' ', el('span', { class: 'why' }, each.advice)));
  place.replaceChildren(
    el('p', { class: file.good ? 'verdict' : 'verdict bad' }, file.good ? 'The file is good.' : `${problems.length} thing${problems.length === 1 ? ' is' : 's are'} wrong:`),
    problems.length > 0 ? el('ul', { class: 'problems' }, problems) : el('pre', { class: 'said', tabindex: '0' }, file.summary),
  );
}

function fillForm(form, text, edit) {
  const machine = machineOf(text);
  const groups = [formGroup('', machine, '', text, edit)];
  for (const name of ['linear', 'rotary', 'probe', 'artefact', 'obstacle']) {
    const entries = Array.isArray(machine[name]) ? machine[name] : [machine[name]];
    entries.forEach((entry, k) => {
      if (entry.section === undefined) return;
      const title = name === 'rotary' ? `Rotary axis ${entry.letter ?? ''}` : entries.length > 1 ? `${titles[name]} ${k + 1}` : titles[name];
      groups.push(formGroup(name, entry, title, text, edit));
    });
  }
  const focused = form.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  form.replaceChildren(...groups, obstacleButtons(text, machine, edit));
  if (focused) form.querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus();
}

/** Vices, tables, tailstocks: what a rehearsal looks out for. */
function obstacleButtons(text, machine, edit) {
  const add = (shape) => {
    const unit = (mm) => inUnits(machine.units, mm);
    const [x, y, z] = machine.rotary[0]?.centre ?? [0, 0, 0];
    const names = new Set([...machine.obstacle, ...machine.artefact].map((each) => each.name));
    let name = shape === 'box' ? 'vice' : 'table';
    for (let k = 2; names.has(name); ++k) name = `${name.replace(/ \d+$/, '')} ${k}`;
    const round = { name, carried_by: machine.rotary.at(-1)?.letter ?? 'bed', shape, from: [x, y, z - unit(55)], to: [x, y, z - unit(20)], diameter: unit(200) };
    const box = { name, carried_by: 'bed', shape, from: [x - unit(200), y - unit(90), z - unit(90)], to: [x - unit(60), y + unit(90), z + unit(90)] };
    edit(withSection(text, 'obstacle', shape === 'box' ? box : round), `add ${name}`);
  };
  return el('div', {}, machine.obstacle.length === 0 ? el('p', { class: 'why' }, 'Nothing is described that the probe could hit. A rehearsal sees only what stands here.') : null,
    el('p', { class: 'buttons' }, button('Add something round it could hit', () => add('cylinder')), button('Add a box it could hit', () => add('box'))));
}

function formGroup(name, entry, title, text, edit) {
  const asked = questions[name].filter(([key, , , , when]) => entry[key] !== undefined || !when || when(entry));
  const rows = asked.map(([key, label, why, kind]) => {
    const set = (value) => edit(withValue(text, entry.section, key, value), `${label}`);
    return answerFields(`${name}.${entry.section}.${key}`, entry[key], label, why, kind, set);
  });
  const remove = name === 'rotary' || name === 'artefact' || name === 'obstacle'
    ? button(`Remove: ${title}`, () => edit(withoutSection(text, entry.section), `remove ${title}`), { class: 'quiet' })
    : null;
  return el('fieldset', {}, el('legend', {}, title || titles['']), rows, remove);
}

function answerFields(key, value, label, why, kind, set) {
  const mark = { 'data-key': key };
  if (Array.isArray(kind)) {
    const options = kind.includes(value) || value === undefined ? kind : [value, ...kind];
    return field(label, select(options, value, set, mark), why);
  }
  if (kind === 'text') return field(label, typed(value ?? '', set, mark), why);
  if (kind === 'stem') return stemField(key, value, label, why, set);
  if (kind === 'ranges') return rangesField(key, value ?? {}, label, why, set);
  const count = { number: 1, range: 2, place: 3 }[kind];
  const now = value === undefined ? '' : [value].flat().join('  ');
  const box = typed(now, (words) => take(box, numbersOf(words, count), count, set), { ...mark, inputmode: count === 1 ? 'decimal' : 'text' });
  return field(label, box, why);
}

/** Only what is understood goes into the file; the rest is said beside the box. */
function take(box, numbers, count, set) {
  box.setAttribute('aria-invalid', String(!numbers));
  box.setCustomValidity(numbers ? '' : `${count} number${count > 1 ? 's are' : ' is'} wanted${count > 1 ? ', with blanks between' : ''}`);
  if (!numbers) {
    box.reportValidity();
    return;
  }
  set(count === 1 ? numbers[0] : numbers);
}

function stemField(key, value, label, why, set) {
  const now = value ?? { direction: [0, 0, -1] };
  const put = (part, each) => set({ direction: now.direction, diameter: now.diameter ?? 8, length: now.length ?? 40, [part]: each });
  const way = [now.direction].flat().join();
  const options = stemWays.some(([each]) => each === way) ? stemWays : [[way, `along ${way}`], ...stemWays];
  const number = (part) => {
    const box = typed(now[part] === undefined ? '' : String(now[part]), (words) => take(box, numbersOf(words, 1), 1, (each) => put(part, each)), { 'data-key': `${key}.${part}`, 'aria-label': `${label}: ${part}`, inputmode: 'decimal' });
    return el('label', { class: 'inline' }, part, box);
  };
  const direction = select(options, way, (each) => put('direction', each.split(',').map(Number)), { 'data-key': `${key}.direction`, 'aria-label': `${label}: direction` });
  return el('div', { class: 'field', role: 'group', 'aria-label': label }, el('span', { class: 'label' }, label), el('span', { class: 'row' }, direction, number('diameter'), number('length')), el('span', { class: 'why' }, why));
}

function rangesField(key, value, label, why, set) {
  const boxes = lists.map((axis) => {
    const box = typed((value[axis] ?? []).join('  '), (words) =>
      take(box, numbersOf(words, 2), 2, (range) => set({ ...value, [axis]: range })), { 'data-key': `${key}.${axis}`, 'aria-label': `${label} ${axis}` });
    return el('label', { class: 'inline' }, axis, box);
  });
  return el('div', { class: 'field', role: 'group', 'aria-label': label }, el('span', { class: 'label' }, label), el('span', { class: 'row' }, boxes), el('span', { class: 'why' }, why));
}
