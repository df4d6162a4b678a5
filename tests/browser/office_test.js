'use strict';
// The superintendent: which ship, which bearing, how sure, what to do; and what is done about it.
const assert = require('node:assert/strict');
const fs = require('node:fs');
const { test } = require('node:test');
const { Ship, browse, inspect, screens, until } = require('./support');

const ship = new Ship();
const site = browse(ship, async () => {
  ship.run('demo');
  ship.account('office', 'superintendent');
  ship.account('guest', 'reader');
  ship.account('mate', 'crew', '--vessel', 'brackensound');
  await ship.start('--accounts', 'people');
});

async function signIn(page, name) {
  await page.goto('/');
  await page.fill('[name=name]', name);
  await page.fill('[name=passphrase]', `a long phrase of ${name}`);
  await inspect(page, 'sign-in', { isJudged: page.screen === 'phone' });
  await page.keyboard.press('Enter');
  await page.waitForSelector(`text=${name}: sign out`);
}

for (const screen of Object.keys(screens)) {
  test(`fleet, ship, finding, remark, advice: ${screen}`, async () => {
    const page = await site.open(screen);
    await signIn(page, 'office');
    await inspect(page, 'office-fleet');
    assert.match(await page.textContent('.finding >> nth=0'), /ACT/i);
    assert.match(await page.textContent('main'), /Ships/);

    await page.click('.finding >> nth=0 >> a');
    await inspect(page, 'office-finding');
    for (const part of ['Likely causes', 'Check', 'Before any of these checks', 'The records it rests on'])
      assert.ok((await page.textContent('main')).includes(part), part);
    const note = `asked the ship, ${screen}`;
    await page.fill('[name=says]', note);
    await page.click('text=Keep the note');
    await page.waitForSelector(`#done ~ ul:has-text("noted by office"):has-text("${note}")`);
    await page.click('text=Take in hand');
    await page.waitForSelector('#done ~ ul:has-text("taken by office")');
    await inspect(page, 'office-remarked');
    await page.fill('[name=says]', 'nozzle replaced');
    await page.click('text=Close: it was done');
    await page.waitForSelector('text=Open again');
    const closed = page.url();
    await until(async () => {
      await page.goto('/fleet');
      return !(await page.$(`a[href="${new URL(closed).pathname}"]`));
    }, 'a closed finding is out of the way');
    await page.goto('/fleet?state=closed&urgency=all');
    await page.click(`a[href="${new URL(closed).pathname}"]`);
    await page.fill('[name=says]', 'came back');
    await page.click('text=Open again');
    await page.waitForSelector('text=Take in hand');

    await page.click('nav a >> nth=1');
    await inspect(page, 'office-ship');
    assert.equal(await page.$('.target'), null, "a ship's own records are the ship's");
    await page.click('text=Interval and dose');
    await inspect(page, 'office-advice');
    await page.done();
  });
}

test('the filters stand in the address, which shows another person the same', async () => {
  const page = await site.open('desk');
  await signIn(page, 'office');
  const all = (await page.$$('.finding')).length;
  await page.selectOption('[name=urgency]', 'act');
  await page.click('.filters button');
  await page.waitForURL(/urgency=act/);
  const acts = await page.$$eval('.finding h3', (x) => x.map((h) => h.textContent));
  assert.ok(acts.length > 0 && acts.length < all);
  assert.ok(acts.every((t) => /^\s*ACT/i.test(t)), acts.join());
  const guest = await site.open('phone');
  await signIn(guest, 'guest');
  await guest.goto(page.url());
  assert.deepEqual(await guest.$$eval('.finding h3', (x) => x.map((h) => h.textContent)), acts);
  const below = (day) => guest.goto(`/fleet?as_of=${day}`)
    .then(() => guest.textContent('#ships ~ div tr:has(a[href^="/ship/fenhollow"]) td >> nth=2'));
  assert.match(await below('2026-03-01'), /rudder_stock/);
  assert.match(await below('2025-12-01'), /none known/, 'it was, until it was greased');
  await guest.goto('/fleet?as_of=2025-06-01');
  assert.match(await guest.textContent('.subtitle'), /2025-06-01/);
  await guest.click('.finding >> nth=0 >> a');
  assert.match(await guest.textContent('.subtitle'), /2025-06-01/, 'the day goes along');
  assert.equal(await guest.$('[name=says]'), null, 'who only reads is offered nothing to write');
  await guest.done();
  await page.done();
});

test('reports and workbook are handed over', async () => {
  const page = await site.open('desk');
  await signIn(page, 'office');
  const begins = { 'as PDF': '%PDF-', workbook: 'PK', 'report as a page': '<!DOCTYPE html>' };
  for (const path of ['/fleet', '/ship/fenhollow', '/ship/fenhollow/shaft/rudder_stock']) {
    for (const [text, start] of Object.entries(begins)) {
      await page.goto(path);
      const coming = page.waitForEvent('download');
      await page.click(`a:text-is("${text}")`);
      const file = await (await coming).path();
      const bytes = fs.readFileSync(file);
      assert.equal(bytes.subarray(0, start.length).toString('latin1'), start, `${path}: ${text}`);
      assert.ok(bytes.length > 4000, `${path}: ${text}: ${bytes.length} bytes`);
    }
  }
  await page.done();
});

test('crew come to their ship and see no other; signed out, nobody sees anything', async () => {
  const page = await site.open('tablet', { foretold: /status of 404/ });
  await signIn(page, 'mate');
  await page.waitForURL(/ship\/brackensound/);
  await page.goto('/ship/fenhollow');
  assert.match(await page.textContent('main'), /no such ship/);
  await page.goto('/ship/brackensound/record/refill?lubricator=lub1');
  assert.equal(await page.$('[name=by]'), null, 'who enters is known from the account');
  await page.goto('/ship/brackensound');
  await page.click('text=mate: sign out');
  await page.goto('/ship/brackensound');
  await page.waitForSelector('[name=passphrase]');
  await page.done();
});
