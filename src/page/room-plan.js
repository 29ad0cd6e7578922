// Plan: how long or how well, what it will give, where it touches, and the program for a control.
import { el, field, select, slider, button, table, pageFrame, fillSelect, dropPlace } from './elements.js';
import { step, said, settled, guarded, commandShown, saveButtons, stemOf } from './bench.js';
import { machineOf } from './toml-lines.js';
import { currentMachine } from './room-machine.js';
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

function planArgs(shop, machine) {
  const args = ['plan', machine, '--for', shop.choice('purpose', 'commissioning')];
  if (shop.choice('minutesAsked', false)) args.push('--minutes', String(shop.choice('minutes', 10)));
  if (shop.choice('flip', false)) args.push('--flip');
  if (shop.choice('order', '')) args.push('--order', shop.choice('order'));
  return [...args, '-o', `${stemOf(machine)}.plan.toml`];
}

function options(bench, replan) {
  const { shop } = bench;
  const set = (key) => (value) => {
    shop.choose(key, value);
    replan();
  };
  const box = (key, label, why) =>
    el('div', { class: 'field check' },
      el('label', {}, el('input', { type: 'checkbox', checked: shop.choice(key, false), onchange: (event) => set(key)(event.target.checked) }), ` ${label}`),
      el('span', { class: 'why' }, why));
  return el(
    'div',
    {},
    el('div', { class: 'row' }, field('What is it for?', select(purposes, shop.choice('purpose', 'commissioning'), set('purpose')))),
    box('minutesAsked', 'I have so many minutes', 'Then the plan is as good as it gets in that time.'),
    slider('Minutes', { min: 3, max: 60, step: 0.5, value: shop.choice('minutes', 10), shown: (minutes) => `${minutes} min`, onchange: (minutes) => {
      shop.choose('minutesAsked', true);
      set('minutes')(minutes);
    } }),
    el('details', {}, el('summary', {}, 'More choices'),
      box('flip', 'A second pass with the spindle turned by 180°', 'It takes away how far the stylus runs out.'),
      field('Order of the angles', select([['', 'as usual'], ['there-and-back', 'there and back'], ['pairs', 'pairs']], shop.choice('order', ''), set('order')))),
  );
}

function predicted(bench, plan) {
  const rows = plan.predicted.map((each) => [
    `${each.name}`, bench.amount(each.U95, each.unit), bench.amount(each.U95_absolute, each.unit),
    ...(plan.predicted.some((other) => other.efficiency !== undefined) ? [each.efficiency === undefined || each.efficiency === null ? '' : `${Math.round(each.efficiency * 100)} %`] : []),
  ]);
  const head = ['value', 'U95 to compare two surveys', 'U95 to write the value'];
  if (rows[0]?.length > 3) head.push('of what is possible');
  return table('What it will give', head, rows);
}

function showPlan(bench, place, plan, outcome) {
  const gains = (plan.gains ?? []).map((gain) => el('li', {}, `${gain.addition}: ${gain.minutes.toFixed(1)} minutes more, `,
    gain.predicted.slice(0, 3).map((each) => `${each.name} ${bench.amount(each.U95_absolute, each.unit)}`).join(', ')));
  place.replaceChildren(
    el('p', { class: 'verdict' }, `${plan.stations.length} stations, ${plan.touches} touches, about ${plan.minutes.toFixed(1)} minutes`),
    predicted(bench, plan),
    plan.limited_by.length > 0 ? el('div', {}, el('h4', {}, 'What limits it'), el('ul', {}, plan.limited_by.map((line) => el('li', {}, line)))) : '',
    gains.length > 0 ? el('div', {}, el('h4', {}, 'What more would buy'), el('ul', {}, gains)) : '',
    plan.left_out?.length > 0 ? el('div', {}, el('h4', {}, 'Left out'), el('ul', {}, plan.left_out.map((line) => el('li', {}, String(line))))) : '',
    ...said(outcome, { sheet: false }).slice(1).filter(Boolean),
  );
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
  const make = guarded(outcome, async () => {
    const plan = planName(shop);
    if (!plan) throw new Error('Make a plan first.');
    const told = await bench.run(argsNow(), { label: 'write the program', choices: { program: `${stemOf(plan)}.nc` } });
    show(told, `${stemOf(plan)}.sheet.html`, `${stemOf(plan)}.nc`);
  });
  const show = (told, sheet, program) => {
    outcome.replaceChildren(
      ...said(told).filter(Boolean),
      ...(told.code === 0 ? [
        saveButtons(bench, [program, sheet]),
        el('details', { open: true }, el('summary', {}, 'The set-up sheet'), pageFrame('Set-up sheet', shop.text(sheet))),
        el('details', {}, el('summary', {}, 'The program'), el('pre', { class: 'said', tabindex: '0' }, shop.text(program))),
      ] : []),
    );
  };
  const drop = dropPlace('Open a control sheet of your own', (files) => {
    const taken = new Map([...files].map(([name, bytes]) => [name.replace(/(\.control)?\.toml$/, '.control.toml'), bytes]));
    shop.change('open a control sheet', { written: taken, choices: { control: [...taken.keys()][0] } });
  }, { accept: '.toml' });
  function refresh() {
    fillSelect(control, controlNames(bench), shop.choice('control', 'demo-control'));
    if (planName(shop)) shown.set(argsNow());
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
  const proof = proofStep(bench);
  let plannedFor = '';

  const replan = settled(guarded(outcome, async () => {
    const machine = currentMachine(shop);
    if (!machine) return;
    const args = planArgs(shop, machine);
    const key = `${commandLineKey(args)} ${shop.text(machine)}`;
    shown.set(args);
    if (key === plannedFor && planName(shop)) return;
    const told = await bench.json([...args, '--json'], { lane: 'plan', derived: true, choices: { plan: args.at(-1) } });
    if (!told.value) {
      outcome.replaceChildren(...said(told.outcome).filter(Boolean));
      return;
    }
    plannedFor = key;
    showPlan(bench, outcome, told.value, told.outcome);
    drawPlan(told.value);
  }));

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
    program.refresh();
    proof.refresh();
    replan();
  }

  const empty = el('p', {}, 'Describe or open a machine first, in the room ', el('a', { href: '#machine' }, 'My machine'), '.');
  const body = el('div', {}, step('How well, how long', 'The plan follows as you choose. Everything it promises is at 95 %.', options(bench, replan), outcome, shown), program.element, proof.element);
  const element = el('div', { class: 'two' }, el('div', {}, el('h2', { tabindex: '-1' }, 'Plan'), empty, body), drawing.element);
  return { element, refresh };
}

const commandLineKey = (args) => args.join(' ');
