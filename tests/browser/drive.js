// A hand at a real browser: takes one order a line (JSON) on standard input and answers each with one line.
//
// The browser is the one installed (BROWSER, else /usr/bin/chromium); it is kept from asking anybody but the pages'
// server. What a page weighs, which accessibility rules it breaks and what it complains of is told, never judged here.
'use strict';
const fs = require('fs');
const http = require('http');
const path = require('path');
const readline = require('readline');
const { HtmlValidate } = require('html-validate');
const { chromium } = require('playwright-core');

const AXE = fs.readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
const VALIDATE = new HtmlValidate({ extends: ['html-validate:standard'] });
const SIZES = { phone: { width: 390, height: 844 }, desktop: { width: 1280, height: 900 } };
const FLAGS = [
  '--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
  '--disable-component-update', '--disable-sync', '--disable-dev-shm-usage',
];

let browser, context, page, base;
let complaints = [];
let weighed = [];

const orders = {
  // A folder of files with a list of their addresses and media types, served with a policy. For pages drawn by a test.
  async serve({ dir, policy }) {
    const files = JSON.parse(fs.readFileSync(path.join(dir, 'files.json'), 'utf8'));
    const server = http.createServer((request, answer) => {
      const address = request.url.split('?')[0];
      const file = files[address];
      if (!file) { answer.writeHead(404).end(); return; }
      answer.writeHead(200, { 'content-type': file.media, 'content-security-policy': policy, 'cache-control': 'no-store' });
      answer.end(fs.readFileSync(path.join(dir, file.name)));
    });
    await new Promise(up => server.listen(0, '127.0.0.1', up));
    base = `http://127.0.0.1:${server.address().port}`;
    return {};
  },

  async at({ address }) { base = address; return {}; },

  async open({ path: where, size = 'desktop', theme = 'light', script = true }) {
    if (context) await context.close();
    complaints = [];
    weighed = [];
    context = await browser.newContext({
      viewport: SIZES[size], colorScheme: theme, javaScriptEnabled: script, bypassCSP: false,
      isMobile: size === 'phone', deviceScaleFactor: size === 'phone' ? 2 : 1, reducedMotion: 'reduce',
    });
    page = await context.newPage();
    page.setDefaultTimeout(20000);
    page.on('console', m => { if (m.type() === 'error' || m.type() === 'warning') complaints.push(m.text()); });
    page.on('pageerror', e => complaints.push(String(e)));
    page.on('dialog', d => { complaints.push(`dialog: ${d.message()}`); d.dismiss(); });
    page.on('request', r => { if (!r.url().startsWith(base)) complaints.push(`asked elsewhere: ${r.url()}`); });
    page.on('response', r => {
      if (!r.url().includes('/live')) weighed.push(r.body().then(b => [r.url(), b.length], () => [r.url(), 0]));
    });
    const began = Date.now();
    const answer = await page.goto(base + where, { waitUntil: 'load' });
    return { status: answer.status(), ms: Date.now() - began };
  },

  // Bytes of everything asked for since `open`, live news left out.
  async weight() {
    const all = await Promise.all(weighed);
    return { bytes: all.reduce((sum, [, n]) => sum + n, 0), files: all.length };
  },

  // Waits until an element holds a text (or, with `not`, holds it no more); says how long that took.
  async wait({ selector, text, not = false, ms = 5000 }) {
    const began = Date.now();
    for (;;) {
      const holds = await page.locator(selector).first().innerText({ timeout: 1000 }).then(t => t.includes(text), () => false);
      if (holds !== not) return { ms: Date.now() - began };
      if (Date.now() - began > ms) {
        const has = await page.locator(selector).first().innerText({ timeout: 1000 }).catch(e => String(e));
        return { late: `after ${ms} ms ${selector} still ${not ? 'holds' : 'lacks'} "${text}": ${has}` };
      }
      await new Promise(again => setTimeout(again, 50));
    }
  },

  async text({ selector = 'body' }) { return { text: await page.locator(selector).first().innerText() }; },
  async count({ selector }) { return { count: await page.locator(selector).count() }; },
  async click({ selector }) { await page.locator(selector).first().click(); return {}; },
  async focus({ selector }) { await page.locator(selector).first().focus(); return {}; },
  async press({ key }) { await page.keyboard.press(key); return {}; },
  async fill({ selector, text }) { await page.locator(selector).fill(text); return {}; },
  async scroll({ to }) { await page.evaluate(y => scrollTo(0, y), to); return {}; },

  // Where one is: address, the element with the focus, how far down, whether it can be scrolled sideways.
  async where() {
    return page.evaluate(() => ({
      address: location.pathname + location.search, focus: document.activeElement.id, down: Math.round(scrollY),
      sideways: document.documentElement.scrollWidth - innerWidth, title: document.title,
    }));
  },

  // Rules broken, with how serious each is.
  async axe() {
    // The checker is put into the page by the browser itself, past the page's policy; the page gets no other rights.
    const client = await context.newCDPSession(page);
    const run = `${AXE}; axe.run(document, { resultTypes: ['violations'] })`;
    const { result, exceptionDetails } = await client.send('Runtime.evaluate', {
      expression: `(async () => { ${run.replace(/; axe\.run/, '; return axe.run')}.then(r => JSON.stringify(r)) })()`,
      awaitPromise: true, returnByValue: true,
    });
    if (exceptionDetails) throw new Error(exceptionDetails.exception.description);
    const found = JSON.parse(result.value);
    return {
      rules: found.passes.length + found.violations.length,
      broken: found.violations.map(v => ({
        rule: v.id, impact: v.impact, where: v.nodes.slice(0, 3).map(n => `${n.target.join(' ')}: ${n.failureSummary}`),
      })),
    };
  },

  // What the checker of HTML finds wrong with the page as it was sent, by the rules of the standard alone.
  async valid() {
    const source = await (await context.request.get(page.url())).text();
    const report = await VALIDATE.validateString(source);
    const found = report.results.flatMap(r => r.messages);
    return { bytes: source.length, wrong: found.map(m => `${m.ruleId}, line ${m.line}: ${m.message}`) };
  },

  async shot({ file, full = true }) { await page.screenshot({ path: file, fullPage: full }); return {}; },
  async print({ file }) { await page.pdf({ path: file, format: 'A4', printBackground: true }); return {}; },
  async complaints() { const all = complaints; complaints = []; return { complaints: all }; },
};

(async () => {
  browser = await chromium.launch({ executablePath: process.env.BROWSER || '/usr/bin/chromium', args: FLAGS, timeout: 60000 });
  console.log(JSON.stringify({ version: browser.version() }));
  for await (const line of readline.createInterface({ input: process.stdin })) {
    const order = JSON.parse(line);
    let said;
    try { said = await orders[order.do](order); } catch (e) { said = { failed: String(e) }; }
    console.log(JSON.stringify(said));
  }
  await browser.close();
})().catch(e => { console.error(e); process.exit(1); });
