'use strict';
// The network goes: what was typed is kept in the browser, said to be unsent, and sent once.
const assert = require('node:assert/strict');
const { test } = require('node:test');
const { Ship, browse, inspect, looked, script, screens, until } = require('./support');

const ship = new Ship();
const site = browse(ship, async () => {
  ship.run('demo');
  await ship.start();
});

const home = '/ship/brackensound';
const form = `${home}/record/refill?lubricator=lub1`;
// 403: the token of a page that is older than the server; it is renewed.
const foretold = /ERR_CONNECTION_REFUSED|ERR_FAILED|ERR_EMPTY_RESPONSE|ERR_CONNECTION_RESET|status of (50\d|403)/;
const refills = () => ship.records('refill').length;
let amount = 200;
/** An entry that nothing is odd about, each time another amount, dated apart from the others. */
async function type(page) {
  amount += 1;
  await looked(page, async () => {
    await page.fill('[name=amount]', (amount / 100).toFixed(2));
  });
}
/** Taps Keep until the page has it: it may ask once. */
async function keepUnsent(page, said) {
  await page.click('button.go');
  await Promise.race([page.waitForSelector(`#unsent:has-text("${said}")`), page.waitForSelector('.look .odd')]);
  if (!await page.isVisible(`#unsent:has-text("${said}")`)) await page.click('button.go');
  await page.waitForSelector(`#unsent:has-text("${said}")`);
}
const sent = (page) => until(async () => !(await page.isVisible('#unsent')), 'sent', 60);

for (const screen of Object.keys(screens)) {
  test(`the server is gone: kept, marked as not sent, sent once: ${screen}`, async () => {
    const page = await site.open(screen, { foretold });
    const before = refills();
    await page.goto(form);
    await type(page);
    await ship.stop();
    await keepUnsent(page, '1 not yet sent');
    assert.match(await page.textContent('.unsent-list'), /Refill, lub1: 2\.\d\d kg/);
    assert.match(await page.textContent('.look'), /does not answer/);
    await inspect(page, 'unsent', { isJudged: page.screen === 'phone' });
    await page.fill('[name=amount]', (amount / 100 + 0.5).toFixed(2));  // the next one, still without a network
    await keepUnsent(page, '2 not yet sent');
    await ship.start();
    await sent(page);
    assert.equal(refills(), before + 2);
    await page.goto(home);
    await page.waitForTimeout(1000);
    assert.equal(refills(), before + 2);
    await page.done();
  });
}

test('a reload while the server is gone loses nothing', async () => {
  const page = await site.open('tablet', { foretold });
  const before = refills();
  await page.goto(form);
  await type(page);
  await ship.stop();
  await keepUnsent(page, '1 not yet sent');
  await assert.rejects(page.reload(), /ERR_CONNECTION_REFUSED/);
  await ship.start();
  for (let tries = 0; ; ++tries) {  // the browser's own page about the failed reload may still be on its way
    try {
      await page.goto(home);
      break;
    } catch (e) {
      if (tries === 5 || !/interrupted/.test(e.message)) throw e;
      await page.waitForTimeout(300);
    }
  }
  await until(() => refills() === before + 1, 'sent after the reload');
  await sent(page);
  await page.reload();
  await page.waitForTimeout(500);
  assert.equal(refills(), before + 1);
  await page.done();
});

test('two tabs that both hold the same unsent records send each once', async () => {
  const page = await site.open('tablet', { foretold });
  const other = await site.tab(page.context(), 'tablet', foretold);
  const before = refills();
  await page.goto(form);
  await other.goto(form);
  await type(page);
  await type(other);
  await ship.stop();
  await keepUnsent(page, 'not yet sent');
  await keepUnsent(other, '2 not yet sent');
  await ship.start();
  await Promise.all([page.evaluate(() => dispatchEvent(new Event('online'))), other.evaluate(() => dispatchEvent(new Event('online')))]);
  await sent(page);
  await sent(other);
  assert.equal(refills(), before + 2);
  assert.deepEqual(other.faults, []);
  await page.done();
});

test('a second tap on the form that was just emptied keeps nothing', async () => {
  const page = await site.open('phone', { foretold });
  const before = refills();
  await page.goto(form);
  await type(page);
  await ship.stop();
  await keepUnsent(page, '1 not yet sent');
  await page.waitForSelector('.look:has-text("does not answer")');
  await page.click('button.go');
  await page.waitForSelector('.fault:has-text("still to be filled in")');
  assert.equal(await page.textContent('#unsent'), '1 not yet sent');
  await ship.start();
  await sent(page);
  assert.equal(refills(), before + 1);
  await page.done();
});

test('the answer is lost after the record was kept: it is sent again and counted once', async () => {
  const page = await site.open('phone', { foretold });
  const before = refills();
  await page.goto(form);
  await type(page);
  let lost = 0;
  await page.route('**/api/records', async (route) => {
    if (lost > 1) return route.continue();
    lost += 1;
    await route.fetch();  // the server has it
    return lost === 1 ? route.abort() : route.fulfill({ status: 500, json: { error: 'trouble' } });
  });
  await keepUnsent(page, '1 not yet sent');
  assert.equal(refills(), before + 1);
  await sent(page);
  assert.equal(lost, 2);
  assert.equal(refills(), before + 1);
  await page.done();
});

test('a server that fails before it keeps: sent again until it has it', async () => {
  const page = await site.open('phone', { foretold });
  const before = refills();
  await page.goto(form);
  await type(page);
  let failed = 0;
  await page.route('**/api/records', (route) => {
    failed += 1;
    return failed < 3 ? route.fulfill({ status: 503, json: { error: 'busy' } }) : route.continue();
  });
  await keepUnsent(page, '1 not yet sent');
  assert.equal(refills(), before);
  await sent(page);
  assert.equal(refills(), before + 1);
  await page.done();
});

test('hours of all shafts wait as well, each sent once', async () => {
  const page = await site.open('tablet', { foretold });
  const before = ship.records('hours').length;
  await page.goto(`${home}/hours`);
  const last = await page.$$eval('.row', (rows) => rows.map((r) => Number(/last: .*?([\d.]+) h/.exec(r.textContent)[1])));
  for (let i = 0; i < last.length; ++i) await page.fill(`.row >> nth=${i} >> .number`, (last[i] + 0.3).toFixed(1));
  await ship.stop();
  await page.click('button.go');
  await page.waitForSelector(`#unsent:has-text("${last.length} not yet sent")`);
  await inspect(page, 'unsent-hours');
  await ship.start();
  await sent(page);
  assert.equal(ship.records('hours').length, before + last.length);
  await page.done();
});

test('what the server refuses later is shown with its reason and can be dropped; script in it is text', async () => {
  const page = await site.open('phone', { foretold: /status of 4\d\d|ERR_CONNECTION_REFUSED/ });
  const before = refills();
  await page.goto(form);
  await page.click('summary');
  await page.fill('[name=amount]', script);
  await page.fill('[name=remark]', script);
  await ship.stop();
  await page.click('button.go');
  await page.waitForSelector('#unsent:has-text("1 not yet sent")');
  await ship.start();
  await page.waitForSelector('.unsent-list:has-text("refused")', { timeout: 60000 });
  await inspect(page, 'unsent-refused', { isJudged: true });
  await page.click('text=Drop it');
  await page.waitForSelector('.unsent-list:has-text("kept nowhere else")');
  assert.ok(await page.isVisible('#unsent'), 'it is asked first');
  await page.click('text=Yes, drop it for good');
  await sent(page);
  assert.equal(refills(), before);
  await page.done();
});
