// A control sheet of one's own: the program asks one question after the other, as it does at a command line.
import { el, field, select, typed, button, download } from './elements.js';
import { step, said, guarded, commandShown, fileStem } from './bench.js';

const origins = [
  ['macro', 'numbered variables, words of ISO 6983'],
  ['blank', 'another language: ask for every word'],
];
/** The program's own word for ending the questions. */
const leave = 'leave\n';

/**
 * What was asked at the k-th prompt, from 0: {question, notes, complaint}; null where there was none.
 * A refused answer is complained of before it is asked again.
 */
export function asked(dialogue, k) {
  const turns = dialogue.replaceAll('\r', '').split(/^> /m);
  if (k >= turns.length - 1) return null;
  const paragraphs = turns[k].split(/\n\s*\n/).map((each) => each.trim()).filter(Boolean);
  const [question, ...notes] = paragraphs.at(-1).split('\n').map((each) => each.trim());
  const complaint = paragraphs.slice(0, -1).find((each) => /^P\d+: /.test(each));
  return { question, notes, complaint: complaint?.replace(/^P\d+: /, '') };
}

const linesOf = (answers) => answers.map((each) => `${each}\n`).join('');

export function guideStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const name = typed('My control', () => refresh());
  const from = select(origins, 'macro', () => refresh());
  const shown = commandShown(['new', '--control']);
  /** So many open questions were passed over. */
  let passed = 0;
  const own = () => (shop.files.has(shop.choice('ownSheet', '')) ? shop.choice('ownSheet') : undefined);
  const fileNow = () => `${fileStem(name.value)}.control.toml`;

  const begin = guarded(place, async () => {
    const file = fileNow();
    const told = await bench.run(['new', '--control', file, '--from', from.value], { stdin: leave, label: 'begin a control sheet', choices: { control: file, ownSheet: file } });
    passed = 0;
    showTurn(told, 0);
  });

  /** Goes past what was left open, gives the answers, and leaves: every answer is kept at once. */
  const talk = guarded(place, async (answers) => {
    const stdin = `${'\n'.repeat(passed)}${linesOf(answers)}${leave}`;
    const told = await bench.run(['new', '--control', own()], { stdin, label: 'answer of the control sheet' });
    showTurn(told, passed + answers.length);
  });

  function showTurn(told, k) {
    const turn = asked(told.err, k);
    if (told.code !== 0) {
      place.replaceChildren(...said(told).filter(Boolean));
      return;
    }
    place.replaceChildren(...(turn ? questionFields(turn) : [
      el('p', { class: 'verdict' }, passed > 0 ? `That was the last question; ${passed} left open.` : 'Every question is answered.'),
      el('p', { class: 'buttons' }, passed > 0 ? button('Ask again what is open', () => { passed = 0; talk([]); }) : '')]),
    el('p', { class: 'buttons' }, button('Save the control sheet', () => download(own(), shop.files.get(own())), { class: 'quiet' }), button('What is still open?', open, { class: 'quiet' })));
  }

  function questionFields({ question, notes, complaint }) {
    const box = typed('', () => {});
    const answer = () => talk([box.value]);
    box.addEventListener('keydown', (event) => {
      if (event.key === 'Enter') answer();
    });
    if (complaint) box.setAttribute('aria-invalid', 'true');
    const leaveOpen = () => {
      ++passed;
      talk([]);
    };
    return [complaint ? el('p', { class: 'verdict bad', role: 'alert' }, complaint) : '', field(question, box, notes.join('; ')),
      el('p', { class: 'buttons' }, button('Answer', answer, { class: 'main' }), button('Leave it open', leaveOpen), button('It is written without', () => talk(['""'])))];
  }

  const open = guarded(place, async () => {
    const told = await bench.run(['check', own()], { keep: false });
    place.append(...said(told, { open: true }).filter(Boolean));
  });

  function refresh() {
    const file = own();
    go.hidden = !file;
    go.textContent = `Go on with ${file}`;
    shown.set(['new', '--control', file ?? fileNow(), ...(file ? [] : ['--from', from.value])]);
  }
  const go = button('', () => talk([]));
  const element = el('details', { class: 'choice' }, el('summary', {}, 'A control sheet for your own control'),
    step('Questions about your control', 'Answer with the manual of the control beside you. What you leave open, programs go round or ask the operator for. Prove the sheet afterwards, below.',
      el('div', { class: 'row' }, field('Name of the control', name), field('How does it spell?', from), button('Begin its sheet', begin), go), shown, place));
  return { element, refresh };
}
