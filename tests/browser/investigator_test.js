'use strict';
// The investigator: everything known of one bearing on one time axis, and what could be known when.
const assert = require('node:assert/strict');
const fs = require('node:fs');
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
