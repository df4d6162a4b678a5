'use strict';
// The investigator: everything known of one bearing on one time axis, and what could be known when.
const assert = require('node:assert/strict');
const fs = require('node:fs');
const path = require('node:path');
const { test } = require('node:test');
const { Ship, browse, inspect, picture, screens } = require('./support');

const ship = new Ship();
const site = browse(ship, async () => {
  ship.run('demo');
  await ship.start();
});
const dossier = '/ship/fenhollow/shaft/rudder_stock/history';

for (const screen of Object.keys(screens)) {
  test(`dossier, charts, replay by date: ${screen}`, async () => {
    const page = await site.open(screen);
    await page.goto('/ship/fenhollow');
    await page.click('tr:has-text("rudder_stock") >> text=dossier');
    await inspect(page, 'dossier-now', { isWhole: false });
    await page.fill('[name=until]', '2026-09-30');
    await page.click('.filters button');
    await page.waitForURL(/until=2026-09-30/);
    await inspect(page, 'dossier', { isWhole: false });
    const whole = await page.textContent('main');

    await page.fill('[name=known]', '2025-01-01');
    await page.click('.filters button');
    await page.waitForURL(/known=2025-01-01/);
    const then = await page.textContent('main');
    assert.notEqual(then, whole, 'what was known by then is less');
    await inspect(page, 'dossier-then', { isWhole: false });

    await page.goto('/ship/fenhollow/shaft/rudder_stock');
    await inspect(page, 'shaft');
    await page.fill('[name=as_of]', '2025-06-01');
    await page.click('.filters button');
    await page.waitForURL(/as_of=2025-06-01/);
    assert.match(await page.textContent('.subtitle'), /2025-06-01/);
    await page.done();
  });
}

test('one line runs through all charts of a page, and says the day', async () => {
  const page = await site.open('desk');
  await page.goto(`${dossier}?until=2026-09-30`);
  const charts = await page.$$('svg[data-time]');
  assert.ok(charts.length >= 1);
  await charts[0].scrollIntoViewIfNeeded();
  const box = await charts[0].boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + 60);
  const days = await page.$$eval('.crosshair', (all) => all.filter((g) => g.style.display !== 'none').map((g) => g.textContent));
  assert.equal(days.length, charts.length, 'a line on each');
  assert.match(days[0], /^\d{4}-\d\d-\d\d$/);
  assert.equal(new Set(days).size, 1, days.join());
  await picture(page, 'crosshair');
  await page.mouse.move(2, 2);
  assert.equal(await page.$$eval('.crosshair', (all) => all.filter((g) => g.style.display !== 'none').length), 0);
  await page.done();
});

/** Where charts of a page stand: the days they show, how many marks are within, what the address says. */
const shows = (page) => page.evaluate(() => {
  const line = (svg) => svg.querySelector('.on-time path:not(.m)').getAttribute('d');
  return { says: document.querySelector('.range [role=status]').textContent, hash: location.hash,
    charts: [...document.querySelectorAll('svg[data-time]')].map((svg) => ({ line: line(svg),
      days: [...svg.querySelectorAll('.range-grid text')].map((t) => t.textContent).join() })) };
});
async function drag(page, from, to) {
  const chart = page.locator('svg[data-time]').first();
  await chart.scrollIntoViewIfNeeded();
  const box = await chart.boundingBox();
  const at = (part) => box.x + box.width * (48 + part * 500) / 680;
  await page.mouse.move(at(from), box.y + 90);
  await page.mouse.down();
  await page.mouse.move(at((from + to) / 2), box.y + 90, { steps: 4 });
  await page.mouse.move(at(to), box.y + 90, { steps: 4 });
  if (page.screen === 'desk') await picture(page, 'range-dragging');
  await page.mouse.up();
}

for (const screen of ['desk', 'tablet']) {
  test(`dragging over a chart shows that range in all of them, and the address can be sent on: ${screen}`, async () => {
    const page = await site.open(screen);
    await page.goto(`${dossier}?until=2026-09-30`);
    const before = await shows(page);
    assert.equal(before.says, '');
    await drag(page, 0.7, 0.5);  // to the left is as good
    const near = await shows(page);
    const [, from, to] = /^(\d{4}-\d\d-\d\d) to (\d{4}-\d\d-\d\d)$/.exec(near.says);
    assert.ok(from < to);
    assert.equal(near.hash, `#from=${from}&to=${to}`);
    near.charts.forEach((c, i) => {
      assert.notEqual(c.line, before.charts[i].line, `chart ${i} shows the range`);
      assert.match(c.days, /\d{4}/);
    });
    assert.equal(new Set(near.charts.map((c) => c.days)).size, 1, 'one axis');
    await page.locator('svg[data-time]').first().scrollIntoViewIfNeeded();
    await inspect(page, 'range', { isWhole: false, isJudged: true });
    await drag(page, 0.2, 0.6);
    assert.ok((await shows(page)).says.slice(0, 10) > from, 'closer once more');

    const other = await site.open(screen);
    await other.goto(`${dossier}?until=2026-09-30${near.hash}`);
    assert.deepEqual(await shows(other), near);
    await other.click('.range button:text-is("All")');
    assert.deepEqual(await shows(other), before);
    await other.goBack();
    assert.deepEqual(await shows(other), near);
    await other.done();
    await page.done();
  });
}

test('a range by keyboard alone: two days typed, or the line moved and both ends set', async () => {
  const page = await site.open('desk');
  await page.goto(`${dossier}?until=2026-09-30`);
  await page.focus('.range [name=from]');
  await page.keyboard.type('03012025');  // as a browser of this language asks for it: month, day, year
  await page.keyboard.press('Tab');
  await page.focus('.range [name=to]');
  await page.keyboard.type('06302025');
  await page.keyboard.press('Enter');
  assert.equal((await shows(page)).says, '2025-03-01 to 2025-06-30');
  await page.focus('.range button:text-is("Later")');
  await page.keyboard.press('Enter');
  assert.equal((await shows(page)).says, '2025-05-01 to 2025-08-30');
  await page.focus('.range button:text-is("All")');
  await page.keyboard.press('Enter');
  assert.equal((await shows(page)).hash, '');

  await page.focus('svg[data-time] >> nth=0');
  for (const key of ['ArrowLeft', 'Enter', 'PageDown', 'PageDown']) await page.keyboard.press(key);
  await picture(page, 'range-keys');
  assert.match((await shows(page)).says, /^\d{4}-\d\d-\d\d, from \d{4}-\d\d-\d\d$/);
  await page.keyboard.press('Enter');
  assert.match((await shows(page)).hash, /^#from=/);
  await page.done();
});

test('a range that cannot be is answered with what was expected', async () => {
  const page = await site.open('phone');
  await page.goto(`${dossier}?until=2026-09-30`);
  for (const [from, to, says] of [['2025-06-30', '2025-03-01', /first day must not be after/], ['1999-01-01', '1999-12-31', /charts run from 20/]]) {
    await page.fill('.range [name=from]', from);
    await page.fill('.range [name=to]', to);
    await page.click('.range button:text-is("Show")');
    assert.match((await shows(page)).says, says);
    assert.equal((await shows(page)).hash, '');
  }
  await page.fill('.range [name=from]', '2025-06-01');
  await page.fill('.range [name=to]', '');
  await page.click('.range button:text-is("Show")');
  assert.match((await shows(page)).says, /^2025-06-01 to 2026-/);
  await page.locator('.range').scrollIntoViewIfNeeded();
  await inspect(page, 'range', { isWhole: false, isJudged: true });
  await page.done();
});

test('without script the server draws the days that were typed', async () => {
  const page = await site.open('desk', { javaScriptEnabled: false, foretold: /status of 400/ });
  await page.goto(`${dossier}?until=2026-09-30`);
  const whole = await page.locator('svg[data-time]').first().getAttribute('data-time');
  await page.fill('.range [name=from]', '2025-03-01');
  await page.fill('.range [name=to]', '2025-06-30');
  await page.click('.range button:text-is("Show")');
  await page.waitForURL(/until=2026-09-30&from=2025-03-01&to=2025-06-30/);
  for (const at of await page.locator('svg[data-time]').all()) {
    const [, , from, to] = (await at.getAttribute('data-time')).split(' ').map(Number);
    assert.equal(Math.round((to - from) / 86400), 122);
  }
  await page.locator('.range').scrollIntoViewIfNeeded();
  await picture(page, 'range-no-script');
  await page.click('.range a:text-is("All")');
  assert.equal(await page.locator('svg[data-time]').first().getAttribute('data-time'), whole);
  const refused = await page.goto(`${dossier}?from=2025-06-30&to=2025-03-01`);
  assert.equal(refused.status(), 400);
  assert.match(await page.textContent('[role=alert]'), /from 2025-06-30 to 2025-03-01: the first day must not be after the last/);
  await page.done();

  const drawn = await site.open('desk');  // the same address where there is script: all is one touch away
  await drawn.goto(`${dossier}?until=2026-09-30&from=2025-03-01&to=2025-06-30`);
  await drag(drawn, 0.2, 0.5);
  assert.match((await shows(drawn)).hash, /^#from=2025-0[345]/);
  await drawn.click('.range button:text-is("All")');
  await drawn.waitForURL((url) => !url.search.includes('from') && !url.hash);
  assert.equal(await drawn.locator('svg[data-time]').first().getAttribute('data-time'), whole);
  await drawn.done();
});

test('the page that is handed over has the ranges too, without a server', async () => {
  const file = path.join(ship.folder, 'handed.html');
  ship.run('history', 'fenhollow', 'rudder_stock', '--until', '2026-09-30', '--out', file);
  const page = await site.open('desk');
  await page.goto(`file://${file}#from=2025-03-01&to=2025-06-30`);
  assert.equal((await shows(page)).says, '2025-03-01 to 2025-06-30');
  await inspect(page, 'range-file', { isWhole: false, isJudged: true });
  await page.click('.range button:text-is("All")');
  await drag(page, 0.5, 0.7);
  assert.match((await shows(page)).hash, /^#from=/);
  await page.emulateMedia({ media: 'print' });
  assert.ok(await page.isHidden('.range input >> nth=0'));
  assert.ok(await page.isVisible('.range [role=status]'), 'a print says which days it shows');
  await page.done();
  const plain = await site.open('desk', { javaScriptEnabled: false });
  await plain.goto(`file://${file}`);
  assert.equal(await plain.locator('.range').count(), 0, 'no field that does nothing');
  await plain.done();
});

test('the figures behind a chart open by keyboard', async () => {
  const page = await site.open('desk');
  await page.goto(`${dossier}?until=2026-09-30`);
  await page.focus('figure summary >> nth=0');
  await page.keyboard.press('Enter');
  assert.ok(await page.isVisible('figure details[open] table >> nth=0'));
  await page.done();
});

test('the dossier is handed over as a page and as a PDF', async () => {
  const page = await site.open('desk');
  for (const [text, start] of [['As a page to hand over', '<!DOCTYPE html>'], ['as PDF', '%PDF-']]) {
    await page.goto(`${dossier}?until=2026-09-30`);
    const coming = page.waitForEvent('download');
    await page.click(`a:text-is("${text}")`);
    assert.equal(fs.readFileSync(await (await coming).path()).subarray(0, start.length).toString('latin1'), start);
  }
  await page.done();
});
