"use strict";
// The rolling chart: an SVG of the last while. Each curve carries its vessel's name; nothing is told by colour alone.
const Chart = (() => {
  const KEYS = ["liquor_tank", "mash_tun", "boil_kettle"];
  const NAMES = ["tank", "mash", "kettle"];
  const SPACE = "http://www.w3.org/2000/svg";
  let points = [], boot = null, range = 7200, units = "metric";
  const shown = c => units === "us" ? c * 1.8 + 32 : c;
  function load(history) { boot = history.boot; points = history.points.map(p => [p[0], p[1].map(v => v === null ? null : v / 10), p[2].map(v => v === null ? null : v / 10)]); }
  function add(now) {
    const last = points[points.length - 1];
    if (now.boot !== boot || (last && now.at_s < last[0])) { boot = now.boot; points = []; }
    else if (last && now.at_s - last[0] < 2) return;
    const of = KEYS.map(k => now.vessels[k]);
    points.push([now.at_s, of.map(v => v.reading_c), of.map(v => v.demand.kind === "hold" ? v.demand.target_c : null)]);
    if (points.length > 6000) points = points.filter((_, i) => i % 2 === 0);
  }
  const make = (svg, name, attributes, text) => {
    const node = document.createElementNS(SPACE, name);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    if (text !== undefined) node.textContent = text;
    svg.appendChild(node);
  };
  function path(part, x, y, of) {
    let d = "", pen = false;
    for (const p of part) {
      const c = of(p);
      if (c === null) { pen = false; continue; }
      d += (pen ? "L" : "M") + x(p[0]).toFixed(1) + " " + y(shown(c)).toFixed(1);
      pen = true;
    }
    return d;
  }
  function draw(svg) {
    const box = svg.getBoundingClientRect(), w = box.width, h = box.height;
    if (w < 50 || points.length < 2) return;
    svg.setAttribute("viewBox", `0 0 ${w} ${h}`);
    svg.replaceChildren();
    const end = points[points.length - 1][0];
    const start = range ? Math.max(points[0][0], end - range) : points[0][0];
    const part = points.filter(p => p[0] >= start);
    let low = Infinity, high = -Infinity;
    for (const p of part) for (const c of p[1].concat(p[2])) if (c !== null) { low = Math.min(low, shown(c)); high = Math.max(high, shown(c)); }
    if (!(low <= high)) return;
    if (high - low < 10) { low -= 5; high += 5; }
    const every = [5, 10, 20, 40].find(e => (high - low) / e <= 6) || 50;
    low = Math.floor(low / every) * every; high = Math.ceil(high / every) * every;
    const left = 34, right = w - 58, top = 8, bottom = h - 22;
    const x = t => left + (right - left) * (t - start) / Math.max(end - start, 1);
    const y = c => bottom - (bottom - top) * (c - low) / (high - low);
    for (let c = low; c <= high + .1; c += every) {
      make(svg, "line", { class: "grid", x1: left, x2: right, y1: y(c), y2: y(c) });
      make(svg, "text", { x: left - 6, y: y(c) + 4, "text-anchor": "end" }, String(Math.round(c)));
    }
    const gap = [300, 600, 900, 1800, 3600, 7200].find(g => (end - start) / g <= 5) || 14400;
    for (let t = Math.ceil(start / gap) * gap; t <= end; t += gap) {
      const m = Math.round(t / 60);
      make(svg, "text", { x: x(t), y: h - 4, "text-anchor": "middle" }, Math.floor(m / 60) + ":" + String(m % 60).padStart(2, "0"));
    }
    KEYS.forEach((key, i) => make(svg, "path", { class: "set " + key, d: path(part, x, y, p => p[2][i]) }));
    KEYS.forEach((key, i) => make(svg, "path", { class: "curve " + key, d: path(part, x, y, p => p[1][i]) }));
    // Names at the ends of the curves, pushed apart.
    const last = part[part.length - 1];
    const tags = KEYS.map((key, i) => ({ key, name: NAMES[i], c: last[1][i] })).filter(t => t.c !== null);
    tags.forEach(t => { t.y = y(shown(t.c)); });
    tags.sort((a, b) => a.y - b.y);
    for (let i = 1; i < tags.length; i++) tags[i].y = Math.max(tags[i].y, tags[i - 1].y + 17);
    const over = tags.length ? Math.max(0, tags[tags.length - 1].y - bottom) : 0;
    for (const t of tags) make(svg, "text", { class: "label " + t.key, x: right + 8, y: t.y - over + 4 }, t.name);
  }
  return { load, add, draw, range: r => { range = r; }, units: u => { units = u; } };
})();
