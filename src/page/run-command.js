// One command of pivotrace, from its words to its exit code, on files in memory. Every command gets an
// instance of the program of its own: nothing is left over from the one before, whatever became of it.

const shopFolder = '/shop';

/** Exit code of a command that did not come to its end (the program's own number for its own faults). */
const internalFault = 5;

/** Bytes of one stream; what is complete by line goes on at once to `onLine`. */
class Stream {
  constructor(onLine) {
    this.bytes = [];
    this.lineStart = 0;
    this.onLine = onLine;
  }

  put(byte) {
    if (byte === null) return;
    this.bytes.push(byte);
    const lineEnds = byte === 10 || byte === 13;
    if (!lineEnds) return;
    const line = this.bytes.slice(this.lineStart, -1);
    this.lineStart = this.bytes.length;
    if (this.onLine) this.onLine(decode(Uint8Array.from(line)));
  }

  text() {
    return decode(Uint8Array.from(this.bytes));
  }
}

export function decode(bytes) {
  return new TextDecoder().decode(bytes);
}

/** What a terminal would still show: a line of progress is wiped out by the next. */
export const stillShown = (text) => text.replace(/[^\n]*\r\u001b\[K/g, '');

export function encode(text) {
  return new TextEncoder().encode(text);
}

export function bytesOfBase64(text) {
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let k = 0; k < letters.length; ++k) bytes[k] = letters.charCodeAt(k);
  return bytes;
}

function sameBytes(a, b) {
  if (a.length !== b.length) return false;
  for (let k = 0; k < a.length; ++k) if (a[k] !== b[k]) return false;
  return true;
}

function makeFolders(FS, path) {
  let folder = '';
  for (const part of path.split('/').slice(1)) {
    folder += `/${part}`;
    if (!FS.analyzePath(folder).exists) FS.mkdir(folder);
  }
}

function writeInto(FS, path, bytes) {
  makeFolders(FS, path.slice(0, path.lastIndexOf('/')));
  FS.writeFile(path, bytes);
}

function filesBelow(FS, folder, prefix = '') {
  const found = new Map();
  for (const name of FS.readdir(folder)) {
    if (name === '.' || name === '..') continue;
    const path = `${folder}/${name}`;
    if (FS.isDir(FS.stat(path).mode)) {
      for (const [inner, bytes] of filesBelow(FS, path, `${prefix}${name}/`)) found.set(inner, bytes);
    } else {
      FS.chmod(path, 0o600);
      found.set(prefix + name, FS.readFile(path));
    }
  }
  return found;
}

function changesBetween(before, after) {
  const written = new Map();
  for (const [name, bytes] of after) {
    if (!before.has(name) || !sameBytes(before.get(name), bytes)) written.set(name, bytes);
  }
  return { written, removed: [...before.keys()].filter((name) => !after.has(name)) };
}

function reader(text) {
  const bytes = encode(text);
  let at = 0;
  return () => (at < bytes.length ? bytes[at++] : null);
}

/** What a command finds beside its own files: only the tests need it, the page has nothing else. */
function furnish(program, { settings = {}, executable, beside = new Map() }) {
  const { FS } = program;
  Object.assign(program.ENV, settings);
  for (const [path, bytes] of beside) writeInto(FS, path, bytes);
  if (!executable) return;
  writeInto(FS, executable, new Uint8Array());
  makeFolders(FS, '/proc/self');
  FS.symlink(executable, '/proc/self/exe');
}

function instantiate(create, compiled, streams, surroundings) {
  return create({
    noInitialRun: true,
    preRun: [(program) => furnish(program, surroundings)],
    thisProgram: 'pivotrace',
    instantiateWasm(imports, receive) {
      const instance = new WebAssembly.Instance(compiled, imports);
      receive(instance, compiled);
      return instance.exports;
    },
    stdin: streams.stdin,
    stdout: (byte) => streams.out.put(byte),
    stderr: (byte) => streams.err.put(byte),
    quit(status, stop) {
      throw stop;
    },
  });
}

/**
 * Runs `pivotrace args...` in the shop's folder.
 * @param create what the compiler's script exports
 * @param compiled WebAssembly.Module
 * @param command {args: string[], files: Map<string, Uint8Array>, stdin?: string, folder?: string,
 *   surroundings?: {settings, executable: path, beside: Map<path, Uint8Array>}}
 * @param onProgress called with every line of progress; without it the program shows none
 * @returns {code, out, err, written: Map<string, Uint8Array>, removed: string[]}
 */
export async function runCommand(create, compiled, command, onProgress) {
  const folder = command.folder ?? shopFolder;
  const streams = { stdin: reader(command.stdin ?? ''), out: new Stream(), err: new Stream(onProgress) };
  const program = await instantiate(create, compiled, streams, command.surroundings ?? {});
  const { FS } = program;
  // Files here have no owner to be protected from.
  FS.ignorePermissions = true;
  makeFolders(FS, folder);
  for (const [name, bytes] of command.files) writeInto(FS, `${folder}/${name}`, bytes);
  FS.chdir(folder);
  // Progress is shown to a terminal only.
  if (onProgress) FS.streams[2].tty = { ops: {} };
  let code;
  try {
    code = program.callMain(command.args);
  } catch (fault) {
    code = internalFault;
    for (const byte of encode(`internal error: ${fault}\n`)) streams.err.put(byte);
  }
  const changes = changesBetween(command.files, filesBelow(FS, folder));
  return { code, out: streams.out.text(), err: stillShown(streams.err.text()), ...changes };
}
