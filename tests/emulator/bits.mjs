// Runs a bare program in the emulated processor until it is done, and prints a table of words that it leaves in its memory.
// Usage: node bits.mjs ELF COUNT

import { RP2040 } from 'rp2040js';
import { readElf } from './chip.mjs';
import { correctFlags } from './flags.mjs';
import { makeSwift } from './swift.mjs';

const RAM = 0x20000000;
const [path, count] = process.argv.slice(2);
const { segments, symbols } = readElf(path);
const mcu = new RP2040();
const { core } = mcu;
correctFlags(core);
makeSwift(mcu);
const fail = (text) => {
  process.stderr.write(`${text}\n`);
  process.exit(1);
};
mcu.logger = { debug() {}, info() {}, warn: (part, text) => fail(`${part}: ${text}`), error: (part, text) => fail(`${part}: ${text}`) };
mcu.onBreak = () => fail('a breakpoint');
mcu.sram.fill(0);
for (const { at, bytes } of segments) mcu.sram.set(bytes, at - RAM);
core.registers[13] = RAM + mcu.sram.length;
core.PC = symbols.get('_start');
const done = symbols.get('done');
if (core.PC === undefined || done === undefined) fail('the program has no beginning or no end');
while (core.PC !== done) {
  core.executeInstruction();
  if (core.PC >>> 24 !== RAM >>> 24) fail(`the program counter left the program: ${core.PC.toString(16)}`);
  if (core.waiting || core.cycles > 20e9) fail('it does not end');
}
const lines = [];
for (let i = 0; i < Number(count); i++) {
  const at = symbols.get('WORDS') + 8 * i;
  const half = (at) => (mcu.readUint32(at) >>> 0).toString(16).padStart(8, '0');
  lines.push(half(at + 4) + half(at));
}
process.stdout.write(`${lines.join('\n')}\n`);
process.stderr.write(`${core.cycles} cycles\n`);
