// The page's own reading and writing of texts: machine files line by line, records of ball centres, limits.
import { test } from 'node:test';
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import { machineOf, sectionsOf, valueOf, rawOf, withValue, withSection, withoutSection } from '../../src/page/toml-lines.js';
import { stillShown } from '../../src/page/run-command.js';
import { asked } from '../../src/page/guide-step.js';
import { recordOf, textOf, completeRows, withComment, emptyRecord } from '../../src/page/touch-table.js';

const examples = new URL('../../examples/', import.meta.url);
const machines = readdirSync(examples).filter((name) => name.endsWith('.machine.toml'));
const text = (name) => readFileSync(new URL(name, examples), 'utf8');

test('a value written back as it was read leaves the file as it was, but for spelling of numbers', () => {
  for (const name of machines) {
    const file = text(name);
    sectionsOf(file).forEach((section, index) => {
      for (const [key, place] of section.keys) {
        const changed = withValue(file, index, key, valueOf(place.raw));
        assert.deepEqual(machineOf(changed), machineOf(file), `${name} ${section.name} ${key}`);
        assert.equal(changed.split('\n').length, file.split('\n').length);
      }
    });
  }
});

test('comments, quotes and brackets inside a value do not end it', () => {
  const file = 'name = "a # b, \\"c\\""   # said\n[x]\nlist = [ [1, 2], [3] ] # two\ntable = { a = "x, y", b = [1, 2] }\n';
  const [top, x] = sectionsOf(file);
  assert.equal(valueOf(top.keys.get('name').raw), 'a # b, "c"');
  assert.deepEqual(valueOf(x.keys.get('list').raw), [[1, 2], [3]]);
  assert.deepEqual(valueOf(x.keys.get('table').raw), { a: 'x, y', b: [1, 2] });
  assert.equal(withValue(file, 0, 'name', 'mill'), file.replace(/"a.*""/, '"mill"'));
  assert.deepEqual(valueOf(rawOf({ a: 'x, y', b: [1, 2] })), { a: 'x, y', b: [1, 2] });
});

test('a key that is missing comes at the end of its section, a section behind its like', () => {
  const file = 'a = 1\n\n[[rotary]]\nletter = "A"\n\n[probe]\nx = 1\n';
  assert.equal(withValue(file, 1, 'limits', [0, 90]), 'a = 1\n\n[[rotary]]\nletter = "A"\nlimits = [0, 90]\n\n[probe]\nx = 1\n');
  const two = withSection(file, 'rotary', { letter: 'C' });
  assert.deepEqual(machineOf(two).rotary.map((axis) => axis.letter), ['A', 'C']);
  assert.equal(withoutSection(two, machineOf(two).rotary[1].section), file);
});

test('a record keeps its comments, its separator and its half-typed rows', () => {
  const file = '# units: mm\n# kind: centre\nA;X;Y;Z\n0;1,5;2;3\n90;;;\n';
  const record = recordOf(file);
  assert.equal(textOf(record), file);
  assert.equal(completeRows(record).length, 1);
  assert.match(textOf(withComment(record, 'units', 'inch')), /^# units: inch\n# kind: centre\n/);
});

test('an empty record offers eight angles inside the travel', () => {
  const record = emptyRecord({ rotary: [{ letter: 'A', limits: [-30, 100] }] }, 'mm');
  const angles = record.rows.map((row) => Number(row[0]));
  assert.equal(angles.length, 8);
  assert.ok(Math.min(...angles) >= -30 && Math.max(...angles) <= 100);
});

test('progress that a terminal wipes out is no message, what was said before and after stays', () => {
  const wipe = '\r\u001b[K';
  assert.equal(stillShown(`note: a\n${wipe}rehearsing: 1 of 3${wipe}rehearsing: 2 of 3${wipe}wrote x\r\nnote: b\n`), 'note: a\nwrote x\r\nnote: b\n');
});

test('a touch among indicator readings needs no reading, a reading does', () => {
  const head = ['A', 'X', 'Y', 'Z', 'kind', 'I', 'J', 'K', 'reading'];
  const rows = [['0', '1', '2', '3', 'touch', '0', '0', '-1', ''], ['0', '1', '2', '3', 'indicator', '0', '1', '0', ''], ['0', '1', '2', '3', 'indicator', '0', '1', '0', '0.1']];
  assert.deepEqual(completeRows({ head, rows }), [rows[0], rows[2]]);
});

test('of a dialogue with the program the last question is shown, with why an answer was refused', () => {
  const first = 'Answer with the manual beside you.\n\na.b: Which numbers exist?\n  needed for every program\n';
  const again = 'P115: \'foo\' is no answer to a.b\n     give two whole numbers\n\na.b: Which numbers exist?\n  needed for every program\n';
  const dialogue = `${first}> ${again}> \nwrote my.control.toml\n`;
  assert.deepEqual(asked(dialogue, 0), { question: 'a.b: Which numbers exist?', notes: ['needed for every program'], complaint: undefined });
  assert.match(asked(dialogue, 1).complaint, /^'foo' is no answer to a\.b/);
  assert.equal(asked(dialogue, 2), null);
});
