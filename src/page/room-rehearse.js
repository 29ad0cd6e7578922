// Rehearse: the text of the program on a virtual machine, with faults to try.
import { el, field, select, button, table, typed, fillSelect, filmFrame, slider, dropPlace } from './elements.js';
import { step, said, guarded, commandShown, saveButtons, stemOf, fingerprint } from './bench.js';
import { currentMachine } from './room-machine.js';
import { planName, controlNames } from './room-plan.js';

const faults = [
  ['', 'nothing goes wrong'],
  ['no-trigger', 'the probe does not notice a touch'],
  ['early-trigger', 'a touch triggers half-way, in the air'],
  ['moved-artefact', 'what is touched moves by 3 mm'],
  ['wrong-turn', 'the rotary axes turn the wrong way'],
  ['index-slip', 'a turn ends 1° off'],
];

const programName = (shop) => shop.named('.nc').includes(shop.choice('program')) ? shop.choice('program') : shop.named('.nc').filter((name) => name !== 'proof.nc').at(-1);

export function rehearseArgs(bench, filmKnown) {
  const { shop } = bench;
  const program = programName(shop);
  const machine = currentMachine(shop);
  const stem = stemOf(program);
  const args = ['rehearse', program, '--machine', machine, '--control', shop.choice('control', 'demo-control')];
  if (planName(shop)) args.push('--plan', planName(shop));
  const truth = shop.choice('truth', '');
  if (truth && shop.files.has(truth)) args.push('--truth', truth);
  if (shop.choice('noise', true)) args.push('--noise', '--seed', String(shop.choice('seed', 1)));
  const fault = shop.choice('fault', '');
  if (fault) args.push('--fault', fault === 'wrong-turn' ? fault : `${fault}:${shop.choice('faultAt', 5)}`);
  args.push('--guard', String(shop.choice('guard', 3)), '--picture', `${stem}.clearance.svg`);
  if (filmKnown) args.push('--film', `${stem}.film.html`);
  return [...args, '-o', `${stem}.touches.csv`];
}

function showReport(bench, place, report, outcome, stem) {
  const { shop } = bench;
  const picture = shop.text(`${stem}.clearance.svg`);
  const film = shop.text(`${stem}.film.html`);
  const clearance = report.smallest_clearance;
  const problems = [...(report.problems ?? []), ...(report.violations ?? [])];
  place.replaceChildren(
    el('p', { class: report.passed ? 'verdict' : 'verdict bad' }, report.passed ? 'Passed: the program ran to its end, nothing was hit.' : `Did not pass: ${report.end}.`),
    problems.length > 0 ? el('ul', { class: 'problems' }, problems.map((each) => el('li', {}, typeof each === 'string' ? each : (each.text ?? each.what)))) : '',
    table('In figures', ['what', 'how much'], [
      ['moves', String(report.moves)], ['touches', String(report.touches)], ['stops for the operator', String(report.operator_stops)],
      ['minutes of motion', report.minutes_of_motion.toFixed(1)], ['minutes in all', report.minutes.toFixed(1)],
      ...(Number.isFinite(clearance?.mm) ? [['smallest clearance', `${bench.length(clearance.mm, 2)}, ${clearance.part} to ${clearance.body}, line ${clearance.line}`]] : []),
    ]),
    film ? filmFrame('Film of the rehearsal', film) : '',
    picture ? el('figure', {}, el('img', { class: 'picture', alt: 'The smallest clearance, or what was hit', src: `data:image/svg+xml;charset=utf-8,${encodeURIComponent(picture)}` }), el('figcaption', {}, 'The smallest clearance, or what was hit')) : '',
    ...said(outcome, { sheet: false }).slice(1).filter(Boolean),
    shop.files.has(`${stem}.touches.csv`) ? saveButtons(bench, [`${stem}.touches.csv`]) : '',
    shop.files.has(`${stem}.touches.csv`) ? el('p', {}, 'What the control would leave is kept as ', el('code', {}, `${stem}.touches.csv`), '. It says that it is simulated. Go on in ', el('a', { href: '#measure' }, 'Measure'), ' or ', el('a', { href: '#result' }, 'Result'), '.') : '',
  );
}

export function buildRehearseRoom(bench) {
  const { shop } = bench;
  const outcome = el('div', { class: 'outcome', 'aria-live': 'polite' });
  const shown = commandShown(['rehearse']);
  const program = select([], '', set('program'));
  const control = select([], '', set('control'));
  const truth = select([], '', set('truth'));
  const fault = select(faults, shop.choice('fault', ''), set('fault'));
  const faultAt = typed(String(shop.choice('faultAt', 5)), (text) => set('faultAt')(Math.max(1, Math.round(Number(text)) || 1)), { inputmode: 'numeric', size: '4' });
  const noise = el('input', { type: 'checkbox', checked: shop.choice('noise', true), onchange: (event) => set('noise')(event.target.checked) });
  const seed = typed(String(shop.choice('seed', 1)), (text) => set('seed')(Math.max(0, Math.round(Number(text)) || 0)), { inputmode: 'numeric', size: '6' });

  function set(key) {
    return (value) => {
      shop.choose(key, value);
      refresh();
    };
  }

  /** What was rehearsed: its report is shown as long as that is the same. */
  const rehearsedOf = () => fingerprint(rehearseArgs(bench, bench.knows.film).join(' '), shop.text(programName(shop)), shop.text(currentMachine(shop)), shop.text(shop.choice('truth', '')) ?? '');
  const show = (report, told) => {
    outcome.shownFor = `${shop.choice('rehearsed').key} ${bench.inch}`;
    showReport(bench, outcome, report, told, stemOf(programName(shop)));
  };
  const go = guarded(outcome, async () => {
    const args = rehearseArgs(bench, bench.knows.film);
    const key = rehearsedOf();
    const { outcome: told, value } = await bench.json([...args, '--json'], { label: 'rehearse', choices: { touches: args.at(-1) } });
    if (!value) {
      outcome.replaceChildren(...said(told).filter(Boolean));
      return;
    }
    shop.choose('rehearsed', { key, text: told.out, messages: told.err });
    show(value, told);
  });
  /** The report of another program or machine must not be taken for that of this one. */
  function keepInStep() {
    const last = shop.choice('rehearsed');
    const now = rehearsedOf();
    if (!last || outcome.shownFor === `${now} ${bench.inch}`) return;
    if (last.key === now) show(JSON.parse(last.text), { code: 0, out: '', err: last.messages });
    else if (outcome.shownFor) {
      outcome.shownFor = undefined;
      outcome.replaceChildren(el('p', { class: 'why' }, 'Something has changed since: rehearse again.'));
    }
  }

  function refresh() {
    const name = programName(shop);
    const machine = currentMachine(shop);
    empty.hidden = Boolean(name && machine);
    body.hidden = !(name && machine);
    if (!name || !machine) return;
    fillSelect(program, shop.named('.nc').filter((each) => each !== 'proof.nc'), name);
    fillSelect(control, controlNames(bench), shop.choice('control', 'demo-control'));
    fillSelect(truth, [['', 'as the machine file says'], ...shop.named('.truth.toml')], shop.choice('truth', ''));
    fault.value = shop.choice('fault', '');
    shown.set(rehearseArgs(bench, bench.knows.film));
    keepInStep();
  }

  const empty = el('p', {}, 'Write a program first, in the room ', el('a', { href: '#plan' }, 'Plan'), '.');
  const body = el('div', {},
    step('What runs, and what goes wrong', 'Nothing moves but numbers. A rehearsal knows only what the files say.',
      el('div', { class: 'row' }, field('Program', program), field('Control sheet', control), field('How the machine really is', truth, 'A truth file of a demo, to see whether it is found.')),
      dropPlace('Open a truth file: how a virtual machine really is', (files) => {
        const taken = new Map([...files].map(([name, bytes]) => [name.endsWith('.truth.toml') ? name : `${stemOf(name)}.truth.toml`, bytes]));
        shop.change('open a truth file', { written: taken, choices: { truth: [...taken.keys()].at(-1) } });
      }, { accept: '.toml' }),
      el('div', { class: 'row' }, field('On purpose', fault), field('at touch', faultAt)),
      el('div', { class: 'row' }, el('div', { class: 'field check' }, el('label', {}, noise, ' err at random by the sigmas of the machine file')), field('Which random errors', seed)),
      slider('Least distance wanted from anything', { min: 0, max: 20, step: 0.5, value: shop.choice('guard', 3), shown: (mm) => bench.length(mm, 1), onchange: set('guard') }),
      el('p', { class: 'buttons' }, button('Rehearse', go, { class: 'main' })), shown, outcome));
  return { element: el('div', {}, el('h2', { tabindex: '-1' }, 'Rehearse'), empty, body), refresh };
}
