// The program, seen from the page: commands go in, outcomes come out, one at a time.

/** A command that was stopped or is no longer wanted. */
export class Stopped extends Error {}

export class Program {
  /**
   * @param parts {program: string, workerSource: string}
   */
  constructor(parts) {
    this.parts = parts;
    this.waiting = [];
    this.running = null;
    this.nextId = 1;
    this.workerUrl = URL.createObjectURL(new Blob([parts.workerSource], { type: 'text/javascript' }));
    this.start();
  }

  start() {
    this.worker = new Worker(this.workerUrl);
    this.worker.onmessage = ({ data }) => this.hear(data);
    this.worker.onerror = (event) => this.fail(event.message || 'the program could not be started');
    this.worker.postMessage({ kind: 'start', program: this.parts.program });
  }

  /**
   * @param command {args, files, stdin}
   * @param options {lane?: string, onProgress?: (line) => void}: of one lane only the newest command
   *   still waiting is run, the others are stopped
   */
  run(command, { lane, onProgress } = {}) {
    return new Promise((resolve, reject) => {
      if (lane) this.dropWaiting(lane);
      this.waiting.push({ id: this.nextId++, command, lane, onProgress, resolve, reject });
      this.pump();
    });
  }

  dropWaiting(lane) {
    const kept = [];
    for (const job of this.waiting) {
      if (job.lane === lane) job.reject(new Stopped());
      else kept.push(job);
    }
    this.waiting = kept;
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
