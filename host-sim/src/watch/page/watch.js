"use strict";
const $ = id => document.getElementById(id);
const KEYS = ["liquor_tank", "mash_tun", "boil_kettle"];
const NAMES = { liquor_tank: "liquor tank", mash_tun: "mash tun", boil_kettle: "boil kettle" };
const STALE_S = 3;
let about = null, now = null, token = "", readOnly = false, heard = performance.now(), events = null, drawn = 0;
let sounds = null, called = {}, figureFor = "", figureTouched = false, opened = 0, asked = 0;
const us = () => about && about.units === "us";
const degrees = () => us() ? "°F" : "°C";
const temp = c => (us() ? c * 1.8 + 32 : c).toFixed(1);
const volume = l => us() ? (l / 3.785411784).toFixed(2) + " gal" : l.toFixed(1) + " L";
const text = (id, value) => { const node = $(id); if (node.textContent !== value) node.textContent = value; };
const show = (id, yes) => { $(id).hidden = !yes; };
const two = n => String(n).padStart(2, "0");
function clock(s) { s = Math.max(0, Math.ceil(s)); const h = Math.floor(s / 3600), m = Math.floor(s / 60) % 60; return h ? h + ":" + two(m) + ":" + two(s % 60) : m + ":" + two(s % 60); }
function span(s) { s = Math.max(0, s); return s < 90 ? Math.round(s) + " s" : s < 5400 ? Math.round(s / 60) + " min" : Math.floor(s / 3600) + " h " + two(Math.round(s / 60) % 60) + " min"; }

// What is refused is always told; that something is done only if nothing was asked since, or a late answer would cover a refusal.
async function ask(path, body, done = "") {
  const turn = ++asked;
  const response = await fetch(path, { method: "POST", headers: { "content-type": "application/json", "x-copperhold-token": token }, body: JSON.stringify(body) }).catch(() => null);
  const said = response ? await response.json().catch(() => ({})) : { error: "Not done: the watch program does not answer. Go to the panel" };
  if (response && response.status === 401) await enter();
  const ok = response !== null && response.ok;
  if (!ok) text("said", (said.error || "Not done") + ".");
  else if (turn === asked) text("said", done);
  return ok;
}
// Without the code there is nothing to see: the form stands alone.
function unpaired(yes) {
  const before = document.body.classList.contains("unpaired");
  document.body.classList.toggle("unpaired", yes);
  show("pair", yes);
  if (yes && !before) $("code").focus();
}
async function enter() {
  for (let attempt = 0; attempt < 2; attempt++) {
    const response = await fetch("/api/session").catch(() => null);
    if (response && response.ok) {
      ({ token, read_only: readOnly } = await response.json());
      unpaired(false);
      return true;
    }
    if (!response) return false;
    // On this machine the page itself opens a session; elsewhere the code does.
    if (response.status === 401 && attempt === 0) await fetch("/").catch(() => null);
    else { unpaired(response.status === 401); return false; }
  }
  return false;
}
async function listen() {
  if (events) events.close();
  events = null;
  if (!await enter()) { setTimeout(listen, 2000); return; }
  const history = await fetch("/api/history").then(r => r.json()).catch(() => null);
  if (history) Chart.load(history);
  events = new EventSource("/api/events");
  opened = performance.now();
  events.addEventListener("about", e => { about = JSON.parse(e.data); sheet(); });
  events.addEventListener("now", e => { now = JSON.parse(e.data); heard = performance.now(); Chart.add(now); draw(); });
  events.onerror = () => { if (events && events.readyState === EventSource.CLOSED) setTimeout(listen, 2000); };
}

function call(key, words, urgent) {
  if (called[key]) return;
  called[key] = true;
  text("call", words);
  if (sounds) {
    const notes = urgent ? [880, 660, 880, 660] : [660, 880];
    notes.forEach((hz, i) => {
      const tone = sounds.createOscillator(), gain = sounds.createGain(), at = sounds.currentTime + i * .22;
      tone.frequency.value = hz;
      gain.gain.setValueAtTime(0, at); gain.gain.linearRampToValueAtTime(.3, at + .02); gain.gain.linearRampToValueAtTime(0, at + .2);
      tone.connect(gain).connect(sounds.destination); tone.start(at); tone.stop(at + .21);
    });
  }
  if ("Notification" in window && Notification.permission === "granted") { try { new Notification("Copperhold", { body: words, tag: key }); } catch (e) { /* Some phones allow none from a page. */ } }
}
// Called for in the last three minutes; whoever opens the page later is not called for what is past.
const isDue = a => a.called_s !== null && now.at_s - a.called_s < 180;
const named = a => (a.amount ? a.amount + " " : "") + a.name;
// A call is made once; what is over may be called again.
function callWhile(key, yes, words, urgent) { if (yes) call(key, words, urgent); else delete called[key]; }

function age() {
  const silent = (performance.now() - heard) / 1000;
  const total = now ? now.age_s + silent : silent;
  const gone = silent >= STALE_S || !now;
  const stale = gone || now.stale;
  // A network that died without a word tells the browser nothing.
  if (events && events.readyState === EventSource.OPEN && silent > 10 && performance.now() - opened > 10000) listen();
  document.body.classList.toggle("stale", stale);
  show("lost", stale);
  if (stale) {
    text("lost-what", !now ? "Connecting" : gone ? "No news from the watch program" : now.link.state === "waiting" ? "Waiting for the board" : "No news from the controller");
    const why = !gone && now.link.why ? now.link.why + ". " : "";
    text("lost-why", now && now.link.state !== "waiting" ? why + "What is shown is " + span(total) + " old. Go and look at the panel." : why);
    callWhile("lost", now && now.link.state !== "waiting", "The link is lost. Go and look at the panel.", true);
  } else callWhile("lost", false);
  text("age", now && !stale && now.link.state === "live" ? "live, " + total.toFixed(1) + " s old" : "");
}

function draw() {
  const source = now.source;
  text("source", source.kind === "rehearsal" ? "Rehearsal ×" + source.speed + ", no water is heated" : "Board on " + source.port);
  const over = now.link.state === "over";
  text("standing", over && !now.trip ? "The rehearsed day is over" : now.trip ? "Tripped" : now.armed ? (now.grant ? "Armed, heating the " + NAMES[now.grant] : "Armed") : "Not armed" + (now.block ? ": " + now.block : ""));
  show("trip", !!now.trip);
  if (now.trip) { text("trip-cause", now.trip.cause); text("trip-remedy", now.trip.remedy.replace(/\.$/, "")); }
  callWhile("trip", !!now.trip, now.trip ? "Tripped: " + now.trip.cause : "", true);
  vessels();
  step(over);
  const warn = now.advice.map(a => a.text).concat(now.cautions);
  show("warnings", warn.length > 0);
  list($("advice"), warn.map(w => ({ text: w })));
  if (performance.now() - drawn > 900) { drawn = performance.now(); Chart.draw($("chart")); }
  age();
}

function list(node, items) {
  const said = JSON.stringify(items);
  if (node.dataset.said === said) return;
  node.dataset.said = said;
  node.replaceChildren(...items.map(item => {
    const li = document.createElement("li");
    if (item.kind) li.className = item.kind;
    if (item.current) li.setAttribute("aria-current", "step");
    for (const part of item.parts || [item.text]) {
      const span = document.createElement("span");
      span.textContent = Array.isArray(part) ? part[0] : part;
      if (Array.isArray(part)) span.className = part[1];
      li.append(span);
    }
    return li;
  }));
}

// A demand without a sheet: closed until it is wanted, and gone while a sheet runs or nobody has armed.
function byHand(key) {
  const hand = document.createElement("details"), name = NAMES[key];
  hand.className = "hand";
  hand.hidden = true;
  hand.innerHTML = '<summary>By hand</summary><form novalidate><div class="kinds" role="group"><button type="button" data-kind="target" aria-pressed="true">Temperature</button><button type="button" data-kind="share" aria-pressed="false">Power</button></div><span class="entry"><input type="number" inputmode="decimal" step="any"><span class="unit" aria-hidden="true"></span></span><button class="set" type="submit">Set</button><button class="off" type="button">Off</button></form>';
  const find = s => hand.querySelector(s), input = find("input"), kinds = [...hand.querySelectorAll("[data-kind]")];
  find("summary").setAttribute("aria-label", "By hand: " + name);
  find(".off").setAttribute("aria-label", "Off: no heat for the " + name);
  find(".kinds").setAttribute("aria-label", "What to set for the " + name);
  find(".kinds").hidden = key === "mash_tun";
  let kind = "target";
  const choose = to => {
    kind = to;
    kinds.forEach(b => b.setAttribute("aria-pressed", String(b.dataset.kind === kind)));
    const v = now && now.vessels[key].demand;
    find(".unit").textContent = kind === "share" ? "%" : degrees();
    input.setAttribute("aria-label", kind === "share" ? "Share of full power for the " + name + ", percent" : "Temperature for the " + name + ", " + degrees());
    input.value = !v ? "" : kind === "share" ? (v.kind === "percent" ? Math.round(v.share * 100) : "") : v.kind === "hold" ? temp(v.target_c) : "";
  };
  kinds.forEach(b => b.addEventListener("click", () => choose(b.dataset.kind)));
  hand.addEventListener("toggle", () => hand.open && choose(now.vessels[key].demand.kind === "percent" ? "share" : "target"));
  find("form").addEventListener("submit", async e => {
    e.preventDefault();
    const value = Number(input.value);
    if (input.value.trim() === "" || !Number.isFinite(value)) { text("said", "Give a number for the " + name + "."); input.focus(); return; }
    const body = kind === "share" ? { act: "share", vessel: key, share: value / 100 } : { act: "target", vessel: key, target_c: us() ? (value - 32) / 1.8 : value };
    await ask("/api/act", body, "The " + name + " is asked for " + (kind === "share" ? value + " % of full power." : value.toFixed(1) + " " + degrees() + "."));
  });
  find(".off").addEventListener("click", () => ask("/api/act", { act: "off", vessel: key }, "No heat is asked for the " + name + "."));
  return hand;
}

function vessels() {
  const box = $("vessels");
  if (!box.firstChild) for (const key of KEYS) {
    const article = document.createElement("article");
    article.className = "vessel " + key;
    article.innerHTML = '<h2><span></span><span class="heat"></span></h2><div class="reading"><div class="t"><span></span><small></small></div><div class="target"></div></div><p class="fault" hidden></p>' + (key === "mash_tun" ? "" : '<div class="power" aria-hidden="true"><div></div></div>');
    article.querySelector("h2 span").textContent = NAMES[key];
    article.append(byHand(key));
    box.append(article);
  }
  KEYS.forEach((key, i) => {
    const v = now.vessels[key], article = box.children[i], find = s => article.querySelector(s);
    const put = (node, value) => { if (node.textContent !== value) node.textContent = value; };
    put(find(".t span"), v.reading_c === null ? "––" : temp(v.reading_c));
    put(find(".t small"), degrees());
    const fault = find(".fault");
    fault.hidden = !v.fault;
    if (v.fault) put(fault, "The probe " + v.fault.cause + ". " + v.fault.remedy);
    const on = now.grant === key && v.duty > 0;
    put(find(".heat"), v.duty === null ? (now.pumps.mash ? "recirculates" : "") : on ? "heating, " + Math.round(v.duty * 100) + " %" : v.wanted > 0 ? "waits its turn" : "element off");
    const target = find(".target");
    const wanted = v.demand.kind === "hold" ? [temp(v.demand.target_c) + " " + degrees(), "target"] : v.demand.kind === "percent" ? [Math.round(v.demand.share * 100) + " %", "of full power"] : ["", ""];
    if (target.dataset.said !== wanted.join()) {
      target.dataset.said = wanted.join();
      const small = document.createElement("small");
      small.textContent = wanted[1];
      target.replaceChildren(wanted[0], small);
    }
    const hand = find(".hand"), mayHand = !readOnly && now.armed && !now.trip && !now.step && now.link.state === "live";
    if (hand.hidden === mayHand) hand.hidden = !mayHand;
    hand.querySelector(".off").disabled = v.demand.kind === "off";
    const bar = find(".power div");
    if (bar) bar.style.width = (on ? v.duty * 100 : 0) + "%";
  });
}

function step(over) {
  const s = now.step, t = now.timer;
  text("now-count", s ? "Step " + (s.index + 1) + (s.of ? " of " + s.of : "") : "");
  text("now-name", over ? (now.trip ? "The day ended in a trip" : "The day is over") : s ? s.name : "No sheet runs");
  text("now-doing", s && !over ? s.doing + (t && t.held ? ", timer stopped" : "") : "");
  show("timer", !!t && !over);
  show("bar", !!t && !!t.of_s && !over);
  if (t) { text("timer-left", clock(t.left_s)); text("timer-what", t.held ? "left, stopped" : "left"); if (t.of_s) $("bar-done").style.width = 100 * (1 - t.left_s / t.of_s) + "%"; }
  text("now-next", s && s.next && !over ? "Next: " + s.next : "");
  const p = over ? null : now.prompt;
  show("prompt", !!p);
  if (p) {
    text("prompt-text", p.text + (p.litres ? ": " + volume(p.litres) : "") + ".");
    text("answer", p.covers ? "I have looked: the element is covered" : "Done, go on");
    $("answer").disabled = readOnly || !now.armed;
  }
  callWhile("prompt " + (p ? p.key : ""), !!p, p ? p.text : "", false);
  for (const key in called) if (key.startsWith("prompt ") && (!p || key !== "prompt " + p.key)) delete called[key];
  const items = over ? [] : now.additions;
  show("additions", items.length > 0);
  list($("additions"), items.map(a => {
    const name = named(a);
    const recent = isDue(a);
    return { kind: recent ? "due" : a.called_s !== null ? "done" : "", parts: [recent ? "Add now: " + name : name, a.called_s !== null ? (recent ? "due" : "called") : a.due_in_s === null ? "" : "in " + span(a.due_in_s)] };
  }));
  items.forEach((a, i) => { if (isDue(a)) call("addition " + now.boot + " " + i + " " + a.called_s, "Add now: " + named(a), false); });
  const may = !readOnly && !over && now.armed && !now.trip && s;
  show("controls", !!may);
  show("stop", !readOnly && !over);
  if (may) {
    show("hold", !!t);
    text("hold", t && t.held ? "Let the timer run" : "Stop the timer");
    show("step-on", s.may_step_on);
    show("adjust", !!s.may_adjust);
    const wanted = s.may_adjust + s.index;
    if (figureFor !== wanted) figureTouched = false;
    if (s.may_adjust && !figureTouched) {
      const key = ["liquor_tank", "mash_tun"].map(k => now.vessels[k]);
      const held = s.may_adjust === "share" ? now.vessels.boil_kettle.demand : (key[1].demand.kind === "hold" ? key[1] : key[0]).demand;
      const value = s.may_adjust === "share" ? (held.kind === "percent" ? held.share * 100 : null) : held.kind === "hold" ? Number(temp(held.target_c)) : null;
      if (value !== null) { figureFor = wanted; $("figure").value = Math.round(value * 10) / 10; }
      else if (figureFor !== wanted) show("adjust", false);
      text("figure-label", s.may_adjust === "share" ? "Share of full power" : "Target");
      text("figure-unit", s.may_adjust === "share" ? "%" : degrees());
    }
  }
  if (about) list($("steps"), about.steps.map((a, i) => ({ kind: (over && !now.trip) || (s && i < s.index) ? "past" : "", current: s && i === s.index && !over, parts: [(over && !now.trip) || (s && i < s.index) ? "✓" : String(i + 1), a.name, [a.figures, "of"]] })));
}
function sheet() {
  text("sheet-name", about.sheet || "Copperhold");
  document.title = (about.sheet || "Watch") + " – Copperhold";
  show("sheet", about.steps.length > 0);
  Chart.units(about.units);
  if (now) draw();
}

// What takes heat away is done at once; what ends a step is asked for twice.
function twice(id, words, act) {
  const button = $(id);
  let until = 0, before = "";
  button.addEventListener("click", () => {
    if (performance.now() < until) { until = 0; text(id, before); act(); return; }
    before = button.textContent; until = performance.now() + 5000;
    text(id, words);
    setTimeout(() => { if (until) { until = 0; text(id, before); } }, 5000);
  });
}
$("answer").addEventListener("click", () => now.prompt && now.step && ask("/api/act", { act: "answer", step: now.step.index, prompt: now.prompt.key }));
$("hold").addEventListener("click", () => now.step && now.timer && ask("/api/act", { act: "hold", step: now.step.index, held: !now.timer.held }));
twice("step-on", "Again to end this step", () => now.step && ask("/api/act", { act: "step_on", step: now.step.index }));
$("stop").addEventListener("click", () => ask("/api/stop", {}));
$("figure").addEventListener("input", () => { figureTouched = true; });
$("adjust").addEventListener("submit", async e => {
  e.preventDefault();
  const value = Number($("figure").value), s = now.step;
  if (!s || !Number.isFinite(value)) return;
  const done = await ask("/api/act", s.may_adjust === "share" ? { act: "step_share", step: s.index, share: value / 100 } : { act: "step_target", step: s.index, target_c: us() ? (value - 32) / 1.8 : value }, "Changed.");
  if (done) figureTouched = false;
});
$("pair").addEventListener("submit", async e => {
  e.preventDefault();
  const response = await fetch("/api/pair", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ code: $("code").value }) });
  const said = await response.json().catch(() => ({}));
  text("pair-said", response.ok ? "" : said.error || "Not paired");
  if (response.ok) listen();
});
$("sound").addEventListener("click", () => {
  if (sounds) { sounds.close(); sounds = null; } else { sounds = new AudioContext(); called.test = false; call("test", "Sound is on", false); }
  $("sound").setAttribute("aria-pressed", String(!!sounds));
  text("sound", "Sound: " + (sounds ? "on" : "off"));
});
const noted = () => { if (!("Notification" in window)) show("notify", false); else text("notify", "Notifications: " + (Notification.permission === "granted" ? "on" : Notification.permission === "denied" ? "blocked by the browser" : "off")); };
$("notify").addEventListener("click", () => Notification.requestPermission().then(noted));
document.querySelectorAll("[data-range]").forEach(button => button.addEventListener("click", () => {
  document.querySelectorAll("[data-range]").forEach(b => b.setAttribute("aria-pressed", String(b === button)));
  Chart.range(Number(button.dataset.range));
  Chart.draw($("chart"));
}));
addEventListener("resize", () => Chart.draw($("chart")));
setInterval(age, 250);
noted();
listen();
