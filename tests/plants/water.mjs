// A vessel in layers, with an element that is no single lump, hoses in which water takes its time, and a thermometer in a well.

// Water at 50 C: tests/reference/water_properties.csv (IAPWS-95).
const DENSITY = 988.0; // kg/m3
const HEAT = 4180; // J/(kg K)
const EXPANSION = 4.6e-4; // 1/K, from memory
const PER_LITRE = (DENSITY * HEAT) / 1000; // J/(K L)
const GRAVITY = 9.81;
// A plume takes in what lies around it: flow = C B^(1/3) z^(5/3), C = 0.15 (Morton, Taylor and Turner 1956; the constant from memory).
const ENTRAINMENT = 0.15;
// Still air at a wall, radiation included: 8.3 W/(m2 K) (ASHRAE Handbook of Fundamentals, surface film coefficients; from memory).
const AIR_FILM = 8.3;

/** Heater wire, magnesia in two shells, sheath: heat capacities (J/K) and the resistances outwards (K/W), the last one to the water. Computed
 * for 2.4 m of 8 mm tube: compacted magnesia 2 W/(m K), 960 J/(kg K); nickel alloys 460 J/(kg K); 2 kW/(m2 K) to water (all from memory). */
export class Sheath {
  constructor({ watts, scale = 1, start }) {
    this.watts = watts;
    this.capacity = [20, 70, 185, 105].map((c) => c * scale);
    this.resistance = [0.02, 0.026, 0.012, 0.0083].map((r) => r / scale);
    this.t = this.capacity.map(() => start);
  }

  /** Heat that leaves into water of this temperature, W. */
  step(dt, on, water) {
    const out = this.t.map((t, i) => (t - (this.t[i + 1] ?? water)) / this.resistance[i]);
    this.t = this.t.map((t, i) => t + (dt * ((i ? out[i - 1] : on ? this.watts : 0) - out[i])) / this.capacity[i]);
    return out.at(-1);
  }
}

/** Water in a hose: what goes in comes out after its volume has passed. */
export class Hose {
  constructor({ litres, start }) {
    this.litres = litres;
    this.inside = [{ litres, t: start }];
  }

  push(litres, t) {
    this.inside.unshift({ litres, t });
    let left = litres;
    let heat = 0;
    while (left > 1e-12) {
      const last = this.inside.at(-1);
      const part = Math.min(left, last.litres);
      heat += part * last.t;
      last.litres -= part;
      left -= part;
      if (last.litres <= 1e-12) this.inside.pop();
    }
    return heat / litres;
  }

  get heat() {
    return this.inside.reduce((sum, { litres, t }) => sum + litres * t, 0);
  }
}

/** A thermometer in a well: two lags (s), noise, a new word every `every` seconds in steps of `quantum`. */
export class Well {
  constructor({ lags, quantum = 0, noise = 0, every = 0, start, seed = 1 }) {
    Object.assign(this, { lags, quantum, noise, every, age: Infinity });
    this.t = lags.map(() => start);
    this.random = seed;
  }

  // A linear congruential generator, constants of Numerical Recipes; the sum of twelve is near enough to a normal distribution.
  normal() {
    let sum = -6;
    for (let i = 0; i < 12; i++) {
      this.random = (Math.imul(this.random, 1664525) + 1013904223) >>> 0;
      sum += this.random / 2 ** 32;
    }
    return sum;
  }

  step(dt, liquid) {
    this.t = this.t.map((t, i) => t + ((i ? this.t[i - 1] : liquid) - t) * (1 - Math.exp(-dt / this.lags[i])));
    this.age += dt;
    if (this.age + 1e-9 < this.every) return;
    this.age = 0;
    const t = this.t.at(-1) + this.noise * this.normal();
    this.word = this.quantum ? Math.round(t / this.quantum) * this.quantum : t;
  }
}

/** Layers from the bottom up. The element lies in layer `at`; a pump (L/min) draws at the bottom, and the hose ends at the
 * thermometer, before the water returns at the top. */
export class Tank {
  constructor({ litres, layers, height, at, element, pump, hose, well, air, start, insulation = 0.03 }) {
    Object.assign(this, { litres, at, air, pump: pump / 60 });
    this.layer = litres / layers;
    this.rise = height / layers;
    this.t = Array(layers).fill(start);
    this.sheath = new Sheath({ ...element, start });
    this.hose = new Hose({ litres: hose, start });
    this.well = new Well({ ...well, start });
    this.energy = 0;
    this.lost = 0;
    this.stored = this.content;
    // Wall of each layer through its insulation of 0.04 W/(m K), and the lid with the top one.
    const area = litres / 1000 / height;
    const through = 1 / (1 / AIR_FILM + insulation / 0.04);
    this.loss = this.t.map((_, i) => through * 2 * Math.sqrt(Math.PI * area) * this.rise + (i === layers - 1 ? AIR_FILM * area : 0));
  }

  get mean() {
    return (this.t.reduce((sum, t) => sum + t, 0) * this.layer + this.hose.heat) / (this.litres + this.hose.litres);
  }

  /** The liquid at the thermometer. */
  get there() {
    return this.pump ? this.hose.inside.at(-1).t : this.t[this.at + 1];
  }

  /** What can be held: the whole where a pump turns it over; without one a vessel has layers, and only the thermometer's is known. */
  get judged() {
    return this.pump ? this.mean : this.there;
  }

  /** Heat in water, hose and sheath, J. */
  get content() {
    const water = this.mean * (this.litres + this.hose.litres) * PER_LITRE;
    return this.sheath.t.reduce((sum, t, i) => sum + t * this.sheath.capacity[i], water);
  }

  /** Share of the energy given that is neither in the vessel nor lost to the room. */
  get missing() {
    return (this.energy - this.lost - (this.content - this.stored)) / this.energy;
  }

  step(dt, on) {
    const given = this.sheath.step(dt, on, this.t[this.at]);
    this.lost += this.t.reduce((sum, t, i) => sum + this.loss[i] * (t - this.air), 0) * dt;
    this.energy += on ? this.sheath.watts * dt : 0;
    const change = this.t.map((t, i) => -this.loss[i] * (t - this.air)); // W
    this.plume(given, change);
    const low = this.t[0];
    // What the pump returns at the top goes down through every layer.
    const back = this.pump ? this.hose.push(this.pump * dt, low) : low;
    this.t.forEach((t, i) => (change[i] += this.pump * PER_LITRE * ((this.t[i + 1] ?? back) - t)));
    // Warm below cold turns over within seconds.
    for (let i = 0; i + 1 < this.t.length; i++) {
      const over = (Math.max(0, this.t[i] - this.t[i + 1]) * this.layer * PER_LITRE) / 4;
      change[i] -= over;
      change[i + 1] += over;
    }
    this.t = this.t.map((t, i) => t + (dt * change[i]) / (this.layer * PER_LITRE));
    this.well.step(dt, this.there);
  }

  /** The element's heat rises as a plume that takes water in, and spreads where it is no warmer than what lies there. Through each border it
   * passes as much comes back down as went up. */
  plume(watts, change) {
    const buoyancy = (GRAVITY * EXPANSION * Math.max(watts, 0)) / (DENSITY * HEAT);
    const flow = (z) => 1000 * ENTRAINMENT * Math.cbrt(buoyancy) * z ** (5 / 3); // L/s
    let to = this.at;
    let over = watts / Math.max(flow(this.rise / 2) * PER_LITRE, 1e-9); // K above what it rises through
    while (watts > 0 && to + 1 < this.t.length && this.t[to] + over > this.t[to + 1]) {
      const passing = flow(this.rise * (to - this.at + 0.5));
      const down = passing * PER_LITRE * (this.t[to + 1] - this.t[to]);
      change[to] += down;
      change[to + 1] -= down;
      to += 1;
      over = watts / (flow(this.rise * (to - this.at + 0.5)) * PER_LITRE);
    }
    change[to] += watts;
  }
}
