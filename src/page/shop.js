// What is being worked on: files by name, and what was chosen in the rooms. Kept in the browser, saved
// as one file, every change can be undone.
import { bytesOfBase64, decode, encode } from './run-command.js';

const databaseName = 'pivotrace';
const storeName = 'work';
const recordKey = 'shop';
const savedFormat = 'pivotrace-work-1';
const mostUndos = 200;

function request(made) {
  return new Promise((resolve, reject) => {
    made.onsuccess = () => resolve(made.result);
    made.onerror = () => reject(made.error);
  });
}

async function database() {
  const opening = indexedDB.open(databaseName, 1);
  opening.onupgradeneeded = () => opening.result.createObjectStore(storeName);
  return request(opening);
}

async function store(mode) {
  return (await database()).transaction(storeName, mode).objectStore(storeName);
}

const toBase64 = (bytes) => btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(''));

export class Shop extends EventTarget {
  constructor() {
    super();
    this.files = new Map();
    this.choices = {};
    this.undos = [];
    this.redos = [];
    this.keeps = true;
    this.writing = Promise.resolve();
  }

  text(name) {
    return this.files.has(name) ? decode(this.files.get(name)) : undefined;
  }

  /** Names of the files of one kind, for example '.machine.toml', the newest last. */
  named(...endings) {
    return [...this.files.keys()].filter((name) => endings.some((ending) => name.endsWith(ending)));
  }

  choice(key, otherwise) {
    return this.choices[key] ?? otherwise;
  }

  /** A choice is kept but is no step of its own for undo. */
  choose(key, value) {
    if (this.choices[key] === value) return;
    this.choices = { ...this.choices, [key]: value };
    this.keep();
    this.tell('choice', { key });
  }

  /** One step: several files written or removed, several choices made. */
  change(label, { written = new Map(), removed = [], choices = {} }) {
    if (written.size === 0 && removed.length === 0) return;
    this.undos.push({ label, files: this.files, choices: this.choices });
    if (this.undos.length > mostUndos) this.undos.shift();
    this.redos = [];
    this.derive({ written, removed, choices });
  }

  /** What follows from the rest by itself is no step: undo takes back what it follows from. */
  derive({ written = new Map(), removed = [], choices = {} }) {
    if (written.size === 0 && removed.length === 0) return;
    const files = new Map(this.files);
    for (const name of removed) files.delete(name);
    for (const [name, bytes] of written) {
      files.delete(name);
      files.set(name, bytes);
    }
    this.become(files, { ...this.choices, ...choices });
  }

  write(label, name, text, choices = {}) {
    if (this.text(name) === text) return;
    this.change(label, { written: new Map([[name, encode(text)]]), choices });
  }

  undo() {
    this.step(this.undos, this.redos);
  }

  redo() {
    this.step(this.redos, this.undos);
  }

  step(from, to) {
    const back = from.pop();
    if (!back) return;
    to.push({ label: back.label, files: this.files, choices: this.choices });
    this.become(back.files, back.choices);
  }

  become(files, choices) {
    this.files = files;
    this.choices = choices;
    this.keep();
    this.tell('change');
  }

  tell(type, detail = {}) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  keep() {
    const record = { files: [...this.files], choices: this.choices };
    this.writing = this.writing
      .then(async () => request((await store('readwrite')).put(record, recordKey)))
      .catch(() => {
        this.keeps = false;
        this.tell('notkept');
      });
  }

  /** What an earlier visit left; false when there is nothing. */
  async recall() {
    try {
      const record = await request((await store('readonly')).get(recordKey));
      if (!record) return false;
      this.files = new Map(record.files);
      this.choices = record.choices;
      this.tell('change');
      return this.files.size > 0;
    } catch {
      this.keeps = false;
      return false;
    }
  }

  saved() {
    const files = Object.fromEntries([...this.files].map(([name, bytes]) => [name, toBase64(bytes)]));
    return JSON.stringify({ format: savedFormat, choices: this.choices, files }, null, 1);
  }

  /** Takes up work saved as one file; throws with what is wrong with it. */
  open(text) {
    let work;
    try {
      work = JSON.parse(text);
    } catch {
      throw new Error('This is no saved work: it is not complete, or it is another kind of file.');
    }
    if (work?.format !== savedFormat || typeof work.files !== 'object') {
      throw new Error('This is no work saved by this page. Drop other files into the room they belong to.');
    }
    const files = new Map(Object.entries(work.files).map(([name, packed]) => [name, bytesOfBase64(packed)]));
    this.undos.push({ label: 'open saved work', files: this.files, choices: this.choices });
    this.become(files, work.choices ?? {});
  }
}
