// The processor's commonest instructions by one table look-up each, instead of a chain of sixty comparisons: several times faster. What they
// do, and in how many cycles, is what rp2040js and flags.mjs do; the rest, and every access outside flash and RAM, is left to them.
// `swift-check.mjs` runs a program on both, instruction by instruction.

import { KINDS } from './kinds.mjs';

const [FLASH, RAM] = [0x10, 0x20];

/** Makes the processor of `mcu` swift. */
export function makeSwift(mcu) {
  const { core } = mcu;
  const r = core.registers;
  const slow = Object.getPrototypeOf(core).executeInstruction;
  const flash16 = new Uint16Array(mcu.flash.buffer);
  const flash32 = new Uint32Array(mcu.flash.buffer);
  const ram8 = mcu.sram;
  const ram16 = new Uint16Array(ram8.buffer);
  const ram32 = new Uint32Array(ram8.buffer);
  const size = ram8.length;

  /** Offset of an address in RAM, aligned; -1 if it is no such address. */
  const word = (at) => {
    const offset = (at - 0x20000000) >>> 0;
    return offset < size && (offset & 3) === 0 ? offset >>> 2 : -1;
  };
  const load = (at) => {
    const i = word(at);
    if (i >= 0) return ram32[i];
    return at >>> 24 === FLASH && (at & 3) === 0 ? flash32[(at & 0xffffff) >>> 2] : core.readUint32(at);
  };
  const store = (at, value) => {
    const i = word(at);
    if (i >= 0) ram32[i] = value;
    else core.writeUint32(at, value);
  };
  const cost = (at, write) => ((at >>> 28) < 4 ? 1 : core.cyclesIO(at, write));
  const add = (a, b) => {
    const sum = a + b;
    const result = sum | 0;
    core.N = result < 0;
    core.Z = result === 0;
    core.C = sum > 0xffffffff;
    core.V = ((a ^ result) & (b ^ result)) < 0;
    return result;
  };
  const subtract = (a, b) => {
    const result = (a - b) | 0;
    core.N = result < 0;
    core.Z = result === 0;
    core.C = a >= b;
    core.V = ((a ^ b) & (a ^ result)) < 0;
    return result;
  };
  const show = (result) => {
    core.N = result < 0;
    core.Z = result === 0;
    return result;
  };
  const holds = (cond) => {
    switch (cond) {
      case 0: return core.Z;
      case 1: return !core.Z;
      case 2: return core.C;
      case 3: return !core.C;
      case 4: return core.N;
      case 5: return !core.N;
      case 6: return core.V;
      case 7: return !core.V;
      case 8: return core.C && !core.Z;
      case 9: return !core.C || core.Z;
      case 10: return core.N === core.V;
      case 11: return core.N !== core.V;
      case 12: return !core.Z && core.N === core.V;
      default: return core.Z || core.N !== core.V;
    }
  };

  core.executeInstruction = function () {
    if (core.interruptsUpdated && core.checkForInterrupts()) core.waiting = false;
    const pc = r[15] & ~1;
    const page = pc >>> 24;
    let op;
    if (page === FLASH) op = flash16[(pc & 0xffffff) >> 1];
    else if (page === RAM) op = ram16[(pc & 0xffffff) >> 1];
    else return slow.call(core);
    const d = op & 7;
    const m = (op >> 3) & 7;
    const n = (op >> 6) & 7;
    let cycles = 1;
    // Where the program goes on; as the other core has it while an instruction runs.
    r[15] = pc + 2;
    // Numbers, so that this becomes a jump table.
    switch (KINDS[op]) {
      case 1 /* ADCS */: {
        const a = r[m];
        const b = r[d];
        const sum = a + b + (core.C ? 1 : 0);
        const result = show(sum | 0);
        core.C = sum > 0xffffffff;
        core.V = ((a ^ result) & (b ^ result)) < 0;
        r[d] = result;
        break;
      }
      case 37 /* SBCS */: {
        const a = r[d];
        const b = r[m];
        const rest = a - b - (core.C ? 0 : 1);
        const result = show(rest | 0);
        core.C = rest >= 0;
        core.V = ((a ^ b) & (a ^ result)) < 0;
        r[d] = result;
        break;
      }
      case 2 /* ADD_RD_SP */: r[(op >> 8) & 7] = r[13] + ((op & 0xff) << 2); break;
      case 3 /* ADD_SP */: r[13] += (op & 0x7f) << 2; break;
      case 45 /* SUB_SP */: r[13] -= (op & 0x7f) << 2; break;
      case 4 /* ADDS_3 */: r[d] = add(r[m], n); break;
      case 5 /* ADDS_8 */: r[(op >> 8) & 7] = add(r[(op >> 8) & 7], op & 0xff); break;
      case 6 /* ADDS_R */: r[d] = add(r[m], r[n]); break;
      case 7 /* ADD_R */: {
        const rm = (op >> 3) & 15;
        r[((op & 0x80) >> 4) | d] += rm === 15 ? pc + 4 : r[rm];
        break;
      }
      case 8 /* ADR */: r[(op >> 8) & 7] = (pc & ~3) + 4 + ((op & 0xff) << 2); break;
      case 9 /* ANDS */: r[d] = show(r[d] & r[m]); break;
      case 13 /* BICS */: r[d] = show(r[d] & ~r[m]); break;
      case 18 /* EORS */: r[d] = show(r[d] ^ r[m]); break;
      case 33 /* ORRS */: r[d] = show(r[d] | r[m]); break;
      case 32 /* MVNS */: r[d] = show(~r[m]); break;
      case 49 /* TST */: show(r[d] & r[m]); break;
      case 31 /* MULS */: r[d] = show(Math.imul(r[m], r[d])); break;
      case 30 /* MOVS */: r[(op >> 8) & 7] = show(op & 0xff); break;
      case 29 /* MOV */: {
        const rm = (op >> 3) & 15;
        r[((op >> 4) & 8) | d] = rm === 15 ? pc + 4 : r[rm];
        break;
      }
      case 27 /* LSLS_I */: {
        const by = (op >> 6) & 31;
        const input = r[m];
        if (by > 0) core.C = ((input >>> (32 - by)) & 1) === 1;
        r[d] = show(input << by);
        break;
      }
      case 28 /* LSRS_I */: {
        const by = (op >> 6) & 31;
        const input = r[m];
        core.C = ((input >>> (by > 0 ? by - 1 : 31)) & 1) === 1;
        r[d] = show(by > 0 ? (input >>> by) | 0 : 0);
        break;
      }
      case 10 /* ASRS_I */: {
        const by = (op >> 6) & 31 || 32;
        const input = r[m];
        core.C = ((input >>> (by - 1)) & 1) === 1;
        r[d] = show(by < 32 ? input >> by : input >> 31);
        break;
      }
      case 54 /* LSLS_R */: {
        const by = r[m] & 0xff;
        if (by === 0 || by > 31) {
          r[15] = pc;
          return slow.call(core);
        }
        const input = r[d];
        core.C = ((input >>> (32 - by)) & 1) === 1;
        r[d] = show(input << by);
        break;
      }
      case 55 /* LSRS_R */: {
        const by = r[m] & 0xff;
        if (by === 0 || by > 31) {
          r[15] = pc;
          return slow.call(core);
        }
        const input = r[d];
        core.C = ((input >>> (by - 1)) & 1) === 1;
        r[d] = show(input >>> by);
        break;
      }
      case 16 /* CMP_I */: subtract(r[(op >> 8) & 7], op & 0xff); break;
      case 17 /* CMP_R */: subtract(r[d], r[m]); break;
      case 46 /* SUBS_3 */: r[d] = subtract(r[m], n); break;
      case 47 /* SUBS_8 */: r[(op >> 8) & 7] = subtract(r[(op >> 8) & 7], op & 0xff); break;
      case 48 /* SUBS_R */: r[d] = subtract(r[m], r[n]); break;
      case 36 /* RSBS */: r[d] = subtract(0, r[m]); break;
      case 50 /* UXTB */: r[d] = r[m] & 0xff; break;
      case 51 /* UXTH */: r[d] = r[m] & 0xffff; break;
      case 53 /* SXTB */: r[d] = (r[m] << 24) >> 24; break;
      case 52 /* SXTH */: r[d] = (r[m] << 16) >> 16; break;
      case 11 /* B_COND */:
        if (holds((op >> 8) & 15)) {
          r[15] = pc + 4 + (((op & 0xff) << 24) >> 23);
          cycles = 2;
        }
        break;
      case 12 /* B */:
        r[15] = pc + 4 + (((op & 0x7ff) << 21) >> 20);
        cycles = 2;
        break;
      case 14 /* BL */: {
        const next = page === FLASH ? flash16[((pc & 0xffffff) >> 1) + 1] : ram16[((pc & 0xffffff) >> 1) + 1];
        if (next >> 14 !== 3 || ((next >> 12) & 1) === 0) {
          r[15] = pc;
          return slow.call(core);
        }
        const s = (op >> 10) & 1;
        const i1 = 1 - (s ^ ((next >> 13) & 1));
        const i2 = 1 - (s ^ ((next >> 11) & 1));
        const offset = (s ? 0xff000000 : 0) | (i1 << 23) | (i2 << 22) | ((op & 0x3ff) << 12) | ((next & 0x7ff) << 1);
        r[14] = (pc + 4) | 1;
        r[15] = pc + 4 + offset;
        cycles = 3;
        break;
      }
      case 15 /* BX */:
        core.BXWritePC(r[(op >> 3) & 15]);
        cycles = 2;
        break;
      case 20 /* LDR_I */: {
        const at = (r[m] + (((op >> 6) & 31) << 2)) >>> 0;
        cycles += cost(at, false);
        r[d] = load(at);
        break;
      }
      case 21 /* LDR_SP */:
        r[(op >> 8) & 7] = load((r[13] + ((op & 0xff) << 2)) >>> 0);
        cycles = 2;
        break;
      case 22 /* LDR_PC */:
        r[(op >> 8) & 7] = load(((pc + 4) & ~3) + ((op & 0xff) << 2));
        cycles = 2;
        break;
      case 23 /* LDR_R */: {
        const at = (r[m] + r[n]) >>> 0;
        cycles += cost(at, false);
        r[d] = load(at);
        break;
      }
      case 24 /* LDRB_I */: {
        const at = (r[m] + ((op >> 6) & 31)) >>> 0;
        cycles += cost(at, false);
        r[d] = core.readUint8(at);
        break;
      }
      case 25 /* LDRB_R */: {
        const at = (r[m] + r[n]) >>> 0;
        cycles += cost(at, false);
        r[d] = core.readUint8(at);
        break;
      }
      case 26 /* LDRH_I */: {
        const at = (r[m] + (((op >> 6) & 31) << 1)) >>> 0;
        cycles += cost(at, false);
        r[d] = core.readUint16(at);
        break;
      }
      case 39 /* STR_I */: {
        const at = (r[m] + (((op >> 6) & 31) << 2)) >>> 0;
        cycles += cost(at, true);
        store(at, r[d]);
        break;
      }
      case 40 /* STR_SP */:
        store((r[13] + ((op & 0xff) << 2)) >>> 0, r[(op >> 8) & 7]);
        cycles = 2;
        break;
      case 41 /* STR_R */: {
        const at = (r[m] + r[n]) >>> 0;
        cycles += cost(at, true);
        store(at, r[d]);
        break;
      }
      case 42 /* STRB_I */: {
        const at = (r[m] + ((op >> 6) & 31)) >>> 0;
        cycles += cost(at, true);
        core.writeUint8(at, r[d]);
        break;
      }
      case 43 /* STRB_R */: {
        const at = (r[m] + r[n]) >>> 0;
        cycles += cost(at, true);
        core.writeUint8(at, r[d]);
        break;
      }
      case 44 /* STRH_I */: {
        const at = (r[m] + (((op >> 6) & 31) << 1)) >>> 0;
        cycles += cost(at, true);
        core.writeUint16(at, r[d]);
        break;
      }
      case 19 /* LDMIA */: {
        const base = (op >> 8) & 7;
        let at = r[base];
        for (let i = 0; i < 8; i++) {
          if (op & (1 << i)) {
            r[i] = load(at);
            at += 4;
            cycles++;
          }
        }
        if (!(op & (1 << base))) r[base] = at;
        break;
      }
      case 38 /* STMIA */: {
        const base = (op >> 8) & 7;
        let at = r[base];
        for (let i = 0; i < 8; i++) {
          if (op & (1 << i)) {
            store(at, r[i]);
            at += 4;
            cycles++;
          }
        }
        if (!(op & (1 << base))) r[base] = at;
        break;
      }
      case 35 /* PUSH */: {
        let count = (op >> 8) & 1;
        for (let i = 0; i < 8; i++) count += (op >> i) & 1;
        let at = (r[13] - 4 * count) >>> 0;
        r[13] = at;
        for (let i = 0; i < 8; i++) {
          if (op & (1 << i)) {
            store(at, r[i]);
            at += 4;
            cycles++;
          }
        }
        if (op & 0x100) store(at, r[14]);
        break;
      }
      case 34 /* POP */: {
        let at = r[13];
        for (let i = 0; i < 8; i++) {
          if (op & (1 << i)) {
            r[i] = load(at);
            at += 4;
            cycles++;
          }
        }
        if (op & 0x100) {
          r[13] = at + 4;
          core.BXWritePC(load(at));
          cycles += 2;
        } else {
          r[13] = at;
        }
        break;
      }
      default:
        r[15] = pc;
        return slow.call(core);
    }
    core.cycles += cycles;
    return cycles;
  };
}
