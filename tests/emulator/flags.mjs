// Corrects the overflow flag of the emulated processor, and checks its arithmetic against the architecture's own definition.
//
// rp2040js 1.4.1 adds the carry to an operand of ADCS and SBCS before it judges the overflow. When that makes 7fffffffh into 80000000h the
// operand has changed its sign and the flag is wrong: a signed 64-bit comparison with a value of 7fffffff........h, such as the greatest
// integer, then goes the wrong way.

const ADCS = 0b0100000101;
const SBCS = 0b0100000110;
const TURNED = 0x80000000;

/** Makes every processor of this class right. Called once, with any of them. */
export function correctFlags(core) {
  const kind = Object.getPrototypeOf(core);
  if (kind.flagsCorrected) return;
  kind.flagsCorrected = true;
  const { addUpdateFlags, substractUpdateFlags } = kind;
  /** The instruction under way, of which the program counter is already past the first half. */
  const runs = (core, operation) => core.readUint16(core.PC - 2) >> 6 === operation;
  kind.addUpdateFlags = function (a, b) {
    const turned = b === TURNED && this.C && runs(this, ADCS);
    const result = addUpdateFlags.call(this, a, b);
    // a + 2^31 leaves the range of a signed word only if a is not negative.
    if (turned) this.V = a < TURNED;
    return result;
  };
  kind.substractUpdateFlags = function (a, b) {
    const turned = b === TURNED && !this.C && runs(this, SBCS);
    const result = substractUpdateFlags.call(this, a, b);
    // a - 2^31 leaves it only if a is negative.
    if (turned) this.V = a >= TURNED;
    return result;
  };
}

/** AddWithCarry of the ARMv6-M Architecture Reference Manual (DDI 0419, A2.2.1), in numbers without bounds. */
function addWithCarry(x, y, carry) {
  const unsigned = BigInt(x) + BigInt(y) + BigInt(carry);
  const signed = BigInt.asIntN(32, BigInt(x)) + BigInt.asIntN(32, BigInt(y)) + BigInt(carry);
  const result = BigInt.asUintN(32, unsigned);
  return {
    result: Number(result),
    N: result >> 31n === 1n,
    Z: result === 0n,
    C: result !== unsigned,
    V: BigInt.asIntN(32, result) !== signed,
  };
}

const WORDS = [0, 1, 2, 0x7ffffffe, 0x7fffffff, 0x80000000, 0x80000001, 0xfffffffe, 0xffffffff, 0x12345678, 0x87654321];
const not = (word) => ~word >>> 0;
const OPERATIONS = [
  { name: 'ADDS', opcode: 0b0001100_001_000_010, to: 2, expect: (a, b) => addWithCarry(a, b, 0) },
  { name: 'SUBS', opcode: 0b0001101_001_000_010, to: 2, expect: (a, b) => addWithCarry(a, not(b), 1) },
  { name: 'ADCS', opcode: 0b0100000101_001_000, to: 0, expect: (a, b, carry) => addWithCarry(a, b, carry) },
  { name: 'SBCS', opcode: 0b0100000110_001_000, to: 0, expect: (a, b, carry) => addWithCarry(a, not(b), carry) },
  { name: 'CMP', opcode: 0b0100001010_001_000, to: null, expect: (a, b) => addWithCarry(a, not(b), 1) },
  { name: 'CMN', opcode: 0b0100001011_001_000, to: null, expect: (a, b) => addWithCarry(a, b, 0) },
  { name: 'RSBS', opcode: 0b0100001001_001_010, to: 2, expect: (a, b) => addWithCarry(not(b), 0, 1) },
];

/** Runs every operation on words at the edges, in spare RAM; gives how many were run and what was wrong. */
export function checkArithmetic(mcu) {
  const { core } = mcu;
  const at = 0x20000100;
  const wrong = [];
  let count = 0;
  for (const { name, opcode, to, expect } of OPERATIONS) {
    mcu.writeUint16(at, opcode);
    for (const a of WORDS) {
      for (const b of WORDS) {
        for (const carry of [0, 1]) {
          core.registers.set([a, b, 0]);
          Object.assign(core, { PC: at, N: false, Z: false, C: carry === 1, V: false });
          core.executeInstruction();
          const { result, ...flags } = expect(a, b, carry);
          const right = Object.entries(flags).every(([flag, value]) => core[flag] === value);
          if (!right || (to !== null && core.registers[to] !== result)) wrong.push({ name, a, b, carry });
          count++;
        }
      }
    }
  }
  return { count, wrong };
}
