// Five minutes with the demo: one sentence at a time, each step does what it says.
import { el, button } from './elements.js';
import { encode } from './run-command.js';

const openDemo = (page) => {
  const demo = page.demos.trunnion;
  const written = new Map(Object.entries(demo.files).map(([name, text]) => [name, encode(text)]));
  page.shop.change('open the demo', { written, choices: { ...demo.choices, control: 'demo-control', purpose: 'commissioning', noise: true, fault: '' } });
};

/** The button of the room shown that has this text. */
const press = (text) => {
  const buttons = [...document.querySelectorAll('#rooms section:not([hidden]) button')];
  buttons.find((each) => each.textContent === text)?.click();
};

const stops = [
  ['machine', 'A machine with a cradle that tilts and a round table on it, all invented. Turn the sliders beside the drawing: the table follows. The form says what the program knows, and is checked as you type.', openDemo],
  ['plan', 'The plan says how good the result will be before anything moves, and what more minutes would buy. The dots on the drawing are the touches.', () => {}],
  ['plan', 'The program for a control, here an invented one, with a set-up sheet to print.', () => press('Write program and set-up sheet')],
  ['rehearse', 'The text of that program runs on a virtual machine that errs as real ones do. Try a fault later: a good program stops itself.', () => press('Rehearse')],
  ['measure', 'On a real machine you would drop the log of the control here. The rehearsal has left one: look whether something stands out.', () => {}],
  ['measure', 'Now the axis lines are found, all touches at once.', () => press('Find the axis')],
  ['result', 'Every value with its uncertainty, and a page to sign. Below: limits, values to copy, a program that sets offsets, a patch for a post file.', () => {}],
  ['time', 'Keep the result files. Two or more of them show what moved, what creeps, and when to look again. That was the tour; take it back with Undo, or go on with your own machine.', () => {}],
];

export function startTour(page) {
  document.getElementById('tour-panel')?.remove();
  const text = el('p', { id: 'tour-text', 'aria-live': 'polite' });
  const count = el('span', { class: 'why' });
  let at = -1;
  const next = async () => {
    ++at;
    if (at >= stops.length) return panel.remove();
    const [room, words, act] = stops[at];
    text.textContent = words;
    count.textContent = `${at + 1} of ${stops.length}`;
    forward.textContent = at === stops.length - 1 ? 'End the tour' : 'Next';
    location.hash = `#${room}`;
    page.enter(false);
    act(page);
    forward.focus();
  };
  const forward = button('Next', next, { class: 'main' });
  const panel = el('aside', { id: 'tour-panel', 'aria-label': 'Tour' }, text, el('p', { class: 'buttons' }, forward, button('Leave', () => panel.remove(), { class: 'quiet' }), count));
  document.body.append(panel);
  next();
}
