// Plan: how long or how well, what it will give, where it touches, and the program for a control.
import { el, field, select, slider, button, table, pageFrame, fillSelect, dropPlace } from './elements.js';
import { step, said, settled, guarded, commandShown, saveButtons, stemOf, fingerprint } from './bench.js';
import { Stopped } from './program.js';
import { machineOf } from './toml-lines.js';
import { currentMachine } from './room-machine.js';
import { guideStep } from './guide-step.js';
import { DrawingPanel } from './drawing-panel.js';

const purposes = [
  ['check', 'a check: few touches, often'],
  ['commissioning', 'commissioning: the values that are written'],
  ['crash', 'after a crash: did it move?'],
];

export const planName = (shop) => shop.named('.plan.toml').includes(shop.choice('plan')) ? shop.choice('plan') : shop.named('.plan.toml').at(-1);

/** Control sheets shipped with the program, and those of the shop. */
export function controlNames(bench) {
  const own = bench.shop.named('.toml').filter((name) => /\.(control|sheet)\.toml$/.test(name) || name.startsWith('control-'));
  return [...[...bench.sheets.keys()].map((name) => name.replace(/\.toml$/, '')).filter((name) => name !== 'blank'), ...own];
}

/** The touches of a plan's first pattern, as its text says them. */
export function touchesOfPlan(text) {
  const pattern = text.split('[[pattern]]')[1]?.split('[[')[0] ?? '';
  return [...pattern.matchAll(/around = (-?[\d.]+), up = (-?[\d.]+)/g)].map(([, around, up]) => ({ around: Number(around), up: Number(up) }));
}

/** What the plan shall keep to, beside its purpose: the option of `plan` and its slider. */
const aims = {
  purpose: { text: 'what its purpose asks' },
  minutes: { text: 'so many minutes', option: '--minutes', label: 'Minutes', min: 3, max: 60, step: 0.5, first: 10, shown: (bench, minutes) => `${minutes} min` },
  within: { text: 'a wanted accuracy', option: '--within', label: 'U95 wanted of every value', min: 2, max: 30, step: 0.5, first: 5, unit: 'um', shown: (bench, um) => bench.small(um / 1000) },
  detect: { text: 'a shift to be found', option: '--detect', label: 'Shift to be found in 8 of 10 cases', min: 3, max: 100, step: 1, first: 15, unit: 'um', shown: (bench, um) => bench.small(um / 1000) },
};

const aimOf = (shop) => (aims[shop.choice('aim')] ? shop.choice('aim') : 'purpose');

function aimArgs(shop) {
  const key = aimOf(shop);
  const { option, unit = '', first } = aims[key];
  if (!option) return [];
  const args = [option, `${shop.choice(key, first)}${unit}`];
  const against = shop.choice('against', '');
  return key === 'detect' && shop.files.has(against) ? [...args, '--against', against] : args;
}

const certificateName = (machine) => `${stemOf(machine)}.certificate.json`;

function planArgs(shop, machine) {
  const args = ['plan', machine, '--for', shop.choice('purpose', 'commissioning'), ...aimArgs(shop)];
  if (shop.choice('flip', false)) args.push('--flip');
  if (shop.choice('order', '')) args.push('--order', shop.choice('order'));
  return [...args, '--certificate', certificateName(machine), '-o', `${stemOf(machine)}.plan.toml`];
}

function aimSlider(bench, key, set) {
  const { label, min, max, step: by, first, shown } = aims[key];
  return slider(label, { min, max, step: by, value: bench.shop.choice(key, first), shown: (value) => shown(bench, value), onchange: set(key) });
}

function options(bench, replan) {
  const { shop } = bench;
  const set = (key) => (value) => {
    shop.choose(key, value);
    refresh();
    replan();
  };
  const box = (key, label, why) =>
    el('div', { class: 'field check' },
      el('label', {}, el('input', { type: 'checkbox', checked: shop.choice(key, false), onchange: (event) => set(key)(event.target.checked) }), ` ${label}`),
      el('span', { class: 'why' }, why));
  const purpose = select(purposes, shop.choice('purpose', 'commissioning'), set('purpose'));
  const aim = select(Object.entries(aims).map(([key, each]) => [key, each.text]), aimOf(shop), set('aim'));
  const against = select([], '', set('against'));
  const againstField = field('Against', against);
  const sliders = {};
  const place = el('div', {});
  function refresh() {
    const key = aimOf(shop);
    aim.value = key;
    purpose.value = shop.choice('purpose', 'commissioning');
    if (aims[key].option && place.shownIn !== `${key} ${bench.inch}`) {
      sliders[key] = aimSlider(bench, key, set);
      place.replaceChildren(sliders[key]);
      place.shownIn = `${key} ${bench.inch}`;
    }
    place.hidden = !aims[key].option;
    againstField.hidden = key !== 'detect';
    fillSelect(against, [['', 'this survey made again'], ...shop.named('.result.json')], shop.choice('against', ''));
  }
  const element = el(
    'div',
    {},
    el('div', { class: 'row' }, field('What is it for?', purpose), field('What decides?', aim)),
    place, againstField,
    el('details', {}, el('summary', {}, 'More choices'),
      box('flip', 'A second pass with the spindle turned by 180°', 'It takes away how far the stylus runs out.'),
      field('Order of the angles', select([['', 'as usual'], ['there-and-back', 'there and back'], ['pairs', 'pairs']], shop.choice('order', ''), set('order')))),
  );
  return { element, refresh };
}

function predicted(bench, plan) {
  const wanted = new Map((plan.wanted ?? []).map((each) => [each.name, each]));
  const asked = plan.predicted.some((each) => wanted.has(each.name));
  const rows = plan.predicted.map((each) => {
    const aim = wanted.get(each.name);
    return [each.name, bench.amount(each.U95, each.unit), bench.amount(each.U95_absolute, each.unit),
      ...(asked ? [aim ? bench.amount(aim.wanted, aim.unit) : ''] : [])];
  });
  return table('What it will give', ['value', 'U95 to compare two surveys', 'U95 to write the value', ...(asked ? ['wanted'] : [])], rows);
}

/** What the proof says, in words; the bound and what is reached count in parts of what is wanted. */
function proofOf(plan) {
  const proof = plan.certificate;
  if (!proof) return [];
  const best = proof.bound > 0 ? `gets every value below ${proof.bound.toFixed(2)} of what is wanted; this plan gets ${proof.reached.toFixed(2)}. ` : 'does better. ';
  return [
    el('h4', {}, 'How close it comes to the best there is'),
    el('p', {}, el('strong', {}, `It reaches ${Math.round(proof.efficiency * 100)} % of what is possible. `),
      `Proof: no survey of ${proof.minutes.toFixed(1)} minutes on this machine, made of ${proof.least_touches} to ${proof.most_touches} touches a station on a grid of ${proof.grid_step}°, ${best}`,
      el('span', { class: 'why' }, `${proof.candidates} stations were weighed. “Save the certificate” keeps the numbers anybody can check it with.`)),
  ];
}

function certificateButton(bench, plan) {
  const file = certificateName(currentMachine(bench.shop));
  return plan.certificate && bench.shop.files.has(file) ? el('p', { class: 'buttons' }, button('Save the certificate', () => bench.save(file))) : '';
}

function showPlan(bench, place, plan, outcome) {
  const gains = (plan.gains ?? []).map((gain) => el('li', {}, `${gain.addition}: ${Math.abs(gain.minutes).toFixed(1)} minutes ${gain.minutes < 0 ? 'less' : 'more'}, `,
    gain.predicted.slice(0, 3).map((each) => `${each.name} ${bench.amount(each.U95_absolute, each.unit)}`).join(', ')));
  place.replaceChildren(
    el('p', { class: 'verdict' }, `${plan.stations.length} stations, ${plan.touches} touches, about ${plan.minutes.toFixed(1)} minutes`),
    predicted(bench, plan),
    ...proofOf(plan), certificateButton(bench, plan),
    plan.limited_by.length > 0 ? el('div', {}, el('h4', {}, 'What limits it'), el('ul', {}, plan.limited_by.map((line) => el('li', {}, line)))) : '',
    gains.length > 0 ? el('div', {}, el('h4', {}, 'What more would buy'), el('ul', {}, gains)) : '',
    plan.left_out?.length > 0 ? el('div', {}, el('h4', {}, 'Left out'), el('ul', {}, plan.left_out.map((line) => el('li', {}, String(line))))) : '',
    el('details', {}, el('summary', {}, 'The stations in order'), stationTable(plan)),
    ...said(outcome, { sheet: false }).slice(1).filter(Boolean),
  );
}

function stationTable(plan) {
  const letters = Object.keys(plan.stations[0]?.angles ?? {});
  return table('Stations', ['station', ...letters.map((letter) => `${letter} °`), 'touches', 'spindle'],
    plan.stations.map((each) => [each.label, ...letters.map((letter) => String(each.angles[letter]).replace('-', '−')), String(each.touches), each.flip ? 'turned by 180°' : '']));
}

function programStep(bench) {
  const { shop } = bench;
  const outcome = el('div', { 'aria-live': 'polite' });
  const control = select([], '', (name) => {
    shop.choose('control', name);
    refresh();
  });
  const shown = commandShown(['cycle']);
  const argsNow = () => {
    const plan = planName(shop);
    return ['cycle', plan, '--control', control.value, '--sheet', `${stemOf(plan)}.sheet.html`, '-o', `${stemOf(plan)}.nc`];
  };
  /** What the program is made of: it is shown as long as that is the same. */
  const madeOf = () => fingerprint(argsNow().join(' '), shop.text(planName(shop)), shop.text(currentMachine(shop)));
  const make = guarded(outcome, async () => {
    const plan = planName(shop);
    if (!plan) throw new Error('Make a plan first.');
    const choices = { program: `${stemOf(plan)}.nc`, programMadeOf: madeOf() };
    const told = await bench.run(argsNow(), { label: 'write the program', choices });
    if (told.code === 0) showProgram(told);
    else outcome.replaceChildren(...said(told).filter(Boolean));
  });
  function showProgram(told) {
    const [program, sheet] = ['.nc', '.sheet.html'].map((ending) => `${stemOf(planName(shop))}${ending}`);
    outcome.shownFor = shop.choice('programMadeOf');
    outcome.replaceChildren(
      ...(told ? said(told).filter(Boolean) : []),
      saveButtons(bench, [program, sheet]),
      el('details', { open: true }, el('summary', {}, 'The set-up sheet'), pageFrame('Set-up sheet', shop.text(sheet))),
      el('details', {}, el('summary', {}, 'The program'), el('pre', { class: 'said', tabindex: '0' }, shop.text(program))),
    );
  }
  /** A program of an earlier plan must not be taken for that of this one. */
  function keepInStep() {
    const made = shop.choice('programMadeOf');
    const program = `${stemOf(planName(shop))}.nc`;
    if (!made || !shop.files.has(program)) return;
    if (made === madeOf()) {
      if (outcome.shownFor !== made) showProgram();
      return;
    }
    outcome.shownFor = undefined;
    outcome.replaceChildren(el('p', { class: 'verdict bad' }, `${program} belongs to an earlier plan, machine or control sheet: write it again.`));
  }
  const drop = dropPlace('Open a control sheet of your own', (files) => {
    const taken = new Map([...files].map(([name, bytes]) => [name.replace(/(\.control)?\.toml$/, '.control.toml'), bytes]));
    shop.change('open a control sheet', { written: taken, choices: { control: [...taken.keys()][0] } });
  }, { accept: '.toml' });
  function refresh() {
    fillSelect(control, controlNames(bench), shop.choice('control', 'demo-control'));
    if (!planName(shop)) return;
    shown.set(argsNow());
    keepInStep();
  }
  const element = step('The program for your control',
    'A control sheet says how one control writes and reads each step. demo-control is invented, for the demos. Rehearse every program before it runs on a machine.',
    el('div', { class: 'row' }, field('Control sheet', control), button('Write program and set-up sheet', make, { class: 'main' })), drop, shown, outcome);
  return { element, refresh };
}

function proofStep(bench) {
  const { shop } = bench;
  const outcome = el('div', { 'aria-live': 'polite' });
  const control = select([], '', () => refresh());
  const shown = commandShown(['cycle', '--proof', 'demo-control']);
  const make = guarded(outcome, async () => {
    const told = await bench.run(['cycle', '--proof', control.value, '-o', 'proof.nc'], { label: 'write the proof of a sheet' });
    outcome.replaceChildren(...said(told).filter(Boolean), ...(told.code === 0 ? [saveButtons(bench, ['proof.nc'])] : []));
  });
  const drop = dropPlace('Drop what the proof left: its record or listing', guarded(outcome, async (files) => {
    const [[name, bytes]] = files;
    const sheet = bench.sheets.has(`${control.value}.toml`) ? `${control.value}.toml` : control.value;
    const extra = new Map([[name, bytes]]);
    if (!shop.files.has(sheet)) extra.set(sheet, bench.sheets.get(sheet));
    const told = await bench.run(['check', sheet, '--proof', name], { extra, keep: false });
    outcome.replaceChildren(...said(told, { open: true }).filter(Boolean));
  }), { multiple: false });
  function refresh() {
    fillSelect(control, controlNames(bench), control.value || 'demo-control');
    shown.set(['cycle', '--proof', control.value, '-o', 'proof.nc']);
  }
  const element = el('details', { class: 'choice' }, el('summary', {}, 'Is the control sheet right? Prove it'),
    step('Proof of a control sheet', 'A program that moves nothing: it sets, adds, jumps, loops, logs and shows each position beside the screen. What it leaves says whether the sheet is right.',
      el('div', { class: 'row' }, field('Control sheet to prove', control), button('Write the proof', make)), drop, shown, outcome));
  return { element, refresh };
}

export function buildPlanRoom(bench) {
  const { shop } = bench;
  const drawing = new DrawingPanel(bench);
  const outcome = el('div', { class: 'outcome', 'aria-live': 'polite' });
  const shown = commandShown(['plan', 'my.machine.toml']);
  const program = programStep(bench);
  const guide = guideStep(bench);
  const proof = proofStep(bench);
  /** What the search under way, or the plan on the screen, is for. */
  let plannedFor = '';

  /** The plan follows what is chosen; while it is searched the last one stays, paler. */
  async function plan() {
    const machine = currentMachine(shop);
    if (!machine) return;
    const args = planArgs(shop, machine);
    shown.set(args);
    const key = `${args.join(' ')}\n${shop.text(machine)}`;
    if (`${key} ${bench.inch}` === plannedFor) return;
    plannedFor = `${key} ${bench.inch}`;
    const kept = shop.choice('planned');
    if (kept?.key === key && shop.files.has(args.at(-1))) show(JSON.parse(kept.text), kept.messages);
    else await search(args, key);
  }

  async function search(args, key) {
    const asked = plannedFor;
    outcome.classList.add('stale');
    try {
      const { value, outcome: told } = await bench.json([...args, '--json'], { lane: 'plan', long: true, derived: true, choices: { plan: args.at(-1) } });
      if (value) shop.choose('planned', { key, text: told.out, messages: told.err });
      if (plannedFor !== asked) return;
      outcome.classList.remove('stale');
      if (value) show(value, told.err);
      else outcome.replaceChildren(...said(told).filter(Boolean));
    } catch (fault) {
      if (plannedFor !== asked) return;
      plannedFor = '';
      outcome.classList.remove('stale');
      if (!(fault instanceof Stopped)) throw fault;
      outcome.replaceChildren(el('p', { class: 'verdict bad' }, 'The search was stopped: there is no plan for this yet.'), el('p', { class: 'buttons' }, button('Search again', () => replan())));
    }
  }

  const show = (found, messages) => {
    showPlan(bench, outcome, found, { code: 0, out: '', err: messages });
    drawPlan(found);
  };

  const replan = settled(guarded(outcome, plan));

  const drawPlan = (plan) => {
    const machine = currentMachine(shop);
    const name = planName(shop);
    const touches = name ? touchesOfPlan(shop.text(name)) : [];
    drawing.show({ machine: machineOf(shop.text(machine)), stations: plan.stations.map((each) => ({ ...each, touches })), points: [] });
  };

  function refresh() {
    const machine = currentMachine(shop);
    empty.hidden = Boolean(machine);
    body.hidden = !machine;
    if (!machine) return;
    choices.refresh();
    program.refresh();
    guide.refresh();
    proof.refresh();
    replan();
  }

  const choices = options(bench, () => replan());
  const empty = el('p', {}, 'Describe or open a machine first, in the room ', el('a', { href: '#machine' }, 'My machine'), '.');
  const body = el('div', {}, step('How well, how long', 'The plan follows as you choose. Everything it promises is at 95 %.', choices.element, outcome, shown), program.element, guide.element, proof.element);
  const element = el('div', { class: 'two' }, el('div', {}, el('h2', { tabindex: '-1' }, 'Plan'), empty, body), drawing.element);
  return { element, refresh };
}
