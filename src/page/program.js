// The program, seen from the page: commands go in, outcomes come out, one at a time.

/** A command that was stopped or is no longer wanted. */
export class Stopped extends Error {}

/** A command whose answer is no longer wanted is left to end by itself for so long, in ms. */
const patience = 300;

export class Program {
  /**
   * @param parts {program: string, workerSource: string}
   * @param elder another Program whose compiled code this one may take over
   */
  constructor(parts, elder) {
    this.parts = parts;
    this.elder = elder;
    this.waiting = [];
    this.running = null;
    this.nextId = 1;
    this.workerUrl = URL.createObjectURL(new Blob([parts.workerSource], { type: 'text/javascript' }));
    this.start();
  }

  /** The compiled program, once a worker has it: the next worker need not compile it again. */
  get code() {
    return this.ownCode ?? this.elder?.code;
  }

  start() {
    this.worker = new Worker(this.workerUrl);
    this.worker.onmessage = ({ data }) => this.hear(data);
    this.worker.onerror = (event) => this.fail(event.message || 'the program could not be started');
    const { code } = this;
    this.worker.postMessage(code ? { kind: 'start', code } : { kind: 'start', program: this.parts.program });
  }

  /**
   * @param command {args, files, stdin}
   * @param options {lane?: string, onProgress?: (line) => void, onTaken?: (stop) => void}: of one lane only
   *   the newest command is wanted, the others are stopped; `stop` ends this command and no other
   */
  run(command, { lane, onProgress, onTaken } = {}) {
    return new Promise((resolve, reject) => {
      if (lane) this.dropLane(lane);
      const job = { id: this.nextId++, command, lane, onProgress, resolve, reject };
      onTaken?.(() => this.drop(job));
      this.waiting.push(job);
      this.pump();
    });
  }

  drop(job) {
    if (this.running === job) this.stop();
    else if (this.waiting.includes(job)) {
      this.waiting = this.waiting.filter((each) => each !== job);
      job.reject(new Stopped());
    }
  }

  dropLane(lane) {
    for (const job of this.waiting.filter((each) => each.lane === lane)) this.drop(job);
    const old = this.running;
    if (old?.lane === lane) setTimeout(() => this.drop(old), patience);
  }

  /** Stops the command that runs; the program starts afresh for the next one. */
  stop() {
    if (!this.running) return;
    this.worker.terminate();
    this.running.reject(new Stopped());
    this.running = null;
    this.start();
    this.pump();
  }

  pump() {
    if (this.running || this.waiting.length === 0) return;
    this.running = this.waiting.shift();
    const { id, command } = this.running;
    this.worker.postMessage({ kind: 'run', id, command });
  }

  hear(message) {
    const job = this.running;
    if (message.kind === 'ready') this.ownCode = message.code;
    if (message.kind === 'fault' && !message.id) return this.fail(message.text);
    if (!job || message.id !== job.id) return;
    if (message.kind === 'progress') {
      job.onProgress?.(message.line);
      return;
    }
    this.running = null;
    if (message.kind === 'outcome') job.resolve(message.outcome);
    else job.reject(new Error(message.text));
    this.pump();
  }

  fail(text) {
    const jobs = this.running ? [this.running, ...this.waiting] : this.waiting;
    this.running = null;
    this.waiting = [];
    for (const job of jobs) job.reject(new Error(text));
  }
}
