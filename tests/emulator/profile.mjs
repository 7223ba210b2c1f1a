// Where the cycles go: of a routine from its first instruction to its return, whatever interrupted it included, and of everything, by symbol.

import { Broken } from './chip.mjs';

/** Shares of a routine's worst run that are told apart. */
const SHOWN = 24;

export class Profile {
  constructor(elf, names) {
    const symbols = [...elf.functions].sort(([, a], [, b]) => a.at - b.at);
    this.names = symbols.map(([name]) => name).concat('elsewhere');
    // Each half-word of the program by the number of its symbol.
    this.base = 0x10000000;
    const end = Math.max(...symbols.map(([, { at, size }]) => (at < 0x20000000 ? at + size : 0)));
    this.where = new Uint16Array((end - this.base) >> 1).fill(symbols.length);
    symbols.forEach(([, { at, size }], i) => {
      if (at >= this.base && at < end) this.where.fill(i, (at - this.base) >> 1, (at + size - this.base) >> 1);
    });
    this.all = new Float64Array(this.names.length);
    this.routines = names.map((name) => {
      const found = symbols.find(([symbol]) => symbol.includes(name));
      if (!found) throw new Broken(`no symbol contains ${name}`);
      const own = () => new Float64Array(this.names.length);
      return { name, at: found[1].at, entry: null, most: 0, total: 0, count: 0, now: own(), worst: own() };
    });
    this.last = null;
  }

  look(core) {
    const pc = core.registers[15] & ~1;
    if (this.last !== null) {
      const spent = core.cycles - this.last.cycles;
      this.all[this.last.symbol] += spent;
      for (const routine of this.routines) if (routine.entry !== null) routine.now[this.last.symbol] += spent;
    }
    const at = (pc - this.base) >>> 1;
    this.last = { symbol: at < this.where.length ? this.where[at] : this.names.length - 1, cycles: core.cycles };
    for (const routine of this.routines) {
      if (routine.entry === null) {
        if (pc === routine.at) {
          routine.entry = { sp: core.registers[13], back: core.registers[14] >>> 0, cycles: core.cycles };
          routine.now.fill(0);
        }
        continue;
      }
      const { sp, back, cycles } = routine.entry;
      // An interrupt ends when the processor is back in the main program; a call when it is back behind the call.
      const over = back >= 0xfffffff0 ? core.IPSR === 0 : pc === (back & ~1) && core.registers[13] === sp;
      if (over) {
        const taken = core.cycles - cycles;
        if (taken > routine.most) [routine.most, routine.now, routine.worst] = [taken, routine.worst, routine.now];
        routine.total += taken;
        routine.count++;
        routine.entry = null;
      }
    }
  }

  /** The symbols that took most, with their cycles. */
  ranked(cycles) {
    const rows = [...cycles].map((spent, i) => ({ symbol: this.names[i], cycles: spent }));
    return rows.filter((row) => row.cycles > 0).sort((a, b) => b.cycles - a.cycles).slice(0, SHOWN);
  }

  report() {
    const routines = this.routines.map(({ name, most, total, count, worst }) => {
      return { name, most, mean: total / count, count, where: this.ranked(worst) };
    });
    return { routines, all: this.ranked(this.all) };
  }
}

/** Time between one interrupt's beginnings. */
export class Beats {
  constructor(chip, interrupt) {
    // The first sixteen exceptions are the processor's own.
    Object.assign(this, { chip, exception: 16 + interrupt, inside: false, last: null, least: Infinity, most: 0, count: 0 });
  }

  look(core) {
    const began = core.IPSR === this.exception && !this.inside;
    this.inside = core.IPSR === this.exception;
    if (!began) return;
    const now = this.chip.nanos;
    if (this.last !== null) {
      this.least = Math.min(this.least, now - this.last);
      this.most = Math.max(this.most, now - this.last);
      this.count++;
    }
    this.last = now;
  }
}
