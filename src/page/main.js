// The page: six rooms around one program, nothing of which leaves this computer.
import { el, button, download, dropPlace } from './elements.js';
import { Shop } from './shop.js';
import { Program, Stopped } from './program.js';
import { Bench, commandLine } from './bench.js';
import { encode } from './run-command.js';
import { buildMachineRoom } from './room-machine.js';
import { buildPlanRoom } from './room-plan.js';
import { buildRehearseRoom } from './room-rehearse.js';
import { buildMeasureRoom } from './room-measure.js';
import { buildResultRoom } from './room-result.js';
import { buildTimeRoom } from './room-time.js';
import { startTour } from './tour.js';
import { demosFrom } from './demos.js';

const carried = (id) => document.getElementById(id).textContent;

function parts() {
  const { sheets, examples } = JSON.parse(carried('carried-files'));
  const asBytes = (files) => new Map(Object.entries(files).map(([name, text]) => [name, encode(text)]));
  return { program: carried('carried-program').trim(), workerSource: JSON.parse(carried('carried-worker')), sheets: asBytes(sheets), examples };
}

const roomBuilders = {
  machine: ['My machine', buildMachineRoom],
  plan: ['Plan', buildPlanRoom],
  rehearse: ['Rehearse', buildRehearseRoom],
  measure: ['Measure', buildMeasureRoom],
  result: ['Result', buildResultRoom],
  time: ['Over time', buildTimeRoom],
};

class Page {
  constructor(bench, demos) {
    this.bench = bench;
    this.shop = bench.shop;
    this.demos = demos;
    this.rooms = {};
    this.element = document.getElementById('rooms');
    this.links = document.getElementById('room-links');
    for (const [id, [title]] of Object.entries(roomBuilders)) {
      this.links.append(el('li', {}, el('a', { href: `#${id}` }, title)));
    }
  }

  /** Rooms are built when somebody first enters. */
  room(id) {
    if (!this.rooms[id]) {
      const room = roomBuilders[id][1](this.bench, this.demos);
      room.section = el('section', { id: `room-${id}` }, room.element);
      this.element.append(room.section);
      this.rooms[id] = room;
    }
    return this.rooms[id];
  }

  get current() {
    const id = location.hash.slice(1);
    return roomBuilders[id] ? id : 'machine';
  }

  enter(moveFocus) {
    const id = this.current;
    const entered = this.room(id);
    for (const [other, room] of Object.entries(this.rooms)) room.section.hidden = other !== id;
    for (const link of this.links.querySelectorAll('a')) {
      if (link.hash === `#${id}`) link.setAttribute('aria-current', 'page');
      else link.removeAttribute('aria-current');
    }
    this.refresh();
    document.title = `${roomBuilders[id][0]} - pivotrace`;
    if (moveFocus) {
      entered.element.querySelector('h2')?.focus();
      scrollTo(0, 0);
    }
  }

  refresh() {
    try {
      this.room(this.current).refresh();
    } catch (fault) {
      this.bench.announce(`This could not be shown: ${fault.message}`);
    }
  }
}

function buildTools(page) {
  const { bench, shop } = page;
  const undo = button('Undo', () => shop.undo(), { id: 'undo' });
  const redo = button('Redo', () => shop.redo(), { id: 'redo' });
  const save = button('Save work', () => download('my.pivotrace-work.json', encode(shop.saved())), { id: 'save-work' });
  const open = dropPlace('Open work', (files) => {
    try {
      shop.open(new TextDecoder().decode([...files.values()][0]));
      bench.announce('The saved work is open.');
    } catch (fault) {
      bench.announce(fault.message);
    }
  }, { multiple: false, accept: '.json' });
  open.classList.add('tool');
  const units = el('select', { id: 'units', 'aria-label': 'Units shown', onchange: (event) => {
    shop.choose('units', event.target.value);
    page.refresh();
  } }, el('option', { value: 'mm' }, 'mm'), el('option', { value: 'inch' }, 'inch'));
  const tour = button('Tour: five minutes', () => startTour(page), { id: 'tour' });
  document.getElementById('tools').append(undo, redo, save, open, units, tour);
  const show = () => {
    undo.disabled = shop.undos.length === 0;
    redo.disabled = shop.redos.length === 0;
    undo.title = shop.undos.length > 0 ? `Take back: ${shop.undos.at(-1).label}` : 'Nothing to take back';
    redo.title = shop.redos.length > 0 ? `Do again: ${shop.redos.at(-1).label}` : 'Nothing to do again';
    units.value = shop.choice('units', 'mm');
  };
  shop.addEventListener('change', show);
  shop.addEventListener('choice', show);
  show();
}

/** Any command can be typed; what the rooms ran stands there as well. */
function buildCommandLine(bench) {
  const list = document.getElementById('command-log');
  const box = document.getElementById('command-box');
  bench.onLog = () => {
    list.replaceChildren(...bench.log.slice(-40).map(({ line, outcome }) =>
      el('details', {}, el('summary', {}, el('code', {}, `$ ${line}`), ` (${outcome.code})`), el('pre', { class: 'said', tabindex: '0' }, outcome.out + outcome.err))));
    list.scrollTop = list.scrollHeight;
  };
  const fileList = document.getElementById('file-list');
  const showFiles = () => {
    fileList.replaceChildren(...[...bench.shop.files].map(([name, bytes]) => el('li', {}, el('code', {}, name), ` ${bytes.length} bytes `,
      button('Save', () => download(name, bytes), { class: 'quiet', 'aria-label': `save ${name}` }),
      button('Remove', () => bench.shop.change(`remove ${name}`, { removed: [name] }), { class: 'quiet', 'aria-label': `remove ${name}` }))));
  };
  bench.shop.addEventListener('change', showFiles);
  showFiles();
  document.getElementById('command-form').addEventListener('submit', async (event) => {
    event.preventDefault();
    const words = wordsOf(box.value).filter((word, k) => k > 0 || word !== 'pivotrace');
    if (words.length === 0) return;
    try {
      await bench.run(words, { label: commandLine(words) });
      list.lastElementChild.open = true;
    } catch (fault) {
      if (!(fault instanceof Stopped)) bench.announce(String(fault.message));
    }
  });
}

/** Words of a typed line; quotes hold words with blanks together. */
export function wordsOf(line) {
  return [...line.matchAll(/'([^']*)'|"([^"]*)"|(\S+)/g)].map(([, single, double, plain]) => single ?? double ?? plain);
}

/** What is under way for more than a moment, how far it is, and a way to stop it. */
function buildBusy(bench) {
  const busy = document.getElementById('busy');
  const text = document.getElementById('busy-text');
  let timer;
  let shown;
  document.getElementById('busy-stop').addEventListener('click', () => shown?.stop());
  bench.onBusy = (work) => {
    if (work && work === shown) {
      text.textContent = work.line || text.textContent;
      return;
    }
    shown = work;
    clearTimeout(timer);
    timer = setTimeout(() => {
      busy.hidden = !shown;
      if (shown) text.textContent = shown.line || `${commandLine(shown.args.slice(0, 2))} ...`;
    }, shown ? 400 : 50);
  };
}

async function begin() {
  const carriedParts = parts();
  const shop = new Shop();
  const program = new Program(carriedParts);
  const bench = new Bench(shop, program, () => new Program(carriedParts, program));
  bench.sheets = carriedParts.sheets;
  bench.knows = { film: JSON.parse(carried('carried-knows')).film };
  bench.save = (name) => download(name, shop.files.get(name));
  bench.announce = (words) => {
    const place = document.getElementById('announcement');
    place.textContent = words;
    place.hidden = !words;
  };
  const recalled = await shop.recall();
  const page = new Page(bench, demosFrom(carriedParts.examples));
  buildTools(page);
  buildCommandLine(bench);
  buildBusy(bench);
  shop.addEventListener('change', () => page.refresh());
  shop.addEventListener('notkept', () => bench.announce('This browser keeps nothing for this page: save your work as a file before you close it.'));
  addEventListener('hashchange', () => page.enter(true));
  page.enter(false);
  if (recalled) bench.announce('Your work of the last visit is here.');
  globalThis.pivotracePage = page;
}

begin().catch((fault) => {
  document.getElementById('announcement').hidden = false;
  document.getElementById('announcement').textContent = `The page could not start: ${fault.message}. Use a current browser.`;
});
