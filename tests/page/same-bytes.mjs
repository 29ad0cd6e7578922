// node same-bytes.mjs NATIVE PROGRAM_JS SCRATCH: for every example machine, plan, program and rehearsal of
// the page's build are those of the native program, byte for byte.
import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

const [native, script, scratch] = process.argv.slice(2).map((path) => resolve(path));
const here = dirname(fileURLToPath(import.meta.url));
const examples = resolve(here, '../../examples');
const launcher = join(here, 'command.mjs');
const machines = readdirSync(examples).filter((name) => name.endsWith('.machine.toml')).map((name) => name.split('.')[0]);

const commandsFor = (name) => [
  ['plan', `${name}.machine.toml`, '--for', 'commissioning', '-o', 'plan.toml', '--drawing', 'plan.svg'],
  ['plan', `${name}.machine.toml`, '--for', 'check', '--minutes', '5'],
  ['cycle', 'plan.toml', '--control', 'demo-control', '-o', 'demo.nc', '--sheet', 'demo.html'],
  ['cycle', 'plan.toml', '--control', 'ngc', '-o', 'ngc.nc'],
  ['rehearse', 'demo.nc', '--machine', `${name}.machine.toml`, '--control', 'demo-control', '--plan', 'plan.toml', '--truth', `${name}.truth.toml`, '--noise', '--seed', '9', '-o', 'demo.csv', '--picture', 'demo.svg'],
  ['rehearse', 'ngc.nc', '--machine', `${name}.machine.toml`, '--control', 'ngc', '--plan', 'plan.toml', '-o', 'ngc.parameters'],
];

/** Every command in a folder of its own with the examples; what each said, and all files at the end. */
function ran(program, name, place) {
  const folder = join(scratch, place, name);
  rmSync(folder, { recursive: true, force: true });
  mkdirSync(dirname(folder), { recursive: true });
  cpSync(examples, folder, { recursive: true });
  const said = commandsFor(name).map((words) => {
    const outcome = spawnSync(program[0], [...program.slice(1), ...words], { cwd: folder, encoding: 'utf8' });
    return { words, code: outcome.status, out: outcome.stdout, err: outcome.stderr };
  });
  return { folder, said };
}

function differences(a, b) {
  const found = [];
  a.said.forEach((each, k) => {
    for (const key of ['code', 'out', 'err']) {
      if (each[key] !== b.said[k][key]) found.push(`${each.words.slice(0, 2).join(' ')}: ${key} differs`);
    }
  });
  for (const name of readdirSync(a.folder, { withFileTypes: true }).filter((entry) => entry.isFile()).map((entry) => entry.name)) {
    if (!readFileSync(join(a.folder, name)).equals(readFileSync(join(b.folder, name)))) found.push(`${name} differs`);
  }
  return found;
}

let failed = 0;
for (const name of machines) {
  const found = differences(ran([native], name, 'native'), ran(['node', launcher, script], name, 'page'));
  console.log(`${name}: ${found.length === 0 ? 'plan, program and rehearsal byte for byte alike' : found.join('; ')}`);
  failed += found.length;
}
process.exitCode = failed === 0 ? 0 : 1;
