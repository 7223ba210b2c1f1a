// The one-wire bus.

import { GPIOPinState } from 'rp2040js';

/** DS18B20 on an open-drain pin, bit by bit. Reset, skip, match and search of ROM codes, convert, read. */
export class OneWire {
  constructor(pins) {
    this.pin = pins.one_wire;
    this.devices = [];
    this.shorted = false;
    this.low = false;
    this.conversions = 0;
  }

  /** A thermometer with a ROM code; its word is what a conversion would find now. */
  add(rom) {
    const device = { rom, word: 0x0550, scratchpad: scratchpad(0x0550, 0x0c), state: 'idle', bits: [], out: [] };
    this.devices.push(device);
    return device;
  }

  attach(chip) {
    this.chip = chip;
    this.gpio = chip.mcu.gpio[this.pin];
    this.fell = 0;
    this.heldUntil = 0;
    this.low = false;
    this.release = chip.clock.createAlarm(() => this.settle());
    this.presence = chip.clock.createAlarm(() => this.hold(120e3));
    this.gpio.addListener((state) => {
      const low = state === GPIOPinState.Low;
      if (low !== this.low) (low ? this.fall() : this.rise(), this.settle());
    });
    this.settle();
  }

  /** The line is low while anyone pulls it. */
  settle() {
    const held = this.chip.nanos < this.heldUntil - 1;
    this.gpio.setInputValue(!(this.low || held || this.shorted));
  }

  hold(nanos) {
    this.heldUntil = this.chip.nanos + nanos;
    this.release.schedule(nanos);
    this.settle();
  }

  fall() {
    this.low = true;
    this.fell = this.chip.nanos;
    for (const device of this.devices) {
      if (device.out.length > 0 && device.out[0] === 0) this.hold(30e3);
    }
  }

  rise() {
    this.low = false;
    const width = (this.chip.nanos - this.fell) / 1000;
    if (width >= 480) {
      for (const device of this.devices) Object.assign(device, { state: 'rom', bits: [], out: [] });
      if (this.devices.length > 0) this.presence.schedule(30e3);
      return;
    }
    // The datasheet: 1 to 15 us is a one or a read, 60 to 120 us a zero; between them nothing is promised.
    if (width > 15 && width < 60) throw new Error(`a one-wire slot of ${width} us`);
    if (width > 300) throw new Error(`a one-wire zero of ${width} us`);
    const bit = width <= 15 ? 1 : 0;
    for (const device of this.devices) this.slot(device, bit);
  }

  slot(device, bit) {
    if (device.out.length > 0) {
      device.out.shift();
      return;
    }
    if (device.state === 'search') {
      this.search(device, bit);
      return;
    }
    if (device.state === 'idle') return;
    device.bits.push(bit);
    if (device.state === 'match') {
      if (device.bits.length === 64) {
        device.state = bytes(device.bits).every((byte, i) => byte === device.rom[i]) ? 'function' : 'idle';
        device.bits = [];
      }
      return;
    }
    if (device.bits.length < 8) return;
    const [command] = bytes(device.bits);
    device.bits = [];
    this.command(device, command);
  }

  command(device, command) {
    if (device.state === 'rom') {
      if (command === 0xcc) device.state = 'function';
      else if (command === 0x55) device.state = 'match';
      else if (command === 0xf0) Object.assign(device, { state: 'search', at: 0 }) && this.offer(device);
      else throw new Error(`one-wire ROM command ${command.toString(16)}`);
    } else if (command === 0x44) {
      this.conversions++;
      const at = this.chip.nanos;
      Object.assign(device, { state: 'idle', pending: { at, word: device.word } });
    } else if (command === 0xbe) {
      const { pending } = device;
      if (pending && this.chip.nanos - pending.at >= 750e6) device.scratchpad = scratchpad(pending.word, 0x10);
      device.state = 'idle';
      device.out = device.scratchpad.flatMap((byte) => [...Array(8).keys()].map((i) => (byte >> i) & 1));
    } else {
      throw new Error(`one-wire command ${command.toString(16)}`);
    }
  }

  offer(device) {
    const bit = (device.rom[device.at >> 3] >> (device.at & 7)) & 1;
    device.out = [bit, 1 - bit];
  }

  search(device, chosen) {
    const bit = (device.rom[device.at >> 3] >> (device.at & 7)) & 1;
    device.at++;
    if (bit !== chosen || device.at === 64) device.state = 'idle';
    else this.offer(device);
  }
}

function bytes(bits) {
  const out = [];
  for (let i = 0; i < bits.length; i += 8) out.push(bits.slice(i, i + 8).reduce((byte, bit, n) => byte | (bit << n), 0));
  return out;
}

function scratchpad(word, reserved) {
  const body = [word & 0xff, (word >> 8) & 0xff, 0x4b, 0x46, 0x7f, 0xff, reserved, 0x10];
  return [...body, crc8(body)];
}

function crc8(data) {
  let crc = 0;
  for (const byte of data) {
    crc ^= byte;
    for (let i = 0; i < 8; i++) crc = crc & 1 ? (crc >> 1) ^ 0x8c : crc >> 1;
  }
  return crc;
}
