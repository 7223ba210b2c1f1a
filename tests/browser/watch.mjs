// Drives the page over a watched rehearsal. Usage: node watch.mjs CHROMIUM URL FOLDER day|trip|lost PID
// Prints one line of JSON with what was seen; the Rust test judges it.
import { chromium } from "playwright-core";

const [, , executablePath, url, folder, what, pid] = process.argv;
const flags = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
const browser = await chromium.launch({ executablePath, headless: true, args: flags });
const phone = { viewport: { width: 390, height: 844 }, deviceScaleFactor: 2, isMobile: true, hasTouch: true };
const desktop = { viewport: { width: 1440, height: 900 } };
const seen = { bytes: 0, foreign: [], errors: [], steps: [], prompts: 0, additions: [], maxReadings: 0, scrollsSideways: false };
const pages = [];
for (const [name, size, colorScheme] of [["phone-light", phone, "light"], ["phone-dark", phone, "dark"], ["desktop-light", desktop, "light"], ["desktop-dark", desktop, "dark"]]) {
  const page = await (await browser.newContext({ ...size, colorScheme })).newPage();
  page.on("pageerror", e => seen.errors.push(String(e)));
  page.on("console", m => m.type() === "error" && what !== "lost" && seen.errors.push(m.text()));
  page.on("request", r => { if (!r.url().startsWith(url) && !r.url().startsWith("data:")) seen.foreign.push(r.url()); });
  if (pages.length === 0) page.on("response", async r => { if (/\/$|\.css$|\.js$/.test(r.url()) && r.request().method() === "GET") seen.bytes += (await r.body().catch(() => "")).length; });
  await page.goto(url);
  pages.push([name, page]);
}
const first = pages[0][1];
const shoot = async moment => { for (const [name, page] of pages) { await page.screenshot({ path: `${folder}/${moment}-${name}.png`, fullPage: true }); } };
const look = page => page.evaluate(() => ({
  step: document.getElementById("now-name").textContent,
  prompt: document.getElementById("prompt").hidden ? "" : document.getElementById("prompt-text").textContent,
  due: [...document.querySelectorAll("#additions .due")].map(n => n.textContent),
  standing: document.getElementById("standing").textContent,
  lost: document.getElementById("lost").hidden ? "" : document.getElementById("lost").textContent,
  stale: document.body.classList.contains("stale"),
  trip: document.getElementById("trip").hidden ? "" : document.getElementById("trip").textContent,
  wide: document.documentElement.scrollWidth > document.documentElement.clientWidth + 1,
  curve: document.querySelector("#chart .curve")?.getAttribute("d")?.length ?? 0,
  source: document.getElementById("source").textContent,
}));
await first.waitForFunction(() => !document.body.classList.contains("stale"), null, { timeout: 20000 });
seen.source = (await look(first)).source;
const shot = new Set();
const until = Date.now() + 170000;
for (;;) {
  const now = await look(first);
  seen.scrollsSideways ||= now.wide;
  if (seen.steps.at(-1) !== now.step) seen.steps.push(now.step);
  if (now.prompt) seen.prompts++;
  for (const due of now.due) if (!seen.additions.includes(due)) seen.additions.push(due);
  seen.curve = now.curve;
  if (what === "day") {
    for (const [key, yes] of [["rest", /rest/i.test(now.step)], ["prompt", now.prompt && seen.steps.length > 1], ["boil", now.due.length > 0], ["over", /over/.test(now.standing)]]) {
      if (yes && !shot.has(key)) { shot.add(key); await shoot(key); }
    }
    if (/over/.test(now.standing)) break;
  }
  if (what === "trip" && now.trip) { seen.trip = now.trip; await shoot("trip"); break; }
  if (what === "lost" && seen.steps.length >= 2) {
    process.kill(Number(pid), "SIGKILL");
    await first.waitForFunction(() => document.body.classList.contains("stale"), null, { timeout: 15000 });
    await first.waitForTimeout(1500);
    seen.lost = (await look(first)).lost;
    await shoot("lost");
    break;
  }
  if (Date.now() > until) { seen.errors.push("it did not come to its end"); break; }
  await first.waitForTimeout(120);
}
seen.shots = [...shot];
if (what === "day") {
  seen.focus = await first.evaluate(() => [...document.querySelectorAll("button,input")].filter(n => n.offsetParent).every(n => n.tabIndex === 0 && (n.textContent.trim() || n.labels?.length)));
}
console.log(JSON.stringify(seen));
await browser.close();
