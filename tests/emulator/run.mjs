// Lock-step on standard streams: one JSON object in, one out, per line. See ../src/emulator.rs for the other end.

import { readSync, writeSync } from 'node:fs';
import { Broken, Chip, readElf } from './chip.mjs';
import { Adc, Contacts, I2c, Lines, OneWire, Spi } from './parts.mjs';

let chip;
let board;

function boot({ elf, pins, flash, seed }) {
  const image = readElf(elf);
  board = {
    lines: new Lines(pins),
    contacts: new Contacts(pins),
    spi: new Spi(pins),
    oneWire: new OneWire(pins),
    i2c: new I2c(),
    adc: new Adc(),
    uart: [],
    thermometers: [],
  };
  board.adc.seed = seed ?? 1;
  chip = new Chip(image, (chip) => {
    chip.mcu.uart[0].onByte = (byte) => board.uart.push(byte);
    for (const part of ['lines', 'contacts', 'spi', 'oneWire', 'i2c', 'adc']) board[part].attach(chip);
  });
  chip.lowered = () => board.lines.lower();
  chip.onFlash = () => {
    if (board.lines.anyHigh) throw new Broken('flash was changed with a line high');
  };
  for (const { at, hex } of flash ?? []) store(at, hex);
  return {};
}

function store(at, hex) {
  const bytes = Buffer.from(hex, 'hex');
  chip.flash.set(bytes, at);
  chip.mcu.flash.set(bytes, at);
}

/** Cycles between a routine's first instruction and its return, whatever interrupted it included. */
class Profile {
  constructor(names) {
    this.routines = names.map(({ name, at }) => ({ name, at, entry: null, most: 0, total: 0, count: 0 }));
  }

  look(core) {
    const pc = core.registers[15] & ~1;
    for (const routine of this.routines) {
      if (routine.entry === null) {
        if (pc === routine.at) {
          routine.entry = { sp: core.registers[13], back: core.registers[14] >>> 0, cycles: core.cycles };
        }
        continue;
      }
      const { sp, back, cycles } = routine.entry;
      // An interrupt ends when the processor is back in the main program; a call when it is back behind the call.
      const over = back >= 0xfffffff0 ? core.IPSR === 0 : pc === (back & ~1) && core.registers[13] === sp;
      if (over) {
        const taken = core.cycles - cycles;
        routine.most = Math.max(routine.most, taken);
        routine.total += taken;
        routine.count++;
        routine.entry = null;
      }
    }
  }
}

/** Time between one interrupt's beginnings. */
class Beats {
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

const handlers = {
  boot,
  set(command) {
    const { contacts, spi, one_wire, adc, expander, sense, fault } = command;
    for (const [name, closed] of Object.entries(contacts ?? {})) board.contacts.set(name, closed);
    for (const [vessel, code] of Object.entries(spi ?? {})) board.spi.chips[vessel].code = code;
    for (const [index, word] of Object.entries(one_wire ?? {})) {
      board.thermometers[index] ??= board.oneWire.add(rom(Number(index)));
      board.thermometers[index].word = word;
    }
    for (const [channel, code] of Object.entries(adc ?? {})) board.adc.codes[channel] = code;
    if (expander !== undefined) Object.assign(board.i2c, { expander: expander !== null, outside: expander ?? 0xff });
    if (sense !== undefined) board.i2c.sense = sense;
    for (const [name, value] of Object.entries(fault ?? {})) inject(name, value);
    return {};
  },
  run({ ns, uart, apart }) {
    const end = chip.nanos + ns;
    for (const byte of Buffer.from(uart ?? '', 'hex')) {
      chip.mcu.uart[0].feedByte(byte);
      if (apart) chip.runUntil(chip.nanos + apart);
    }
    chip.runUntil(end);
    const out = Buffer.from(board.uart).toString('hex');
    board.uart = [];
    return {
      t_ns: chip.nanos,
      lines: board.lines.report(),
      both: board.lines.both,
      uart: out,
      resets: chip.resets,
      reason: chip.reason,
      conversions: board.oneWire.conversions,
    };
  },
  screen() {
    return { hex: Buffer.from(board.i2c.ram).toString('hex'), on: board.i2c.on, latch: board.i2c.latch };
  },
  power() {
    board.lines.lower();
    chip.power();
    return {};
  },
  stack() {
    return chip.stackLeft();
  },
  flash({ at, length }) {
    return { hex: Buffer.from(chip.flash.subarray(at, at + length)).toString('hex') };
  },
  store({ at, hex }) {
    store(at, hex);
    return {};
  },
  registers() {
    const read = (at) => chip.mcu.readUint32(at) >>> 0;
    return { watchdog_ctrl: read(0x40058000), psm_wdsel: read(0x40010008) };
  },
  profile({ names }) {
    const wanted = names.map((name) => {
      const found = [...chip.elf.symbols].find(([symbol]) => symbol.includes(name));
      if (!found) throw new Broken(`no symbol contains ${name}`);
      return { name, at: found[1] };
    });
    chip.profile = new Profile(wanted);
    return {};
  },
  beats({ interrupt }) {
    chip.profile = new Beats(chip, interrupt);
    return {};
  },
  beaten() {
    const { least, most, count } = chip.profile;
    chip.profile = undefined;
    return { least_ns: least, most_ns: most, count };
  },
  profiled() {
    const routines = chip.profile.routines.map(({ name, most, total, count }) => ({ name, most, mean: total / count, count }));
    chip.profile = undefined;
    return { routines };
  },
};

function inject(name, value) {
  switch (name) {
    case 'spi_stuck':
      board.spi.stuck = value;
      break;
    case 'spi_high':
      board.spi.stuckHigh = value;
      break;
    case 'unplug':
      board.spi.chips[value].unplugged = true;
      break;
    case 'one_wire_shorted':
      board.oneWire.shorted = value;
      board.oneWire.settle();
      break;
    case 'display_gone':
      board.i2c.display = !value;
      break;
    case 'hang':
      hang(value);
      break;
    case 'interrupts_off':
      chip.mcu.core.PM = value;
      break;
    case 'overflow':
      chip.mcu.core.registers[13] = 0x20000000;
      break;
    case 'cut_flash_after':
      chip.cutAfter = value;
      break;
    case 'corrupt_program':
      // A flipped bit in the program itself.
      chip.flash[value] ^= 1;
      chip.mcu.flash[value] ^= 1;
      chip.corrupted = true;
      break;
    default:
      throw new Broken(`no fault is called ${name}`);
  }
}

/** The main loop gets stuck: a branch to itself, planted in unused RAM. */
function hang(where) {
  if (where !== 'main') throw new Broken(`cannot hang ${where}`);
  chip.mcu.sramView.setUint16(0x41ff0, 0xe7fe, true);
  const { core } = chip.mcu;
  core.waiting = false;
  if (core.IPSR !== 0) throw new Broken('the processor is in an interrupt; run a little further first');
  core.PC = 0x20041ff0;
}

/** ROM codes of the thermometers on the bus. */
function rom(index) {
  const body = [0x28, 0x11 + index, 0x22, 0x33, 0x44, 0x55, 0x66];
  let crc = 0;
  for (const byte of body) {
    crc ^= byte;
    for (let i = 0; i < 8; i++) crc = crc & 1 ? (crc >> 1) ^ 0x8c : crc >> 1;
  }
  return [...body, crc];
}

function* lines() {
  const chunk = Buffer.alloc(65536);
  let rest = '';
  for (;;) {
    let length = 0;
    try {
      length = readSync(0, chunk);
    } catch (error) {
      if (error.code === 'EAGAIN') continue;
      if (error.code === 'EOF') return;
      throw error;
    }
    if (length === 0) return;
    rest += chunk.toString('utf8', 0, length);
    for (let end; (end = rest.indexOf('\n')) >= 0; rest = rest.slice(end + 1)) yield rest.slice(0, end);
  }
}

for (const line of lines()) {
  let answer;
  try {
    const { cmd, ...command } = JSON.parse(line);
    if (!handlers[cmd]) throw new Broken(`no command is called ${cmd}`);
    answer = handlers[cmd](command);
  } catch (error) {
    answer = { error: error instanceof Broken ? error.message : String(error.stack) };
  }
  writeSync(1, `${JSON.stringify(answer)}\n`);
}
