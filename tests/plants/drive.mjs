// The other end of `copperhold cosim`: a line out, a line back, in lock-step.

import { spawn } from 'node:child_process';
import { createInterface } from 'node:readline';

export class Controller {
  constructor(program) {
    this.child = spawn(program, ['cosim'], { stdio: ['pipe', 'pipe', 'inherit'] });
    this.lines = createInterface({ input: this.child.stdout })[Symbol.asyncIterator]();
  }

  async send(line) {
    this.child.stdin.write(`${JSON.stringify(line)}\n`);
    const { value, done } = await this.lines.next();
    if (done) throw new Error('it has hung up');
    const answer = JSON.parse(value);
    if (answer.error) throw new Error(answer.error);
    return answer;
  }

  /** Ends its input; its exit code. */
  async end() {
    const code = new Promise((resolve) => this.child.on('exit', resolve));
    this.child.stdin.end();
    return code;
  }
}
