// Drives the page over a watched rehearsal. Usage: node watch.mjs CHROMIUM URL FOLDER day|trip|lost|pair|hand PID [CODE]
// Prints one line of JSON with what was seen; the Rust test judges it.
import { chromium } from "playwright-core";

const [, , executablePath, url, folder, what, pid, code] = process.argv;
const flags = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];
const browser = await chromium.launch({ executablePath, headless: true, args: flags });
const phone = { viewport: { width: 390, height: 844 }, deviceScaleFactor: 2, isMobile: true, hasTouch: true };
const desktop = { viewport: { width: 1440, height: 900 } };
const seen = { foreign: [], errors: [], steps: [], prompts: 0, additions: [], scrollsSideways: false };
const pages = [];
for (const [name, size, colorScheme] of [["phone-light", phone, "light"], ["phone-dark", phone, "dark"], ["desktop-light", desktop, "light"], ["desktop-dark", desktop, "dark"]]) {
  const page = await (await browser.newContext({ ...size, colorScheme })).newPage();
  page.on("pageerror", e => seen.errors.push(String(e)));
  // A temperature that no vessel takes is refused; whoever has not paired is told so, and over plain HTTP the browser says which header it has no use for.
  const expected = what === "pair" ? / 401 |Cross-Origin-Opener-Policy header has been ignored/ : what === "hand" ? / 409 / : what === "lost" ? /./ : /^$/;
  page.on("console", m => m.type() === "error" && !expected.test(m.text()) && seen.errors.push(m.text()));
  page.on("request", r => { if (!r.url().startsWith(url) && !r.url().startsWith("data:")) seen.foreign.push(r.url()); });
  // What would sound and pop up is written down instead.
  await page.addInitScript(() => {
    window.calls = { notes: [], tones: 0 };
    window.Notification = class { constructor(title, { body }) { window.calls.notes.push(body); } static requestPermission() { Notification.permission = "granted"; return Promise.resolve("granted"); } };
    Notification.permission = "default";
    const start = OscillatorNode.prototype.start;
    OscillatorNode.prototype.start = function (...at) { window.calls.tones++; return start.apply(this, at); };
    // An answer that comes late, when a test asks for it.
    const fetched = window.fetch;
    window.fetch = async (...what) => { const late = window.offIsLate && /"off"/.test(what[1]?.body), answer = await fetched(...what); if (late) { await new Promise(go => setTimeout(go, 1000)); window.offIsLate = false; } return answer; };
  });
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
// Contrast of every text against what lies behind it, WCAG 2.2 "contrast ratio" and "relative luminance"; the lowest of the page.
const contrast = page => page.evaluate(() => {
  const parse = text => (text.match(/[\d.]+/g) || []).map(Number);
  const luminance = c => c.slice(0, 3).map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4).reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  let worst = [99, "", 0], texts = 0;
  for (const node of document.querySelectorAll("body *")) {
    const own = [...node.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own || !node.getClientRects().length || node.closest(".unseen,.skip,noscript")) continue;
    const style = getComputedStyle(node), ink = parse(node.namespaceURI.endsWith("svg") ? style.fill : style.color);
    let ground = [255, 255, 255];
    for (let at = node; at; at = at.parentElement) { const c = parse(getComputedStyle(at).backgroundColor); if (c.length && c[3] !== 0) { ground = c; break; } }
    const [a, b] = [luminance(ink), luminance(ground)].sort((x, y) => y - x), ratio = (a + 0.05) / (b + 0.05);
    texts++;
    if (ratio < worst[0]) worst = [ratio, node.textContent.trim().slice(0, 40)];
  }
  return [worst[0], worst[1], texts];
});
seen.contrast = [];
if (what === "pair") {
  await first.locator("#pair").waitFor({ state: "visible", timeout: 20000 });
  seen.beforePairing = await first.evaluate(() => [document.activeElement.id, document.querySelector("main").offsetParent === null, document.getElementById("vessels").textContent]);
  await first.keyboard.type("AAAA-AAAA");
  await first.keyboard.press("Enter");
  await first.locator("#pair-said:not(:empty)").waitFor({ timeout: 20000 });
  seen.wrong = await first.locator("#pair-said").textContent();
  await shoot("pair");
  await first.locator("#code").fill(code.toLowerCase());
  await first.keyboard.press("Enter");
}
await first.waitForFunction(() => !document.body.classList.contains("stale"), null, { timeout: 20000 });
seen.source = (await look(first)).source;
if (what === "pair") {
  await first.locator("#pair").waitFor({ state: "hidden", timeout: 20000 });
  seen.reading = await first.locator(".vessel .t span").first().textContent();
  // A browser that gave no code sees nothing still.
  seen.others = await pages[1][1].evaluate(() => [document.getElementById("pair").hidden, document.getElementById("vessels").textContent]);
  seen.secrets = await first.evaluate(() => [location.href, document.cookie]);
}
if (what === "hand") {
  const tank = first.locator(".vessel.liquor_tank"), kettle = first.locator(".vessel.boil_kettle");
  const asked = (vessel, words) => first.waitForFunction(([v, w]) => { const shown = document.querySelector(".vessel." + v + " .target").textContent; return w ? shown.startsWith(w) : shown === ""; }, [vessel, words], { timeout: 20000 });
  // By keyboard alone.
  await tank.locator("summary").focus();
  await first.keyboard.press("Enter");
  const way = [];
  for (let i = 0; i < 5; i++) { await first.keyboard.press("Tab"); way.push(await first.evaluate(() => document.activeElement.getAttribute("aria-label") || document.activeElement.textContent)); if (way.at(-1).startsWith("Temperature for")) break; }
  seen.way = way;
  await first.keyboard.type("60");
  await first.keyboard.press("Enter");
  await asked("liquor_tank", "60.0");
  await first.waitForFunction(() => document.getElementById("said").textContent !== "", null, { timeout: 20000 });
  seen.said = await first.locator("#said").textContent();
  await kettle.locator("summary").click();
  await kettle.getByRole("button", { name: "Power", exact: true }).click();
  await kettle.getByLabel("Share of full power for the boil kettle, percent").fill("45");
  for (const [name, page] of pages) if (name !== "phone-light") { await page.locator(".vessel.liquor_tank summary").click(); }
  await kettle.getByRole("button", { name: "Set", exact: true }).click();
  await asked("boil_kettle", "45 %");
  await shoot("hand");
  // What is refused stays to be read, although the answer to what was asked before comes after it.
  await first.evaluate(() => { window.offIsLate = true; });
  await kettle.getByRole("button", { name: "Off: no heat for the boil kettle" }).click();
  await asked("boil_kettle", "");
  await tank.locator("input").fill("150");
  await tank.getByRole("button", { name: "Set", exact: true }).click();
  await first.waitForFunction(() => /from 0 to 120/.test(document.getElementById("said").textContent), null, { timeout: 20000 });
  await first.waitForFunction(() => !window.offIsLate, null, { timeout: 20000 });
  await first.waitForTimeout(300);
  seen.refused = await first.locator("#said").textContent();
  await tank.getByRole("button", { name: "Off: no heat for the liquor tank" }).click();
  await first.waitForFunction(() => [...document.querySelectorAll(".vessel .target")].every(n => n.textContent === ""), null, { timeout: 20000 });
  await first.waitForFunction(() => [...document.querySelectorAll(".hand .off")].every(n => n.disabled), null, { timeout: 20000 });
}
if (what === "day") {
  await first.locator("#sound").click();
  await first.locator("#notify").click();
  seen.callButtons = [await first.locator("#sound").textContent(), await first.locator("#notify").textContent()];
}
const shot = new Set();
const until = Date.now() + 170000;
while (what === "day" || what === "trip" || what === "lost") {
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
    if (/rest/i.test(now.step) && !seen.changed && await first.locator("#adjust").isVisible()) {
      // The field shows the target until somebody writes in it; what is written is asked, and shown as the target.
      const target = () => first.locator(".vessel.mash_tun .target").textContent();
      const before = [await first.locator("#figure").inputValue(), await target()];
      const other = (Number(before[0]) + 0.5).toFixed(1);
      await first.locator("#figure").fill(other);
      await first.keyboard.press("Enter");
      await first.waitForFunction(() => document.getElementById("said").textContent === "Changed.", null, { timeout: 10000 });
      await first.waitForFunction(w => document.querySelector(".vessel.mash_tun .target").textContent.startsWith(w), other, { timeout: 10000 });
      seen.changed = [...before, other, await target(), await first.locator("#figure").inputValue()];
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
    // The watch is started again on the same port: the page comes back by itself.
    await first.waitForFunction(() => !document.body.classList.contains("stale") && document.getElementById("lost").hidden, null, { timeout: 60000 });
    seen.back = (await look(first)).source;
    break;
  }
  if (Date.now() > until) { seen.errors.push("it did not come to its end"); break; }
  await first.waitForTimeout(120);
}
seen.shots = [...shot];
if (what === "trip" || what === "day" || what === "hand") for (const [, page] of pages) seen.contrast.push(await contrast(page));
if (what === "day") {
  [seen.calls, seen.callsUnasked] = await Promise.all([first, pages[1][1]].map(page => page.evaluate(() => window.calls)));
  // Opened when all is over, it calls for nothing.
  await first.reload();
  await first.waitForFunction(() => /over/.test(document.getElementById("standing").textContent), null, { timeout: 10000 });
  seen.callsLate = await first.evaluate(() => document.getElementById("call").textContent);
  seen.focus = await first.evaluate(() => [...document.querySelectorAll("button,input")].filter(n => n.offsetParent).every(n => n.tabIndex === 0 && (n.textContent.trim() || n.labels?.length)));
}
console.log(JSON.stringify(seen));
await browser.close();
