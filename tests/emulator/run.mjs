// Lock-step on standard streams: one JSON object in, one out, per line. See ../src/emulator.rs for the other end.

import { readSync, writeSync } from 'node:fs';
import { Broken, Chip, readElf } from './chip.mjs';
import { Beats, Profile } from './profile.mjs';
import { OneWire } from './one-wire.mjs';
import { Countdown, Reached, Snapshot } from './snapshot.mjs';
import { Adc, Contacts, FlowMeter, I2c, Lines, Spi } from './parts.mjs';

let chip;
let board;
const snapshots = new Map();

function boot({ elf, pins, flash, seed }) {
  const image = readElf(elf);
  board = {
    lines: new Lines(pins),
    contacts: new Contacts(pins),
    spi: new Spi(pins),
    oneWire: new OneWire(pins),
    i2c: new I2c(),
    adc: new Adc(),
    flow: new FlowMeter(pins),
    uart: [],
    thermometers: [],
    /** Until when time was to pass, ns. */
    asked: 0,
  };
  board.adc.seed = seed ?? 1;
  chip = new Chip(image, (chip) => {
    chip.mcu.uart[0].onByte = (byte) => board.uart.push(byte);
    for (const part of ['lines', 'contacts', 'spi', 'oneWire', 'i2c', 'adc', 'flow']) board[part].attach(chip);
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

const handlers = {
  boot,
  set(command) {
    const { contacts, spi, one_wire, adc, expander, sense, flow, fault } = command;
    for (const [name, closed] of Object.entries(contacts ?? {})) board.contacts.set(name, closed);
    for (const [vessel, code] of Object.entries(spi ?? {})) board.spi.chips[vessel].code = code;
    for (const [index, word] of Object.entries(one_wire ?? {})) {
      board.thermometers[index] ??= board.oneWire.add(rom(Number(index)));
      board.thermometers[index].word = word;
    }
    for (const [channel, code] of Object.entries(adc ?? {})) board.adc.codes[channel] = code;
    if (expander !== undefined) Object.assign(board.i2c, { expander: expander !== null, outside: expander ?? 0xff });
    if (sense !== undefined) board.i2c.sense = sense;
    if (flow !== undefined) board.flow.set(flow);
    for (const [name, value] of Object.entries(fault ?? {})) inject(name, value);
    return {};
  },
  run({ ns, uart, apart, set }) {
    if (set !== undefined) handlers.set(set);
    // What was asked for adds up: the instruction that goes a little beyond makes the next run shorter.
    const end = Math.max(board.asked + ns, chip.nanos);
    for (const byte of Buffer.from(uart ?? '', 'hex')) {
      chip.mcu.uart[0].feedByte(byte);
      if (apart) chip.runUntil(chip.nanos + apart);
    }
    chip.runUntil(end);
    board.asked = apart ? chip.nanos : end;
    const out = Buffer.from(board.uart).toString('hex');
    board.uart.length = 0;
    return {
      t_ns: chip.nanos,
      lines: board.lines.report(),
      both: board.lines.both,
      gap_ns: board.lines.gap,
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
    chip.cut();
    return {};
  },
  save({ name }) {
    snapshots.set(name, new Snapshot([chip, board], [chip.elf, chip.unused]));
    return {};
  },
  restore({ name }) {
    if (chip.corrupted) chip.repair();
    snapshots.get(name).restore();
    return {};
  },
  step({ count, exception }) {
    chip.profile = new Countdown(count, exception ?? undefined);
    try {
      chip.runUntil(chip.nanos + 20e9);
      throw new Broken('the instructions asked for were not reached');
    } catch (end) {
      if (!(end instanceof Reached)) throw end;
    }
    chip.profile = undefined;
    board.asked = chip.nanos;
    const { core } = chip.mcu;
    return { t_ns: chip.nanos, exception: core.IPSR, symbol: chip.symbolAt(core.PC), lines: board.lines.levels };
  },
  stack() {
    return chip.stackLeft();
  },
  flash({ at, length }) {
    return { hex: Buffer.from(chip.flash.subarray(at, at + length)).toString('hex'), changed: chip.changed };
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
    chip.profile = new Profile(chip.elf, names);
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
    const report = chip.profile.report();
    chip.profile = undefined;
    return report;
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
    case 'reset':
      if (value === 'watchdog') chip.reset(1);
      else if (value === 'power') chip.cut();
      else throw new Broken(`no reset is called ${value}`);
      break;
    case 'exception':
      // The processor takes an exception here and now.
      chip.mcu.core.waiting = false;
      chip.mcu.core.exceptionEntry(value);
      break;
    case 'masked':
      chip.mcu.core.enabledInterrupts = 0;
      break;
    case 'storm':
      storm(1, 500);
      break;
    case 'pad':
      board.lines.stick(value.line, value.level);
      break;
    case 'flip':
      chip.mcu.sram[value.at - 0x20000000] ^= 1 << value.bit;
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

/** An interrupt that asks again every few nanoseconds, sooner than it can be served. */
function storm(number, nanos) {
  const again = chip.clock.createAlarm(() => {
    chip.mcu.setInterrupt(number, true);
    again.schedule(nanos);
  });
  again.schedule(nanos);
}

/** The main loop, or whatever runs just now, gets stuck: a branch to itself, planted in unused RAM. */
function hang(where) {
  if (where !== 'main' && where !== 'here') throw new Broken(`cannot hang ${where}`);
  chip.mcu.sramView.setUint16(0x41ff0, 0xe7fe, true);
  const { core } = chip.mcu;
  core.waiting = false;
  if (where === 'main' && core.IPSR !== 0) throw new Broken('the processor is in an interrupt; run a little further first');
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
