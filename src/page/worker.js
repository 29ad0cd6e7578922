// The program's own thread: unpacks it once, then runs one command after the other.
import createPivotrace from 'pivotrace-program';
import { runCommand, bytesOfBase64 } from './run-command.js';

let compiled;

/** The program travels as text: gzip in base 64. */
async function unpacked(text) {
  const packed = bytesOfBase64(text);
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Response(stream).arrayBuffer();
}

/** A thread that follows another gets the code it had compiled; a browser may keep it from travelling. */
async function start({ program, code }) {
  compiled = code ? Promise.resolve(code) : unpacked(program).then((bytes) => WebAssembly.compile(bytes));
  const made = await compiled;
  try {
    postMessage({ kind: 'ready', code: made });
  } catch {
    postMessage({ kind: 'ready' });
  }
}

async function run({ id, command }) {
  const onProgress = (line) => postMessage({ kind: 'progress', id, line });
  const outcome = await runCommand(createPivotrace, await compiled, command, onProgress);
  postMessage({ kind: 'outcome', id, outcome });
}

onmessage = ({ data }) => {
  const work = data.kind === 'start' ? start(data) : run(data);
  work.catch((fault) => postMessage({ kind: 'fault', id: data.id, text: String(fault) }));
};
