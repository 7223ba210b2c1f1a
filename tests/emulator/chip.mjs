// The chip: loads the image, serves what the emulator lacks, keeps what survives a reset.
//
// What rp2040js 1.4.1 lacks and what stands in for it:
//   - the boot ROM is not part of the package: a trap ROM answers the look-up of routines and the ones that change flash;
//   - a store to mapped flash would change it silently: the program's part is compared with the image at every report;
//   - reset() forgets flash and keeps peripherals: a reset puts the chip back as it was built, and carries flash, scratch registers and reason
//     over;
//   - the PWM never counts the edges of its inputs (its test for an output is a logical "and"), and takes pins for inputs that have
//     another function: mended here;
//   - the overflow flag is wrong in one case of ADCS and SBCS: see flags.mjs;
//   - faults are only logged: any warning or error of the log ends the run;
//   - flash takes no time: the trap ROM adds 45 ms per sector and 0.7 ms per page;
//   - ROSC, the crystal's and the watchdog's analogue side, XIP cache misses and brown-out are not modelled at all.

import { readFileSync } from 'node:fs';
import { RP2040 } from 'rp2040js';
import { correctFlags } from './flags.mjs';
import { Snapshot, STORE } from './snapshot.mjs';
import { makeSwift } from './swift.mjs';

const FLASH = 0x10000000;
const RAM = 0x20000000;
const PAINT = 0xa5;
const FUNCTION_PWM = 4;

/** Registers that the emulator does not have and the firmware only switches off or on as a formality, named one by one. */
const HARMLESS = [
  // UART DMA requests: the HAL enables them, nothing here uses DMA.
  /^UART0: Unimplemented peripheral write to 0x48: 0x3$/,
  // USB: the HAL writes zero to every register when it starts.
  /^USB: Unimplemented peripheral write to 0x[0-9a-f]+: 0x0$/,
  // USB: to which pads the controller is wired (74h), and that the cable's supply need not be seen (78h).
  /^USB: Unimplemented peripheral (read from|write to) 0x7[48]\b/,
];

/** A condition that ends a run: the test fails with this text. */
export class Broken extends Error {}
class Reset extends Error {}
class PowerCut extends Error {}

/** The parts of an ELF file that are loaded, and its symbols. */
export function readElf(path) {
  const file = readFileSync(path);
  const view = new DataView(file.buffer, file.byteOffset, file.length);
  if (view.getUint32(0) !== 0x7f454c46) throw new Broken(`${path} is no ELF file`);
  const segments = [];
  const [headers, size, count] = [view.getUint32(28, true), view.getUint16(42, true), view.getUint16(44, true)];
  for (let i = 0; i < count; i++) {
    const at = headers + i * size;
    const [type, offset, , physical, length] = [0, 4, 8, 12, 16].map((field) => view.getUint32(at + field, true));
    if (type === 1 && length > 0) segments.push({ at: physical, bytes: file.subarray(offset, offset + length) });
  }
  return { segments, ...readSymbols(file, view) };
}

function readSymbols(file, view) {
  const [headers, size, count] = [view.getUint32(32, true), view.getUint16(46, true), view.getUint16(48, true)];
  const section = (i) => {
    const at = headers + i * size;
    const [, type, , , offset, length, link] = [0, 4, 8, 12, 16, 20, 24].map((field) => view.getUint32(at + field, true));
    return { type, offset, length, link };
  };
  const symbols = new Map();
  const functions = new Map();
  for (let i = 0; i < count; i++) {
    const table = section(i);
    if (table.type !== 2) continue;
    const names = section(table.link);
    for (let at = table.offset; at < table.offset + table.length; at += 16) {
      const start = names.offset + view.getUint32(at, true);
      const name = file.toString('latin1', start, file.indexOf(0, start));
      if (name === '') continue;
      const [value, size] = [view.getUint32(at + 4, true) & ~1, view.getUint32(at + 8, true)];
      symbols.set(name, value);
      if ((file[at + 12] & 0xf) === 2) functions.set(name, { at: value, size });
    }
  }
  return { symbols, functions };
}

/** What a power cut leaves: flash, and nothing else. */
export class Chip {
  constructor(elf, attach) {
    this.elf = elf;
    this.attach = attach;
    this.flash = new Uint8Array(2 * 1024 * 1024).fill(0xff);
    for (const { at, bytes } of elf.segments) this.flash.set(bytes, at - FLASH);
    this.image = this.flash.slice();
    this.imageEnd = Math.max(...elf.segments.map(({ at, bytes }) => at - FLASH + bytes.length));
    this.resets = 0;
    this.cutAfter = null;
    this.base = 0;
    this.corrupted = false;
    this.changed = 0;
    this.profile = undefined;
    this.power();
  }

  /** Time since the beginning, across resets, ns. */
  get nanos() {
    return this.base + this.clock.nanos;
  }

  /** Power on: scratch registers are lost. */
  power() {
    this.scratch = new Uint32Array(8);
    this.reason = 0;
    this.start();
  }

  start() {
    if (this.clock) this.base += this.clock.nanos;
    if (this.mcu === undefined) {
      this.build();
      this.unused = new Snapshot([this.mcu], []);
    } else {
      this.unused.restore();
      // All of flash that ever changes.
      this.mcu.flash.set(this.flash.subarray(...STORE), STORE[0]);
    }
    const { mcu } = this;
    this.watchdog.scratchData.set(this.scratch);
    this.watchdog.reason = this.reason;
    // As the boot ROM leaves it: the second stage is next, and goes on to the program because the link register is zero.
    mcu.core.registers[13] = 0x20041f00;
    mcu.core.registers[14] = 0;
    mcu.core.PC = FLASH;
    this.attach(this);
  }

  build() {
    const mcu = new RP2040();
    this.mcu = mcu;
    this.clock = mcu.clock;
    correctFlags(mcu.core);
    makeSwift(mcu);
    mcu.logger = {
      debug() {},
      info() {},
      warn: (part, text) => this.complain(part, text),
      error: (part, text) => this.complain(part, text),
    };
    // The UART's receive status (4h) is missing: nothing ever arrives damaged.
    for (const uart of mcu.uart) {
      const read = uart.readUint32.bind(uart);
      uart.readUint32 = (offset) => (offset === 4 ? 0 : read(offset));
    }
    // An edge counts unless the pin is this block's output, and only of a pin that was given to it.
    mcu.pwm.gpioRead = (index) => mcu.gpio[index].functionSelect === FUNCTION_PWM && mcu.gpio[index].inputValue;
    mcu.pwm.gpioOnInput = (index) => {
      if (mcu.pwm.gpioDirection & (1 << index)) return;
      for (const channel of mcu.pwm.channels) if (channel.pinB1 === index || channel.pinB2 === index) channel.gpioBChanged();
    };
    mcu.flash.set(this.flash);
    mcu.sram.fill(PAINT);
    this.loadRom();
    this.watchdog = mcu.peripherals[0x40058];
    this.watchdog.onWatchdogTrigger = () => {
      throw new Reset();
    };
  }

  complain(part, text) {
    if (!HARMLESS.some((pattern) => pattern.test(`${part}: ${text}`))) throw new Broken(`the emulator's log: ${part}: ${text} (pc ${this.mcu.core.PC.toString(16)})`);
  }

  loadRom() {
    const { mcu } = this;
    const routines = ['IF', 'EX', 'RE', 'RP', 'FC', 'CX'];
    const rom = new Uint16Array(mcu.bootrom.buffer);
    const [BKPT, BX_LR] = [0xbe00, 0x4770];
    // Whoever runs into the ROM by mistake meets an undefined instruction.
    rom.fill(0xde00);
    const lookup = 0x100;
    rom[0x14 / 2] = 0x200;
    rom[0x16 / 2] = 0x200;
    rom[0x18 / 2] = lookup + 1;
    const put = (at, number) => rom.set([BKPT | number, BX_LR], at / 2);
    put(lookup, 1);
    const addresses = new Map();
    routines.forEach((name, i) => {
      const at = lookup + 8 * (i + 1);
      put(at, 2 + i);
      addresses.set(name.charCodeAt(0) | (name.charCodeAt(1) << 8), at + 1);
    });
    mcu.onBreak = (number) => {
      const r = mcu.core.registers;
      const inRom = mcu.core.PC >>> 0 < 0x4000;
      if (!inRom || number < 1 || number >= 2 + routines.length) {
        throw new Broken(`breakpoint ${number} at ${(mcu.core.PC >>> 0).toString(16)}`);
      }
      if (number === 1) {
        const address = addresses.get(r[1] & 0xffff);
        if (!address) throw new Broken(`ROM routine ${String.fromCharCode(r[1] & 0xff, (r[1] >> 8) & 0xff)} is not served`);
        r[0] = address;
        return;
      }
      const name = routines[number - 2];
      if (name === 'RE') this.erase(r[0] >>> 0, r[1] >>> 0);
      if (name === 'RP') this.program(r[0] >>> 0, r[1] >>> 0, r[2] >>> 0);
    };
  }

  erase(at, count) {
    this.changing(at, count);
    for (let i = 0; i < count; i++) this.change(at + i, 0xff);
    // Nothing else happens meanwhile: alarms that come due are served after.
    this.clock.nanosCounter += 45e6 * (count / 4096);
  }

  program(at, from, count) {
    this.changing(at, count);
    for (let i = 0; i < count; i++) this.change(at + i, this.mcu.flash[at + i] & this.mcu.readUint8(from + i));
    this.clock.nanosCounter += 0.7e6 * (count / 256);
  }

  /** Flash may only change with every line off, and never where the program is. */
  changing(at, count) {
    if (at < this.imageEnd || at + count > this.flash.length) throw new Broken(`flash changed at ${at.toString(16)}`);
    if (this.onFlash) this.onFlash();
  }

  change(at, byte) {
    if (this.cutAfter !== null && this.cutAfter-- === 0) throw new PowerCut();
    this.changed++;
    this.mcu.flash[at] = byte;
    this.flash[at] = byte;
  }

  /** Runs up to a time. Resets and power cuts happen on the way. */
  runUntil(target) {
    while (this.nanos < target) {
      try {
        this.runSome(target - this.base);
      } catch (end) {
        if (end instanceof Reset) {
          this.reset(this.watchdog.reason);
        } else if (end instanceof PowerCut) {
          this.cut();
        } else {
          throw end;
        }
      }
    }
    this.checkImage();
  }

  /** A reset that leaves the supply on: by the watchdog, unless `reason` says otherwise. */
  reset(reason) {
    this.resets++;
    this.scratch.set(this.watchdog.scratchData);
    this.reason = reason;
    this.lowered?.();
    this.start();
  }

  /** The supply was away. */
  cut() {
    this.cutAfter = null;
    this.lowered?.();
    this.power();
  }

  runSome(until) {
    const { clock, mcu, profile } = this;
    const { core } = mcu;
    const { registers } = core;
    while (clock.nanosCounter < until) {
      if (core.waiting) {
        const next = clock.nextAlarm;
        clock.tick(Math.max((next ? Math.min(next.nanos, until) : until) - clock.nanosCounter, 0));
        if (!next && core.waiting) return;
        continue;
      }
      const perCycle = 1e9 / mcu.clkSys;
      // The clock's speed is looked at again now and then.
      for (let n = 0; n < 200 && !core.waiting && clock.nanosCounter < until; n++) {
        if (profile !== undefined) profile.look(core);
        const step = core.executeInstruction() * perCycle;
        const now = clock.nanosCounter + step;
        const next = clock.nextAlarm;
        if (next !== null && next.nanos <= now) clock.tick(step);
        else clock.nanosCounter = now;
      }
      // What lies outside flash and RAM is no program: reading it is logged, which ends the run, or comes to this.
      const pc = registers[15] >>> 24;
      if (pc !== 0x10 && pc !== 0x20 && pc !== 0 && pc !== 0xff) {
        throw new Broken(`the program counter left the program: ${(registers[15] >>> 0).toString(16)}`);
      }
    }
  }

  /** The program as it was built. */
  repair() {
    const program = this.image.subarray(0, this.imageEnd);
    this.flash.set(program);
    this.mcu.flash.set(program);
  }

  /** Which function an address lies in. */
  symbolAt(address) {
    for (const [name, { at, size }] of this.elf.functions) if (address >= at && address < at + size) return name;
    return 'elsewhere';
  }

  checkImage() {
    const end = this.imageEnd;
    if (Buffer.compare(this.mcu.flash.subarray(0, end), this.image.subarray(0, end)) !== 0 && !this.corrupted) {
      throw new Broken('the program was changed by a plain store to flash');
    }
  }

  /** Bytes of the guarded stack, and of the RAM that the start uses for one, that were never touched. */
  stackLeft() {
    const { sram } = this.mcu;
    const untouched = (from) => {
      let at = from;
      while (sram[at] === PAINT) at++;
      return at - from;
    };
    return { left: untouched(0), start: untouched(this.elf.symbols.get('__sheap') - RAM) };
  }
}
