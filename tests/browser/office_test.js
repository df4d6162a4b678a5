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
  ship.account('chief', 'chief_engineer', '--vessel', 'brackensound');
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

test('the session is over while a note on a finding is written: it is shown again after the sign-in', async () => {
  const page = await site.open('tablet', { foretold: /status of 401|CONNECTION_REFUSED/ });
  await signIn(page, 'office');
  await page.click('.finding >> nth=0 >> a');
  await page.fill('[name=says]', 'asked for the filter');
  await page.context().clearCookies();
  await page.click('text=Keep the note');
  await page.waitForSelector('.fault:has-text("The session is over")');
  await inspect(page, 'office-session-over', { isJudged: true });
  assert.equal(await page.inputValue('[name=says]'), 'asked for the filter');
  await page.click('.fault >> text=Sign in');
  await page.fill('[name=name]', 'office');
  await page.fill('[name=passphrase]', 'a long phrase of office');
  await page.keyboard.press('Enter');
  await page.waitForSelector('.fault:has-text("stands here again")');
  assert.equal(await page.inputValue('[name=says]'), 'asked for the filter');
  await page.click('text=Keep the note');
  await page.waitForSelector('#done ~ ul:has-text("asked for the filter")');
  assert.equal(await page.inputValue('[name=says]'), '');

  // Of another run of the server: signed in anew in another tab, the page sends with the new token.
  await page.fill('[name=says]', 'ordered');
  await ship.stop();
  await page.click('text=Keep the note');
  await page.waitForSelector('.fault:has-text("does not answer")');
  await ship.start('--accounts', 'people');
  const other = await site.tab(page.context(), 'tablet');
  await signIn(other, 'office');
  await page.click('text=Keep the note');
  await page.waitForSelector('#done ~ ul:has-text("ordered")');
  await page.done();
});

test('a record that waits is its author\'s: another account neither sends it nor has it refused', async () => {
  const page = await site.open('tablet', { foretold: /status of 40[13]/ });
  const records = () => ship.records('refill').length;
  const before = records();
  await signIn(page, 'mate');
  await page.goto('/ship/brackensound/record/refill?lubricator=lub1');
  await page.fill('[name=amount]', '2.07');
  await page.context().clearCookies();
  await page.click('button.go');
  await page.waitForSelector('.look:has-text("The session is over"):has-text("mate")');
  assert.match(await page.textContent('#unsent'), /1 not yet sent/);
  await inspect(page, 'session-over', { isJudged: true });
  const other = await site.tab(page.context(), 'tablet', /status of 40[13]/);
  await signIn(other, 'chief');
  await other.waitForSelector('#unsent:has-text("of mate")');
  await other.waitForSelector('.unsent-list:has-text("waits for mate to sign in")');
  assert.match(await other.textContent('.unsent-list'), /until the one who typed it signs in/);
  await inspect(other, 'unsent-of-another', { isJudged: true });
  await page.fill('[name=amount]', '2.08');  // the page of mate, with chief signed in beside it
  await page.click('button.go');
  await page.waitForSelector('.look:has-text("Another account is signed in")');
  await other.click('text=chief: sign out');
  await signIn(other, 'office');
  await other.goto('/ship/brackensound');
  await other.waitForSelector('#unsent:has-text("2 not yet sent (of mate)")');
  await other.waitForTimeout(300);
  assert.equal(records(), before);
  await other.click('text=office: sign out');
  await page.click('.look >> text=Sign in').catch(() => page.goto('/sign-in'));
  await page.fill('[name=name]', 'mate');
  await page.fill('[name=passphrase]', 'a long phrase of mate');
  await page.keyboard.press('Enter');
  await until(() => records() === before + 2, 'sent when its author has signed in');
  await until(async () => !(await page.isVisible('#unsent')), 'nothing waits');
  assert.ok(ship.records('refill').filter((r) => /,mate,/.test(r)).length >= 2);
  await page.done();
});

test('a correction whose session is over is shown again, too', async () => {
  const page = await site.open('tablet', { foretold: /status of 401/ });
  await signIn(page, 'mate');
  await page.click('#records ~ div a >> nth=0');
  await page.click('text=Correct it');
  await page.fill('[name=reason]', 'misread');
  await page.context().clearCookies();
  await page.click('button.go');
  await page.waitForSelector('.fault:has-text("The session is over")');
  await page.click('.fault >> text=Sign in');
  await page.fill('[name=name]', 'mate');
  await page.fill('[name=passphrase]', 'a long phrase of mate');
  await page.keyboard.press('Enter');
  await page.waitForSelector('.fault:has-text("stands here again")');
  assert.equal(await page.inputValue('[name=reason]'), 'misread');
  await page.done();
});
