// Drives the program at argv[2] through the scenario at argv[3] and prints one line of figures.

import { Controller } from './drive.mjs';
import { Tank } from './water.mjs';

const [, , program, scenario] = process.argv;
const DT = 0.05; // s, of the plant

// One-wire thermometer: a sixteenth of a kelvin every 0.75 s (datasheet of the DS18B20, 12 bits).
const oneWire = { quantum: 0.0625, noise: 0.02, every: 0.75 };
const TANKS = {
  pumped: { litres: 38, layers: 5, height: 0.42, at: 0, pump: 14, hose: 0.9, air: 18, start: 14.3,
    element: { watts: 4500 }, well: { lags: [4, 3], ...oneWire, seed: 7 } },
  still: { litres: 60, layers: 4, height: 0.45, at: 0, pump: 0, hose: 1e-6, air: 21, start: 22.8,
    element: { watts: 5500, scale: 1.3 }, well: { lags: [9, 5], ...oneWire, seed: 8 }, insulation: 0 },
  small: { litres: 24, layers: 3, height: 0.33, at: 0, pump: 9, hose: 0.5, air: 24, start: 18.1,
    element: { watts: 2400, scale: 0.8 }, well: { lags: [7, 2], noise: 0.03, seed: 9 }, insulation: 0 },
};

/** One vessel under the controller. `each(t, tank, answer)` may add to the next line. */
async function run({ vessel, plant, seconds, step, first, each }) {
  const controller = new Controller(program);
  const tank = new Tank(plant);
  tank.well.step(DT, plant.start);
  let add = { switches: { stop_loop: true, key: true }, commands: [{ arm: true }, { demand: { vessel, ...first } }] };
  for (let n = 0; n * step < seconds; n++) {
    const t_s = Number((n * step).toFixed(6));
    const answer = await controller.send({ t_s, probes_c: { [vessel]: tank.well.word }, ...add });
    const on = answer.element === vessel;
    if (answer.element && !on) throw new Error(`${answer.element} has no demand`);
    for (let i = 0; i < Math.round(step / DT); i++) tank.step(DT, on);
    add = each(t_s + step, tank, answer) ?? {};
  }
  return { tank, code: await controller.end() };
}

/** When full power without end would have brought it this far, s. */
function least(plant, to) {
  const tank = new Tank(plant);
  let t = 0;
  for (; tank.judged < to && t < 4 * 3600; t += DT) tank.step(DT, true);
  return t;
}

async function heat(name, vessel, target, step) {
  const plant = TANKS[name];
  const figures = { highest: -Infinity, out_at_s: 0, trips: [], refused: [] };
  const { tank, code } = await run({
    vessel, plant, step, seconds: 3 * 3600, first: { hold_c: target },
    each: (t, now, answer) => {
      figures.highest = Math.max(figures.highest, now.judged);
      if (Math.abs(now.judged - target) > 0.3) figures.out_at_s = t;
      figures.trips.push(...answer.trips);
      figures.refused.push(...answer.refused);
    },
  });
  return { ...figures, code, over_k: figures.highest - target, end_k: tank.judged - target, missing: tank.missing,
    least_s: least(plant, target - 0.3) };
}

/** In mid-ramp something happens; what is given afterwards. */
async function cut(name, vessel, event) {
  const plant = TANKS[name];
  const at = 600;
  let given = null;
  const figures = { last_on_s: 0, trips: [], after_k: 0 };
  await run({
    vessel, plant, step: 0.25, seconds: at + 1800, first: { hold_c: 71 },
    each: (t, tank, answer) => {
      if (answer.element) figures.last_on_s = t - at;
      if (t === at) given = { energy: tank.energy, mean: tank.mean };
      if (given) figures.after_k = Math.max(figures.after_k, tank.mean - given.mean);
      for (const trip of answer.trips) if (!figures.trips.includes(trip)) figures.trips.push(trip);
      if (event === 'stop') {
        if (t === at) return { switches: { stop_loop: false } };
        if (t === at + 300) return { switches: { stop_loop: true } };
      }
      if (event === 'probe' && t >= at && t < at + 300) return { probes_c: { [vessel]: null } };
      if (t === at + 600) return { commands: [{ demand: { vessel, hold_c: 71 } }] };
    },
  });
  return figures;
}

/** Both vessels want heat, in steps of 20 ms. */
async function both() {
  const controller = new Controller(program);
  const tanks = { liquor_tank: new Tank({ ...TANKS.pumped, start: 69.5 }), boil_kettle: new Tank({ ...TANKS.still, start: 60 }) };
  for (const tank of Object.values(tanks)) tank.well.step(DT, tank.t[0]);
  let add = { switches: { stop_loop: true, key: true }, commands: [{ arm: true },
    { demand: { vessel: 'liquor_tank', hold_c: 70 } }, { demand: { vessel: 'boil_kettle', hold_c: 90 } }] };
  const figures = { changes: 0, gap_s: Infinity, on_s: { liquor_tank: 0, boil_kettle: 0 }, trips: [], worst_k: 0 };
  let last = null; // { vessel, until }
  const step = 0.02;
  for (let n = 0; n * step < 2400; n++) {
    const t_s = Number((n * step).toFixed(6));
    const probes_c = Object.fromEntries(Object.entries(tanks).map(([vessel, tank]) => [vessel, tank.well.word]));
    const { element, trips } = await controller.send({ t_s, probes_c, ...add });
    add = {};
    figures.trips.push(...trips);
    for (const [vessel, tank] of Object.entries(tanks)) tank.step(step, element === vessel);
    if (element) {
      figures.on_s[element] += step;
      if (last && last.vessel !== element) {
        figures.changes += 1;
        figures.gap_s = Math.min(figures.gap_s, t_s - last.until);
      }
      last = { vessel: element, until: t_s + step };
    }
    if (t_s > 1200) figures.worst_k = Math.max(figures.worst_k, Math.abs(tanks.liquor_tank.mean - 70));
  }
  return { ...figures, kettle_c: tanks.boil_kettle.mean, code: await controller.end() };
}

const scenarios = {
  pumped: () => heat('pumped', 'liquor_tank', 71, 0.25),
  still: () => heat('still', 'boil_kettle', 66, 0.25),
  small: () => heat('small', 'liquor_tank', 76, 1),
  stop: () => cut('pumped', 'liquor_tank', 'stop'),
  probe: () => cut('still', 'boil_kettle', 'probe'),
  both,
};
console.log(JSON.stringify(await scenarios[scenario]()));
