'use strict';
// A server on an invented fleet and Debian's Chromium before it: node FILE PROGRAM MODULES PICTURES.
const assert = require('node:assert/strict');
const { spawn, execFileSync } = require('node:child_process');
const fs = require('node:fs');
const { createRequire } = require('node:module');
const os = require('node:os');
const path = require('node:path');
const { after, before } = require('node:test');

const [program, modules, pictures] = process.argv.slice(2).map((p) => path.resolve(p));
const need = createRequire(path.join(modules, 'package.json'));
const { chromium } = need('playwright-core');
const axe = fs.readFileSync(need.resolve('axe-core/axe.min.js'), 'utf8');

const screens = { desk: [1200, 800], tablet: [800, 1100], phone: [360, 740] };
const script = `"'><script>window.hit = 1</script><img src=x onerror="window.hit = 2">&`;

/** One database and its server. */
class Ship {
  constructor() {
    this.folder = fs.mkdtempSync(path.join(os.tmpdir(), 'shaftlog-browser-'));
    this.port = 0;
  }
  run(...words) {
    return execFileSync(program, ['--db', 'd.db', ...words], { cwd: this.folder, encoding: 'utf8', stdio: 'pipe' });
  }
  account(name, role, ...more) {
    execFileSync(program, ['--db', 'd.db', 'account', 'add', name, '--role', role, ...more, '--accounts', 'people'],
      { cwd: this.folder, input: `a long phrase of ${name}\n`, stdio: 'pipe' });
  }
  /** Comes back at the port where it was. */
  start(...more) {
    return new Promise((ready, fail) => {
      let said = '';
      this.process = spawn(program, ['--db', 'd.db', 'serve', '--port', String(this.port), ...more],
        { cwd: this.folder, stdio: ['ignore', 'pipe', 'pipe'] });
      this.process.stderr.on('data', (x) => { said += x; });
      this.process.once('exit', () => fail(new Error(`the server ended: ${said}`)));
      this.process.stdout.on('data', (x) => {
        said += x;
        const found = /:(\d+)\/ is served/.exec(said);
        if (!found) return;
        this.port = Number(found[1]);
        this.at = `http://127.0.0.1:${this.port}`;
        ready();
      });
    });
  }
  stop() {
    return new Promise((gone) => {
      if (!this.process || this.process.exitCode !== null) { gone(); return; }
      this.process.once('exit', gone);
      this.process.kill('SIGTERM');
    });
  }
  /** The standing records of a kind, as the command lists them. */
  records(kind, vessel = 'brackensound') {
    return this.run('list', '--vessel', vessel, '--kind', kind, '--csv').trim().split('\n').slice(1);
  }
}

/** A browser for all tests of a file, after `prepare` has made the database and started the server; what a page complains of is a failure unless it was foretold. */
function browse(ship, prepare) {
  const all = { ship, faults: [] };
  before(async () => {
    all.browser = await chromium.launch({
      executablePath: '/usr/bin/chromium',
      args: ['--headless', '--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run',
        '--disable-background-networking', '--disable-component-update', '--disable-sync'],
    });
    await prepare(all);
  });
  after(async () => {
    await all.browser?.close();
    await ship.stop();
    fs.rmSync(ship.folder, { recursive: true, force: true });
  });
  /** A page of its own browser profile. foretold: what its console may say. */
  all.open = async (screen, { foretold = null, ...more } = {}) => {
    const [width, height] = screens[screen];
    const context = await all.browser.newContext({ viewport: { width, height }, baseURL: ship.at, acceptDownloads: true, ...more });
    return all.tab(context, screen, foretold);
  };
  all.tab = async (context, screen, foretold = null) => {
    const page = await context.newPage();
    page.setDefaultTimeout(40000);
    page.screen = screen;
    page.faults = [];
    page.on('pageerror', (e) => page.faults.push(String(e)));
    page.on('dialog', (d) => { page.faults.push(`a dialog: ${d.message()}`); d.dismiss(); });
    page.on('console', (m) => {
      if ((m.type() === 'error' || m.type() === 'warning') && !foretold?.test(m.text())) page.faults.push(m.text());
    });
    page.done = async () => {
      assert.deepEqual(page.faults, []);
      await context.close();
    };
    return page;
  };
  return all;
}

/** What must hold of every page, on every screen; a picture of it is kept. isJudged: axe, which takes its time, too. */
async function inspect(page, name, { isWhole = true, isJudged = false } = {}) {
  await picture(page, name, isWhole);
  const tooWide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.ok(tooWide <= 0, `${name} on ${page.screen}: ${tooWide} px wider than the screen`);
  const cubic = await page.evaluate(() => /\S* ?\bcm3\b/.exec(document.body.innerText)?.[0]);
  assert.equal(cubic, undefined, `${name}: "${cubic}" where the pages say cm³`);
  assert.equal(await page.evaluate('window.hit'), undefined, `${name}: what was typed ran as a script`);
  if (!isJudged) return;
  await page.evaluate(axe);
  const { violations, passes } = await page.evaluate("axe.run(document, { resultTypes: ['violations'] })");
  assert.ok(passes.length > 5, 'axe looked at nothing');
  const bad = violations.filter((v) => v.impact === 'serious' || v.impact === 'critical');
  assert.deepEqual(bad.map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 150)).join(' | ')}`), [],
    `${name} on ${page.screen}`);
}

async function picture(page, name, isWhole = false) {
  fs.mkdirSync(pictures, { recursive: true });
  await page.screenshot({ path: path.join(pictures, `${name}-${page.screen}.png`), fullPage: isWhole });
}

/** Until it holds, at most some seconds. */
async function until(holds, what, seconds = 40) {
  const end = Date.now() + seconds * 1000;
  while (!(await holds())) {
    assert.ok(Date.now() < end, `${what}: not within ${seconds} s`);
    await new Promise((r) => setTimeout(r, 100));
  }
}

/** An entry form says what it thinks of the fields; wait for its word. */
async function looked(page, act) {
  const answer = page.waitForResponse((r) => r.url().endsWith('/api/look'));
  await act();
  await answer;
  await page.waitForTimeout(50);
}

module.exports = { Ship, browse, inspect, looked, picture, screens, script, until };
