// Makes the one page: node bundle.mjs PROGRAM_JS PROGRAM_WASM NODE_MODULES OUTPUT
// Everything goes into one file; its content policy names its one script by hash and allows no connection.
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';

const [programScript, programBytes, nodeModules, output] = process.argv.slice(2).map((path) => resolve(path));
const here = dirname(fileURLToPath(import.meta.url));
const project = resolve(here, '../..');
const { buildSync } = createRequire(join(nodeModules, 'x.js'))('esbuild');

function bundled(entry, format) {
  const made = buildSync({
    entryPoints: [join(here, entry)],
    bundle: true,
    write: false,
    format,
    minify: true,
    target: 'es2022',
    legalComments: 'inline',
    nodePaths: [nodeModules],
    alias: { 'pivotrace-program': programScript },
  });
  return made.outputFiles[0].text;
}

function textsIn(folder, wanted) {
  const names = readdirSync(folder).filter((name) => wanted.test(name)).sort();
  return Object.fromEntries(names.map((name) => [name, readFileSync(join(folder, name), 'utf8')]));
}

/** Smaller by 4 % than what zlib makes of it, and unpacked by the same code. */
const packed = (path) => execFileSync('zopfli', ['-c', '--i5', path], { maxBuffer: 1 << 28 });

/** No text in a script element may end it. */
const harmless = (text) => text.replaceAll('<', '\\u003c');
const hashOf = (text) => `'sha256-${createHash('sha256').update(text).digest('base64')}'`;

const script = bundled('main.js', 'esm').replaceAll('</script', '<\\/script');
const program = readFileSync(programBytes);
/** The film of a rehearsal plays by a script of its own, as it stands between its tags. */
const filmScript = `\n${readFileSync(join(project, 'src/report/rehearsal_film.js'), 'utf8')}\n`;
const parts = {
  style: readFileSync(join(here, 'page.css'), 'utf8'),
  program: packed(programBytes).toString('base64'),
  worker: harmless(JSON.stringify(bundled('worker.js', 'iife'))),
  files: harmless(JSON.stringify({
    sheets: textsIn(join(project, 'routines'), /\.toml$/),
    examples: { ...textsIn(join(project, 'examples'), /\.(toml|csv|txt|template)$/), ...textsIn(join(project, 'examples/year'), /\.csv$/) },
  })),
  // Where this build of the program can make a film, the page shows it.
  knows: JSON.stringify({ film: program.includes('--film') }),
  script,
  'script-hashes': `${hashOf(script)} ${hashOf(filmScript)}`,
};
const page = readFileSync(join(here, 'page.html'), 'utf8').replace(/\{\{([a-z-]+)\}\}/g, (unused, name) => parts[name]);
writeFileSync(output, page);
console.log(`${output}: ${(page.length / 1e6).toFixed(2)} MB, ${(gzipSync(page, { level: 9 }).length / 1e6).toFixed(2)} MB compressed`);
