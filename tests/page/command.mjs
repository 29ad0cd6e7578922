// Runs one command with the page's build of the program, as the page does, on the files of the current
// folder: node command.mjs PROGRAM_JS word... What the command writes is written here as well.
import { chmodSync, existsSync, mkdirSync, readFileSync, readdirSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join, resolve } from 'node:path';
import { setFlagsFromString } from 'node:v8';
import { runCommand } from '../../src/page/run-command.js';

// One command uses a small part of the program: the rest need not be compiled.
setFlagsFromString('--wasm-lazy-compilation');
const [script, ...args] = process.argv.slice(2);
// The compiler's script was made for a worker.
globalThis.self = { location: { href: '' } };
const create = createRequire(import.meta.url)(resolve(script));
const compiled = new WebAssembly.Module(readFileSync(script.replace(/\.js$/, '.wasm')));

function filesBelow(folder, prefix = '') {
  const files = new Map();
  for (const name of readdirSync(folder)) {
    const path = join(folder, name);
    if (statSync(path).isDirectory()) {
      for (const [inner, bytes] of filesBelow(path, `${prefix}${name}/`)) files.set(inner, bytes);
    } else {
      files.set(prefix + name, new Uint8Array(readFileSync(path)));
    }
  }
  return files;
}

/** Control sheets beside the program and in the user's settings, as a native program finds them. */
function surroundings() {
  const settings = Object.fromEntries(['XDG_CONFIG_HOME', 'HOME'].filter((name) => process.env[name]).map((name) => [name, process.env[name]]));
  const beside = new Map();
  const folders = [join(dirname(resolve(script)), 'routines'), join(settings.XDG_CONFIG_HOME ?? '/none', 'pivotrace/routines')];
  for (const folder of folders.filter(existsSync)) {
    for (const [name, bytes] of filesBelow(folder)) beside.set(join(folder, name), bytes);
  }
  return { settings, beside, executable: resolve(script).replace(/\.js$/, '') };
}

const stdin = process.stdin.isTTY ? '' : readFileSync(0, 'utf8');
const files = filesBelow('.');
const outcome = await runCommand(create, compiled, { args, files, stdin, folder: process.cwd(), surroundings: surroundings() });
for (const [name, bytes] of outcome.written) {
  mkdirSync(dirname(name), { recursive: true });
  writeFileSync(name, bytes);
  chmodSync(name, 0o644);
}
for (const name of outcome.removed) rmSync(name);
process.stdout.write(outcome.out);
process.stderr.write(outcome.err);
process.exitCode = outcome.code;
