// Runs a bare program on the swift processor and on the package's own, instruction by instruction, and compares registers, flags and cycles.
// Usage: node swift-check.mjs ELF COUNT

import { RP2040 } from 'rp2040js';
import { readElf } from './chip.mjs';
import { correctFlags } from './flags.mjs';
import { makeSwift } from './swift.mjs';

const RAM = 0x20000000;
const [path, count] = process.argv.slice(2);
const { segments, symbols } = readElf(path);
const [swift, own] = [true, false].map((swift) => {
  const mcu = new RP2040();
  correctFlags(mcu.core);
  if (swift) makeSwift(mcu);
  mcu.sram.fill(0);
  for (const { at, bytes } of segments) mcu.sram.set(bytes, at - RAM);
  mcu.core.registers[13] = RAM + mcu.sram.length;
  mcu.core.PC = symbols.get('_start');
  return mcu;
});
const state = ({ core }) => [...core.registers.map((word) => word >>> 0), core.N, core.Z, core.C, core.V, core.cycles];
for (let n = 0; n < Number(count); n++) {
  const pc = own.core.PC;
  swift.core.executeInstruction();
  own.core.executeInstruction();
  const [a, b] = [swift.core, own.core];
  const registers = a.registers.every((word, i) => word === b.registers[i]);
  if (!registers || a.N !== b.N || a.Z !== b.Z || a.C !== b.C || a.V !== b.V || a.cycles !== b.cycles) {
    const opcode = own.readUint16(pc).toString(16);
    process.stderr.write(`instruction ${n}, ${opcode} at ${pc.toString(16)}:\n${state(swift)}\n${state(own)}\n`);
    process.exit(1);
  }
}
if (Buffer.compare(swift.sram, own.sram) !== 0) {
  process.stderr.write('memory differs\n');
  process.exit(1);
}
process.stdout.write(`${count}\n`);
