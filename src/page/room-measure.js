// Measure: the log of the control, or ball centres typed by hand with likely slips marked at once.
import { el, field, select, button, table, tableRow, dropPlace, fillSelect } from './elements.js';
import { step, said, guarded, commandShown, saveButtons, settled, stemOf, encode } from './bench.js';
import { machineOf } from './toml-lines.js';
import { currentMachine } from './room-machine.js';
import { recordOf, textOf, completeRows, isComplete, isTyped, emptyRecord, emptyTouches, emptyReadings, addedRow, approaches, commentOf, withComment } from './touch-table.js';

const fewestRows = 3;

export function currentRecord(shop) {
  const names = shop.named('.touches.csv');
  const chosen = shop.choice('touches');
  return names.includes(chosen) ? chosen : names.at(-1);
}

export const resultName = (shop) => {
  const names = shop.named('.result.json');
  const chosen = shop.choice('result');
  return names.includes(chosen) ? chosen : names.at(-1);
};

/** Why a row is marked: the program left it out, or a finding names its station. */
function marksOf(result) {
  const marks = new Map();
  for (const touch of result.touches) {
    if (touch.excluded) marks.set(touch.line, 'left out: does not agree with the others by far; a likely slip');
  }
  return marks;
}

function unitFields(bench, record, save) {
  const units = select([['mm', 'mm'], ['inch', 'inch']], commentOf(record, 'units') || 'mm', (value) => save(withComment(record, 'units', value), 'units of the record'));
  return field('This list is in', units, 'It may differ from the machine file.');
}

export function buildMeasureRoom(bench) {
  const { shop } = bench;
  const outcome = el('div', { class: 'outcome', 'aria-live': 'polite' });
  const shown = commandShown(['check']);
  const fitShown = commandShown(['fit']);
  const grid = el('div', {});
  const picker = select([], '', (name) => {
    shop.choose('touches', name);
    refresh();
  });

  const look = settled(guarded(outcome, async () => {
    const machine = currentMachine(shop);
    const name = currentRecord(shop);
    if (!machine || !name) return;
    const text = shop.text(name);
    if (isTyped(text) && completeRows(recordOf(text)).length < fewestRows) {
      outcome.replaceChildren(el('p', { class: 'why' }, `${fewestRows} complete rows are the least; eight round the whole turn are good.`));
      return;
    }
    await judge(machine, name, text);
  }), 300);

  async function judge(machine, name, text) {
    const extra = new Map([[name, encode(onlyComplete(text))]]);
    const checked = await bench.json(['check', machine, name, '--json'], { lane: 'measure', keep: false, extra });
    const file = checked.value?.files?.find((each) => each.file === name);
    if (!file?.good) {
      outcome.replaceChildren(el('p', { class: 'verdict bad' }, 'The record cannot be used yet:'),
        el('ul', { class: 'problems' }, (file?.problems ?? []).map((each) => el('li', {}, each.line ? `Line ${each.line}: ` : '', el('strong', {}, each.what), ' ', el('span', { class: 'why' }, each.advice)))));
      markRows(new Map((file?.problems ?? []).filter((each) => each.line).map((each) => [each.line, each.what])));
      return;
    }
    const fit = await bench.json(['fit', machine, name, '--json'], { lane: 'measure', keep: false, extra });
    showFit(file, fit);
  }

  function showFit(file, fit) {
    const findings = fit.value?.findings ?? [];
    outcome.replaceChildren(
      el('pre', { class: 'said', tabindex: '0' }, file.summary),
      ...(fit.value ? [] : said(fit.outcome).filter(Boolean)),
      findings.length > 0
        ? el('ul', { class: 'problems' }, findings.map((each) => el('li', {}, el('strong', {}, each.text), ' ', el('span', { class: 'why' }, each.advice))))
        : el('p', { class: 'verdict' }, fit.value ? 'Nothing stands out.' : 'No fit yet.'),
    );
    markRows(fit.value ? marksOf(fit.value) : new Map());
  }

  function markRows(marks) {
    for (const row of grid.querySelectorAll('tr[data-line]')) {
      const why = marks.get(Number(row.dataset.line));
      row.classList.toggle('slip', Boolean(why));
      row.lastElementChild.textContent = why ?? '';
    }
  }

  function fillGrid(name) {
    const text = shop.text(name);
    const record = recordOf(text);
    if (!isTyped(text)) {
      grid.replaceChildren(el('details', {}, el('summary', {}, `All ${record.rows.length} rows`), table(name, [...record.head, 'mark'],
        record.rows.map((row, k) => lineRow(tableRow([...row, '']), lineOf(text, k))))));
      return;
    }
    const save = (next, label) => shop.write(label, name, textOf(next), { touches: name });
    grid.replaceChildren(unitFields(bench, record, save), typingTable(record, text, save),
      el('p', { class: 'buttons' }, button('Add a row', () => save({ ...record, rows: [...record.rows, addedRow(record)] }, 'add a row'))));
  }

  function typingTable(record, text, save) {
    const columns = record.head.filter((column) => !'IJK'.includes(column));
    const goes = columns.length < record.head.length;
    const put = (r, cells, label) => save({ ...record, rows: record.rows.map((row, k) => (k === r ? record.head.map((column, c) => cells[column] ?? row[c] ?? '') : row)) }, label);
    const rows = record.rows.map((row, r) => {
      const boxes = columns.map((column) => el('td', {}, typedCell(record, row, r, column, put)));
      if (goes) boxes.push(el('td', {}, approachCell(record, row, r, put)));
      const remove = button('×', () => save({ ...record, rows: record.rows.filter((unused, k) => k !== r) }, `remove row ${r + 1}`), { class: 'quiet', 'aria-label': `remove row ${r + 1}` });
      return lineRow(el('tr', {}, el('th', { scope: 'row' }, String(r + 1)), boxes, el('td', {}, remove), el('td', { class: 'mark' })), lineOf(text, r));
    });
    const heads = columns.map((column) => (/^[ABC]$/.test(column) ? `${column} °` : column));
    const caption = record.head.includes('reading') ? 'Indicator readings, more when its tip is pushed in; where the spindle stands' : goes ? 'Touches, machine coordinates of the tip that touches' : 'Ball centres, machine coordinates';
    return table(caption, ['row', ...heads, ...(goes ? ['goes'] : []), 'remove', 'mark'], rows);
  }

  const begin = (empty, kind) => {
    const machine = machineOf(shop.text(currentMachine(shop)));
    const name = `${stemOf(currentMachine(shop))}-${kind}.touches.csv`;
    shop.write('begin a list', name, textOf(empty(machine, bench.inch ? 'inch' : 'mm')), { touches: name });
  };

  const fit = guarded(outcome, async () => {
    const machine = currentMachine(shop);
    const name = currentRecord(shop);
    dropHalfTyped(shop, name);
    const result = `${stemOf(name)}.result.json`;
    const told = await bench.run(['fit', machine, name, '-o', result], { label: 'fit', choices: { result } });
    outcome.replaceChildren(...said(told).filter(Boolean));
    if (told.code <= 1) location.hash = '#result';
  });

  function refresh() {
    const machine = currentMachine(shop);
    const names = shop.named('.touches.csv');
    const name = currentRecord(shop);
    empty.hidden = Boolean(machine);
    body.hidden = !machine;
    if (!machine) return;
    fillSelect(picker, names.length > 0 ? names : [['', 'none yet']], name);
    have.hidden = !name;
    if (!name) return;
    const focused = grid.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    fillGrid(name);
    if (focused) grid.querySelector(`[data-key="${focused}"]`)?.focus();
    shown.set(['check', machine, name]);
    fitShown.set(['fit', machine, name, '-o', `${stemOf(name)}.result.json`]);
    look();
  }

  const drop = dropPlace('Drop the log of the control here, or a list of your own', (files) => {
    const taken = new Map([...files].map(([name, bytes]) => [name.endsWith('.touches.csv') ? name : `${stemOf(name)}.touches.csv`, bytes]));
    shop.change('open a record', { written: taken, choices: { touches: [...taken.keys()].at(-1) } });
  });
  const empty = el('p', {}, 'Describe or open a machine first, in the room ', el('a', { href: '#machine' }, 'My machine'), '.');
  const have = el('div', {}, grid, outcome, shown, el('p', { class: 'buttons' }, button('Find the axis', fit, { class: 'main' }), button('Save the record', () => bench.save(currentRecord(shop)))), fitShown);
  const body = el('div', {}, step('What was touched', 'Drop what the control left, or type what you read: ball centres, one row for each angle, from an indicator swept round the ball or from its sides; single touches of an edge finder; or readings of an indicator on a bar. Machine coordinates.',
    drop, el('div', { class: 'row' }, field('Record', picker), button('Type ball centres', () => begin(emptyRecord, 'typed')), button('Type single touches', () => begin(emptyTouches, 'touched')), button('Type indicator readings', () => begin(emptyReadings, 'readings'))), have));
  return { element: el('div', {}, el('h2', { tabindex: '-1' }, 'Measure'), empty, body), refresh };
}

/** One number as it was read; a decimal comma becomes a point where commas separate columns. */
function typedCell(record, row, r, column, put) {
  const c = record.head.indexOf(column);
  const box = el('input', { type: 'text', inputmode: 'text', autocomplete: 'off', 'aria-label': `row ${r + 1} ${column}`, 'data-key': `${r}.${c}` });
  box.value = row[c] ?? '';
  box.addEventListener('change', () => {
    const text = box.value.trim();
    put(r, { [column]: record.separator === ',' ? text.replace(',', '.') : text }, `row ${r + 1} ${column}`);
  });
  return box;
}

function approachCell(record, row, r, put) {
  const of = (way) => way.map(Number).join();
  const now = of(['I', 'J', 'K'].map((letter) => row[record.head.indexOf(letter)]));
  const known = Object.entries(approaches).map(([words, way]) => [of(way), words]);
  const options = known.some(([way]) => way === now) ? known : [[now, `along ${now}`], ...known];
  return select(options, now, (way) => {
    const [I, J, K] = way.split(',');
    put(r, { I, J, K }, `row ${r + 1} goes`);
  }, { 'aria-label': `row ${r + 1} goes`, 'data-key': `${r}.way` });
}

/** Rows that were offered and not filled are no touches. */
function dropHalfTyped(shop, name) {
  const text = shop.text(name);
  const record = recordOf(text);
  const rows = completeRows(record);
  if (isTyped(text) && rows.length < record.rows.length) shop.write('leave out empty rows', name, textOf({ ...record, rows }));
}

function lineRow(row, line) {
  row.dataset.line = line;
  return row;
}

/** Line in the file, from 1, of the k-th row of data. */
export function lineOf(text, k) {
  let seen = -1;
  const lines = text.split(/\r?\n/);
  for (let line = 0; line < lines.length; ++line) {
    if (!lines[line].trim() || lines[line].startsWith('#')) continue;
    if (++seen === k + 1) return line + 1;
  }
  return 0;
}

/** Rows still being typed become comments: the lines keep their numbers. */
export function onlyComplete(text) {
  if (!isTyped(text)) return text;
  const record = recordOf(text);
  const lines = text.split(/\r?\n/);
  record.rows.forEach((row, k) => {
    if (!isComplete(record, row)) lines[lineOf(text, k) - 1] = '#';
  });
  return lines.join('\n');
}
