// The parts around the chip, at the level of their pins and registers.

import { GPIOPinState } from 'rp2040js';

const LINES = ['contactor', 'tank_element', 'kettle_element', 'liquor_pump', 'mash_pump', 'wort_pump'];

/** The lines to the power side: how long each was high, how often it rose, and whether both elements were ever high together. */
export class Lines {
  constructor(pins) {
    // `stuck`: where something holds the pad, whatever drives it.
    this.pins = LINES.map((name) => ({ name, pin: pins[name], level: false, since: 0, on: 0, rises: 0, fell: 0, stuck: null }));
    this.both = 0;
    /** Shortest time from one element's fall to the other's rise, ns. */
    this.gap = null;
  }

  attach(chip) {
    this.chip = chip;
    for (const line of this.pins) {
      const gpio = chip.mcu.gpio[line.pin];
      gpio.addListener((state) => this.change(line, state === GPIOPinState.High));
      gpio.setInputValue(line.stuck ?? line.level);
    }
  }

  change(line, level) {
    if (line.level === level) return;
    const now = this.chip.nanos;
    if (level) {
      line.since = now;
      line.rises++;
    } else {
      line.on += now - line.since;
      line.fell = now;
    }
    line.level = level;
    this.chip.mcu.gpio[line.pin].setInputValue(line.stuck ?? level);
    const [, tank, kettle] = this.pins;
    if (tank.level && kettle.level) this.both++;
    const other = line === tank ? kettle : line === kettle ? tank : null;
    if (level && other !== null && other.fell > line.fell) this.gap = Math.min(this.gap ?? Infinity, now - other.fell);
  }

  /** Something holds a pad high or low; null lets it go. */
  stick(name, stuck) {
    const line = this.pins.find((line) => line.name === name);
    line.stuck = stuck;
    this.chip.mcu.gpio[line.pin].setInputValue(stuck ?? line.level);
  }

  /** A reset: every pin is an input, and its resistor holds it low. */
  lower() {
    for (const line of this.pins) this.change(line, false);
  }

  get anyHigh() {
    return this.pins.some((line) => line.level);
  }

  get levels() {
    return Object.fromEntries(this.pins.map((line) => [line.name, line.level]));
  }

  /** Time high since the last report, in ns, and the present levels. */
  report() {
    const now = this.chip.nanos;
    const report = {};
    for (const line of this.pins) {
      const on = line.on + (line.level ? now - line.since : 0);
      report[line.name] = { level: line.level, on_ns: on, rises: line.rises, fell_ns: line.fell };
      line.on = 0;
      line.since = now;
    }
    return report;
  }
}

/** Contacts to ground: closed pulls the pin low, open leaves it to its pull-up. */
export class Contacts {
  constructor(pins) {
    this.closed = Object.fromEntries(
      ['stop_loop', 'key', 'button', 'knob_a', 'knob_b', 'knob_push'].map((name) => [name, false]),
    );
    this.pins = pins;
  }

  attach(chip) {
    this.chip = chip;
    for (const name of Object.keys(this.closed)) this.set(name, this.closed[name]);
  }

  set(name, closed) {
    if (!(name in this.closed)) throw new Error(`no contact is called ${name}`);
    this.closed[name] = closed;
    this.chip.mcu.gpio[this.pins[name]].setInputValue(!closed);
  }
}

/** MAX31865: eight registers behind a select line. */
class Rtd {
  constructor() {
    this.registers = [0, 0, 0, 0xff, 0xff, 0, 0, 0];
    this.code = 0;
    this.address = null;
    this.selected = false;
    this.unplugged = false;
  }

  select(on) {
    this.selected = on;
    this.address = null;
  }

  transfer(byte) {
    if (this.unplugged) return 0xff;
    if (this.address === null) {
      this.writing = (byte & 0x80) !== 0;
      this.address = byte & 7;
      this.convert();
      return 0;
    }
    const at = this.address;
    this.address = (at + 1) & 7;
    if (!this.writing) return this.registers[at];
    if (at === 0) {
      if (byte & 2) {
        this.registers[7] = 0;
        this.registers[2] &= ~1;
      }
      this.registers[0] = byte & ~2;
    } else if (at >= 3 && at <= 6) {
      this.registers[at] = byte;
    }
    return 0;
  }

  convert() {
    // Without bias and automatic conversion nothing is measured.
    if ((this.registers[0] & 0xc0) !== 0xc0) return;
    const word = this.code << 1;
    const high = (this.registers[3] << 8) | this.registers[4];
    const low = (this.registers[5] << 8) | this.registers[6];
    if (word >= high) this.registers[7] |= 0x80;
    if (word <= low) this.registers[7] |= 0x40;
    const bits = word | (this.registers[7] ? 1 : 0);
    this.registers[1] = bits >> 8;
    this.registers[2] = bits & 0xff;
  }
}

/** The SPI bus with a front end per vessel. Each byte takes its eight clocks. */
export class Spi {
  constructor(pins) {
    this.chips = { liquor_tank: new Rtd(), mash_tun: new Rtd(), boil_kettle: new Rtd() };
    this.pins = { liquor_tank: pins.tank_select, mash_tun: pins.mash_select, boil_kettle: pins.kettle_select };
    this.stuck = false;
    this.stuckHigh = false;
  }

  attach(chip) {
    const { mcu, clock } = chip;
    const spi = mcu.spi[0];
    for (const [name, rtd] of Object.entries(this.chips)) {
      rtd.select(false);
      mcu.gpio[this.pins[name]].addListener((state) => rtd.select(state === GPIOPinState.Low));
    }
    this.answer = 0;
    this.alarm = clock.createAlarm(() => spi.completeTransmit(this.answer));
    spi.onTransmit = (byte) => {
      // A bus that never finishes: whoever waits for it hangs.
      if (this.stuck) return;
      const selected = Object.values(this.chips).filter((rtd) => rtd.selected);
      if (selected.length > 1) throw new Error('two front ends are selected at once');
      this.answer = this.stuckHigh ? 0xff : (selected[0]?.transfer(byte) ?? 0xff);
      this.alarm.schedule((spi.dataBits * 1e9) / spi.clockFrequency);
    };
  }
}

/** The I2C bus: an SSD1306 and two PCF8574, for the selector and for the sense lines. */
export class I2c {
  constructor() {
    this.ram = new Uint8Array(1024);
    Object.assign(this, { page: 0, column: 0, on: false, latch: 0xff, outside: 0xff, expander: false, display: true, bytes: 0 });
    // What pulls the sense lines low; null: their expander is not there.
    Object.assign(this, { sense: null, senseLatch: 0xff });
  }

  attach(chip) {
    const i2c = chip.mcu.i2c[0];
    Object.assign(this, { control: null, address: 0 });
    i2c.onStart = () => i2c.completeStart();
    i2c.onStop = () => i2c.completeStop();
    i2c.onConnect = (to) => {
      Object.assign(this, { control: null, address: to });
      i2c.completeConnect(
        (to === 0x3c && this.display) || (to === 0x20 && this.expander) || (to === 0x21 && this.sense !== null),
      );
    };
    i2c.onWriteByte = (byte) => {
      this.bytes++;
      if (this.address === 0x20) this.latch = byte;
      else if (this.address === 0x21) this.senseLatch = byte;
      else if (this.control === null) this.control = byte;
      else if (this.control === 0x40) this.pixels(byte);
      else this.command(byte);
      i2c.completeWrite(true);
    };
    i2c.onReadByte = () =>
      i2c.completeRead(this.address === 0x21 ? this.senseLatch & ~this.sense & 0xff : this.latch & this.outside);
  }

  pixels(byte) {
    this.ram[this.page * 128 + this.column] = byte;
    this.column = Math.min(this.column + 1, 127);
  }

  command(byte) {
    if (byte >= 0xb0 && byte <= 0xb7) this.page = byte & 7;
    else if (byte <= 0x0f) this.column = (this.column & 0xf0) | byte;
    else if (byte >= 0x10 && byte <= 0x17) this.column = (this.column & 0x0f) | ((byte & 7) << 4);
    else if (byte === 0xaf) this.on = true;
    else if (byte === 0xae) this.on = false;
  }
}

/** The analogue pins, and the chip's own thermometer with some noise. */
export class Adc {
  constructor() {
    this.codes = [2048, 2048, 2048, 0, 876];
    this.seed = 1;
  }

  attach(chip) {
    const { adc } = chip.mcu;
    this.alarm = chip.clock.createAlarm(() => adc.completeADCRead(this.codes[this.channel], false));
    adc.onADCRead = (channel) => {
      if (channel === 4) {
        this.seed = (Math.imul(this.seed, 1664525) + 1013904223) >>> 0;
        this.codes[4] = 872 + (this.seed >>> 29);
      }
      this.channel = channel;
      this.alarm.schedule(2000);
    };
  }
}

/** A turbine's switch, which pulls its line down and lets it go: so many pulses per second. */
export class FlowMeter {
  constructor(pins) {
    Object.assign(this, { pin: pins.mash_ntc, hertz: 0, level: true });
  }

  attach(chip) {
    this.gpio = chip.mcu.gpio[this.pin];
    this.alarm = chip.clock.createAlarm(() => this.turn());
    this.set(this.hertz);
  }

  set(hertz) {
    this.hertz = hertz;
    this.alarm.cancel();
    if (hertz > 0) this.alarm.schedule(5e8 / hertz);
  }

  turn() {
    this.level = !this.level;
    this.gpio.setInputValue(this.level);
    this.alarm.schedule(5e8 / this.hertz);
  }
}
