// Checks the corrected processor's arithmetic; prints how many operations were run.

import { RP2040 } from 'rp2040js';
import { checkArithmetic, correctFlags } from './flags.mjs';

const mcu = new RP2040();
correctFlags(mcu.core);
const { count, wrong } = checkArithmetic(mcu);
if (wrong.length > 0) {
  process.stderr.write(`${JSON.stringify(wrong)}\n`);
  process.exit(1);
}
process.stdout.write(`${count}\n`);
