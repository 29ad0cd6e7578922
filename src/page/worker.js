// The program's own thread: unpacks it once, then runs one command after the other.
import createPivotrace from 'pivotrace-program';
import { runCommand } from './run-command.js';

let compiled;

/** The program travels as text: gzip in base 64. */
async function unpacked(text) {
  const packed = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Response(stream).arrayBuffer();
}

async function start(message) {
  compiled = unpacked(message.program).then((bytes) => WebAssembly.compile(bytes));
  await compiled;
  postMessage({ kind: 'ready' });
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
