// What every room works with: running a command, showing it, keeping what it wrote; lengths as chosen.
import { el, button, copyButton, download, freshId } from './elements.js';
import { decode, encode } from './run-command.js';
import { Stopped } from './program.js';

const exitWords = {
  0: 'Done, and good.',
  1: 'Done, but not good: read why.',
  2: 'Something in what was typed or in a file is wrong.',
  3: 'These data cannot give an answer.',
  4: 'A file could not be read or written.',
  5: 'The program failed. That is its fault, not yours; nothing was written.',
};
const mmPerInch = 25.4;

/** A line of progress without what steers a terminal, or the fingers at one. */
const progressText = (line) => line.replaceAll('\u001b[K', '').replace(/ \(Ctrl-C[^)]*\)/, '').trim();

/** With a true minus, and none before nothing. */
function fixed(number, decimals) {
  const text = number.toFixed(decimals);
  return Number(text) === 0 ? text.replace('-', '') : text.replace('-', '−');
}

/** As a shell wants it typed. */
export function shellWord(word) {
  return /^[A-Za-z0-9_./,:=+-]+$/.test(word) ? word : `'${word.replaceAll("'", "'\\''")}'`;
}

export const commandLine = (args) => ['pivotrace', ...args.map(shellWord)].join(' ');

export class Bench {
  /** @param startPlanner makes a second program, for work that takes long: nothing else waits for it */
  constructor(shop, program, startPlanner) {
    this.shop = shop;
    this.program = program;
    this.startPlanner = startPlanner;
    this.log = [];
    /** Commands under way: {args, line of progress, stop()}, the newest last. */
    this.underWay = new Set();
    this.onLog = () => {};
    this.onBusy = () => {};
    this.announce = () => {};
    /** When the first command had run, in ms since the page was opened. */
    this.firstResult = undefined;
  }

  get inch() {
    return this.shop.choice('units', 'mm') === 'inch';
  }

  get unitArgs() {
    return this.inch ? ['--units', 'inch'] : [];
  }

  /** A length as text in the units chosen: decimals are those of mm, one more in inches. */
  length(mm, decimals = 3) {
    if (!Number.isFinite(mm)) return 'not stated';
    return this.inch ? `${fixed(mm / mmPerInch, decimals + 1)} in` : `${fixed(mm, decimals)} mm`;
  }

  /** A small length: µm, or ten-thousandths of an inch as inches. */
  small(mm) {
    if (!Number.isFinite(mm)) return 'not stated';
    return this.inch ? `${fixed(mm / mmPerInch, 5)} in` : `${fixed(mm * 1000, 1)} µm`;
  }

  angle(degrees) {
    return Number.isFinite(degrees) ? `${fixed(degrees * 3600, 1)} arcsec` : 'not stated';
  }

  amount(value, unit) {
    return unit === 'deg' ? this.angle(value) : this.small(value);
  }

  /**
   * Runs one command on the files of the shop.
   * @param options {label: what undo calls it, keep: false to leave the shop alone, derived: true where it
   *   is no step of its own, extra: Map of files only this command sees, lane, stdin, choices,
   *   long: true where nothing else shall wait for it}
   */
  async run(args, { label, keep = true, derived = false, extra = new Map(), lane, stdin, choices, long = false } = {}) {
    const files = new Map([...this.shop.files, ...extra]);
    if (long) this.planner ??= this.startPlanner();
    const program = long ? this.planner : this.program;
    const work = { args, line: '', stop: () => {} };
    this.underWay.add(work);
    this.onBusy(work);
    try {
      const onProgress = (line) => {
        work.line = progressText(line);
        this.onBusy(work);
      };
      const onTaken = (stop) => (work.stop = stop);
      const outcome = await program.run({ args, files, stdin }, { lane, onProgress, onTaken });
      this.firstResult ??= performance.now();
      if (keep && derived) this.shop.derive({ ...outcome, choices });
      else if (keep) this.shop.change(label ?? commandLine(args), { ...outcome, choices });
      this.remember(args, outcome);
      return outcome;
    } finally {
      this.underWay.delete(work);
      this.onBusy([...this.underWay].at(-1));
    }
  }

  remember(args, outcome) {
    this.log.push({ line: commandLine(args), outcome });
    if (this.log.length > 100) this.log.shift();
    this.onLog();
  }

  /** The same command, its answer read as JSON; null where it gave none. */
  async json(args, options) {
    const outcome = await this.run(args, options);
    try {
      return { outcome, value: JSON.parse(outcome.out) };
    } catch {
      return { outcome, value: null };
    }
  }
}

/** The command line that does the same, to look at or to copy. */
export function commandShown(args) {
  const code = el('code', {}, commandLine(args));
  const box = el('div', { class: 'command' }, el('span', { class: 'why' }, 'The same at a command line'), code, copyButton(() => code.textContent));
  box.set = (next) => (code.textContent = commandLine(next));
  return box;
}

/** What a command said, for people: the outcome in a sentence, its messages, its sheet behind a click. */
export function said(outcome, { sheet = true, open = false } = {}) {
  const messages = outcome.err
    .split(/\r?\n/)
    .filter((line) => line.trim() && !/^(next:|wrote )/.test(line) && !line.startsWith('\u001b'))
    .join('\n');
  return [
    el('p', { class: outcome.code === 0 ? 'verdict' : 'verdict bad' }, exitWords[outcome.code] ?? `Exit code ${outcome.code}`),
    messages ? el('pre', { class: 'messages', tabindex: '0' }, messages) : null,
    sheet && outcome.out.trim()
      ? el('details', { open }, el('summary', {}, 'All that the program says'), el('pre', { class: 'said', tabindex: '0' }, outcome.out))
      : null,
  ];
}

/** Shows what goes wrong in a place, where somebody looks. */
export function trouble(place, text) {
  place.replaceChildren(el('p', { class: 'verdict bad', role: 'alert' }, text));
}

/** Wraps an action so that a stopped command is no fault and any other fault is shown in `place`. */
export function guarded(place, action) {
  return async (...args) => {
    try {
      await action(...args);
    } catch (fault) {
      if (!(fault instanceof Stopped)) trouble(place, String(fault.message ?? fault));
    }
  };
}

/** One step of a job: what it is, what to do, what came of it. */
export function step(title, intro, ...content) {
  const id = freshId('step');
  return el('section', { class: 'step', 'aria-labelledby': id }, el('h3', { id }, title), intro ? el('p', {}, intro) : null, content);
}

export function saveButtons(bench, names) {
  return el(
    'p',
    { class: 'buttons' },
    names.map((name) => button(`Save ${name}`, () => download(name, bench.shop.files.get(name)))),
  );
}

/** Calls `action` once calls pause. */
export function settled(action, milliseconds = 250) {
  let timer;
  return (...args) => {
    clearTimeout(timer);
    timer = setTimeout(() => action(...args), milliseconds);
  };
}

/** Short and the same for the same texts: whether something changed since (FNV-1a, 32 bits). */
export function fingerprint(...texts) {
  let sum = 0x811c9dc5;
  for (const byte of encode(texts.join('\u0000'))) sum = Math.imul(sum ^ byte, 0x01000193) >>> 0;
  return sum.toString(16);
}

/** 'Small mill, 2nd' -> 'small-mill-2nd': a name for files. */
export function fileStem(text) {
  return text.toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-|-$/g, '') || 'machine';
}

export const stemOf = (name) => name.replace(/\.(machine\.toml|plan\.toml|touches\.csv|result\.json)$/, '').replace(/\.[a-z]+$/, '');

export { decode, encode, el };
