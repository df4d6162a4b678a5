'use strict';
// Every page of a log in which every free text is an attempt to run a script, on every screen.
const assert = require('node:assert/strict');
const fs = require('node:fs');
const path = require('node:path');
const { test } = require('node:test');
const { Ship, browse, inspect, picture, screens, script } = require('./support');

const ship = new Ship();
const site = browse(ship, prepare);

/** Puts the script into every free text of a log folder; quoted fields may hold a comma, never a line's end. */
function spoil(folder) {
  const free = new Set(['by', 'remark', 'reason', 'batch', 'name', 'group', 'position', 'reference']);
  let spoilt = 0;
  for (const name of fs.readdirSync(folder).filter((f) => f.endsWith('.csv'))) {
    const [head, ...rows] = fs.readFileSync(path.join(folder, name), 'utf8').trimEnd().split(/\r?\n/);
    const columns = head.split(',');
    const at = (column) => columns.indexOf(column);
    const out = rows.map((row) => {
      const cells = row.match(/("([^"]|"")*"|[^,]*)(,|$)/g).slice(0, columns.length).map((c) => c.replace(/,$/, ''));
      assert.equal(cells.length, columns.length, row);
      columns.forEach((column, i) => {
        if (!free.has(column)) return;
        if (column === 'reason' && !cells[at('replaces')] && !cells[at('withdraws')]) return;
        cells[i] = `"${script.replaceAll('"', '""')}"`;
        spoilt += 1;
      });
      return cells.join(',');
    });
    fs.writeFileSync(path.join(folder, name), [head, ...out, ''].join('\n'));
  }
  assert.ok(spoilt > 10000, `${spoilt} texts`);
}

const where = {
  fleet: '/fleet?urgency=all&state=all',
  ship: '/ship/brackensound',
  refill: '/ship/brackensound/record/refill?lubricator=lub1',
  greasing: '/ship/brackensound/record/greasing?shaft=thruster',
  hours: '/ship/brackensound/hours',
  level: '/ship/brackensound/record/level?lubricator=lub1',
  cycles: '/ship/brackensound/record/cycles?lubricator=lub1',
  alarm: '/ship/brackensound/record/alarm?lubricator=lub1',
  work: '/ship/brackensound/record/work',
  inspection: '/ship/brackensound/record/inspection',
  records: '/ship/brackensound/records',
  advice: '/ship/brackensound/advice',
  shaft: '/ship/fenhollow/shaft/rudder_stock',
  dossier: '/ship/fenhollow/shaft/rudder_stock/history?until=2026-09-30',
};

async function prepare(site) {
  ship.run('demo');
  ship.run('export', 'log');
  spoil(path.join(ship.folder, 'log'));
  for (const end of ['', '-wal', '-shm']) fs.rmSync(path.join(ship.folder, `d.db${end}`), { force: true });
  ship.run('init');
  ship.run('import', 'log');
  await ship.start();
  const page = await site.open('desk');
  await page.goto('/fleet');
  where.finding = await page.getAttribute('.finding a', 'href');
  await page.goto(where.finding);
  await page.fill('[name=by]', script);
  await page.fill('[name=says]', script);
  await page.click('text=Keep the note');
  await page.waitForSelector('#done');
  await page.goto(where.ship);
  where.record = await page.getAttribute('td a[href^="/record/"]', 'href');
  await page.goto(`${where.record}/correct`);
  await page.click('summary');
  await page.fill('[name=remark]', `once more ${script}`);
  await page.fill('[name=reason]', script);
  await page.click('button.go');
  await page.waitForSelector('#family');
  where.corrected = new URL(page.url()).pathname;
  where.correct = `${where.corrected}/correct`;
  where.kept = `/ship/brackensound?kept=${where.corrected.split('/').pop()}`;
  await page.done();
}

const long = ['records', 'fleet', 'shaft', 'dossier'];
for (const screen of Object.keys(screens)) {
  test(`what was typed is text on every page, none is wider than the screen or shuts anybody out: ${screen}`, async () => {
    const page = await site.open(screen);
    let seen = 0;
    for (const [name, at] of Object.entries(where)) {
      const answer = await page.goto(at);
      assert.equal(answer.status(), 200, at);
      assert.equal((await answer.allHeaders())['content-security-policy'].includes("'unsafe-inline'"), false);
      await inspect(page, `all-${name}`, { isWhole: !long.includes(name), isJudged: true });
      if ((await page.textContent('body')).includes(script)) seen += 1;
    }
    assert.ok(seen >= 6, `the script was to be read on ${seen} pages only`);
    await page.done();
  });
}

test('a ship that does not record leads to its page; advice lies within a phone but for its tables', async () => {
  const page = await site.open('phone');
  await page.goto(where.advice);
  assert.equal(await page.locator('pre').count(), 0);
  const cut = await page.$$eval('main p, main li', (all) => all.filter((e) => e.getBoundingClientRect().right > 361).map((e) => e.textContent));
  assert.deepEqual(cut, []);
  await page.goto(where.fleet);
  const silent = page.locator('#silent + .wide tbody tr td:first-child a').first();
  const code = (await silent.textContent()).trim();
  await silent.click();
  await page.waitForURL(new RegExp(`/ship/${code}$`));
  await page.done();
});

test('a page that is not there says so and leads back', async () => {
  const page = await site.open('phone', { foretold: /status of 404/ });
  await page.goto('/nothing');
  await inspect(page, 'all-nothing', { isJudged: true });
  await page.click('text=begin again');
  await page.waitForURL(/fleet/);
  await page.done();
});

test('readable where the system asks for dark, and with text twice as large', async () => {
  const page = await site.open('tablet', { colorScheme: 'dark' });
  for (const name of ['ship', 'refill', 'finding']) {
    await page.goto(where[name]);
    await inspect(page, `dark-${name}`, { isJudged: true });
  }
  const large = await site.open('phone');
  for (const name of ['ship', 'refill', 'hours']) {
    await large.goto(where[name]);
    await large.evaluate(() => { document.documentElement.style.fontSize = '34px'; });
    await picture(large, `large-${name}`, true);
    const hidden = await large.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.ok(hidden <= 0, `${name}: ${hidden} px wider than the screen with large text`);
  }
  await large.done();
  await page.done();
});

test('on paper there are no forms, and nothing is cut at the edge', async () => {
  const page = await site.open('desk');
  await page.emulateMedia({ media: 'print' });
  await page.setViewportSize({ width: 680, height: 1000 });  // A4 within its margins
  for (const name of ['finding', 'shaft', 'dossier', 'ship', 'fleet']) {
    await page.goto(where[name]);
    await picture(page, `paper-${name}`, true);
    const forms = await page.$$eval('.bar, input, button, select', (all) => all.filter((f) => f.checkVisibility()).map((f) => f.outerHTML.slice(0, 80)));
    assert.deepEqual(forms, [], name);
    const cut = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.ok(cut <= 0, `${name}: ${cut} px are cut`);
  }
  await page.done();
});
