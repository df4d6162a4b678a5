'use strict';
// What a rating does on a tablet with gloves, on a phone, and at a desk.
const assert = require('node:assert/strict');
const { test } = require('node:test');
const { Ship, browse, inspect, looked, screens, until } = require('./support');

const ship = new Ship();
const site = browse(ship, async () => {
  ship.run('demo');
  await ship.start();
});

const home = '/ship/brackensound';
const kept = (page) => page.waitForURL(/[?&](kept|hours)=/);
/** Keeps what the form holds: presses the button, and once more where the form asks whether it is right. */
async function keep(page, press = () => page.click('button.go', { timeout: 5000 })) {
  const isKept = () => /[?&](kept|hours)=/.test(page.url());
  for (let i = 0; i < 4 && !isKept(); ++i) {
    await press().catch((e) => { if (!isKept()) throw e; });
    await page.waitForURL(/[?&](kept|hours)=/, { timeout: 3000 }).catch(() => {});
  }
  await kept(page);
  return page.textContent('.kept');
}

test('a refill takes under 20 s and at most 4 taps after the page was opened, at the speed of a gloved hand', async () => {
  const page = await site.open('tablet', { hasTouch: true });
  await page.exposeFunction('tapped', () => { taps += 1; });
  await page.addInitScript(() => addEventListener('pointerdown', () => window.tapped(), true));
  let taps = 0;
  const before = ship.records('refill').length;
  await page.goto(home);
  const began = Date.now();
  await page.tap('.target:has-text("Refill")');
  await page.waitForSelector('[name=amount]:focus');  // the keys go there by themselves
  await page.keyboard.type('2.1', { delay: 600 });
  await keep(page, () => page.tap('button.go', { timeout: 5000 }));
  const seconds = (Date.now() - began) / 1000;
  console.log(`a refill: ${seconds.toFixed(1)} s, ${taps} taps`);
  assert.ok(taps >= 2 && taps <= 4, `${taps} taps`);
  assert.ok(seconds < 20, `${seconds} s`);
  assert.equal(ship.records('refill').length, before + 1);
  await page.done();
});

test('what a hand meets is large enough for a glove', async () => {
  const page = await site.open('phone', { hasTouch: true });
  for (const path of [home, `${home}/record/greasing?shaft=fin_port`, `${home}/hours`]) {
    await page.goto(path);
    const small = await page.$$eval('.target, button, .entry input:not([type=hidden]):not([type=radio]), .entry select, .pick span, summary',
      (all) => all.filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 44).map((e) => e.outerHTML.slice(0, 100)));
    assert.deepEqual(small, [], path);
  }
  await page.done();
});

test('the subject used last stands first', async () => {
  const page = await site.open('tablet');
  await page.goto(`${home}/record/greasing?shaft=thruster`);
  await page.fill('[name=amount]', '40');
  await keep(page);
  assert.match(await page.textContent('.target >> nth=0'), /Greasing\s+thruster/);
  await page.done();
});

test('what is expected is told in the unit that is chosen, in strokes of the gun on board, in plain digits', async () => {
  const page = await site.open('tablet');
  const says = () => page.$$eval('.known [data-unit]', (all) => all.filter((e) => e.checkVisibility()).map((e) => e.textContent));
  await page.goto('/ship/fenhollow/record/greasing?shaft=fin_port');
  const found = {};
  for (const unit of ['strokes', 'cm3', 'g', 'kg', 'oz', 'lb']) {
    await page.check(`[name=unit][value=${unit}]`, { force: true });
    const told = await says();
    assert.equal(told.length, 1, unit);
    found[unit] = told[0];
    assert.match(told[0], new RegExp(`^[\\d.]+ ${unit === 'cm3' ? 'cm³' : unit}; usual [\\d.]+ to [\\d.]+`), told[0]);
  }
  const cm3 = parseFloat(found.cm3);
  assert.ok(parseFloat(found.strokes) < cm3 && parseFloat(found.strokes) > cm3 / 3, JSON.stringify(found));
  assert.ok(Math.abs(parseFloat(found.g) / cm3 - 0.9) < 0.15, JSON.stringify(found));
  await page.check('[name=unit][value=strokes]', { force: true });
  await page.fill('[name=amount]', '45');
  assert.match((await says())[0], /strokes/, 'and it stays while the number is typed');
  await inspect(page, 'crew-expected', { isJudged: true });

  await page.goto(`${home}/record/refill?lubricator=lub1`);
  for (const [unit, word] of [['kg', 'kg'], ['pct', '%'], ['l', 'l']]) {
    await page.check(`[name=unit][value=${unit}]`, { force: true });
    assert.match((await says())[0], new RegExp(`^[\\d.]+ ${word}; usual`));
  }
  await page.done();
  const plain = await site.open('phone', { javaScriptEnabled: false });
  await plain.goto('/ship/fenhollow/record/greasing?shaft=fin_port');
  assert.match(await plain.locator('.known [data-unit]:not([hidden])').textContent(), /strokes; usual/, 'as it was given last');
  await plain.done();
});

for (const screen of Object.keys(screens)) {
  test(`greasing, hours, alarm, correction and withdrawal: ${screen}`, async () => {
    const page = await site.open(screen);
    await page.goto(home);
    await inspect(page, 'crew-ship');
    await page.click('.target:has-text("Greasing"):has-text("fin_port")');
    await page.waitForSelector('.known:has-text("last:")');
    await looked(page, () => page.fill('[name=amount]', '45'));
    await page.check('[name=ended][value=pressure]');
    await inspect(page, 'crew-greasing');
    assert.match(await keep(page), /Kept: greasing .*fin_port.*45 strokes/s);
    await inspect(page, 'crew-kept', { isWhole: false });

    await page.click('text=correct or withdraw it');
    await inspect(page, 'crew-record');
    await page.click('text=Correct it');
    await page.fill('[name=amount]', '54');
    await page.fill('[name=reason]', 'figures swapped');
    await inspect(page, 'crew-correction');
    await page.click('button.go');
    await page.waitForSelector('#family');
    const family = await page.textContent('main');
    assert.match(family, /45 strokes/);
    assert.match(family, /54 strokes/);
    assert.match(family, /figures swapped/);
    await page.fill('[name=reason]', 'another shaft');
    await page.click('text="Withdraw it"');
    await page.waitForSelector('text=Withdrawn.');
    assert.match(await page.textContent('main'), /because: another shaft/);
    await inspect(page, 'crew-withdrawn', { isJudged: page.screen === 'phone' });

    const readings = ship.records('hours').length;
    await page.goto(home);
    await page.click('.target:has-text("all shafts")');
    const now = await page.$$eval('.row', (rows) => rows.map((r) => Number(/last: .*?([\d.]+) h/.exec(r.textContent)[1])));
    for (let i = 0; i < now.length; ++i) await page.fill(`.row >> nth=${i} >> .number`, (now[i] + 0.2).toFixed(1));
    await inspect(page, 'crew-hours');
    await keep(page);
    assert.equal(ship.records('hours').length, readings + now.length);

    const standing = await page.$$('text=It has cleared now');
    await page.click('.target:has-text("Alarm")');
    await page.selectOption('[name=alarm]', 'low_level');
    await inspect(page, 'crew-alarm');
    await keep(page);
    assert.equal((await page.$$('text=It has cleared now')).length, standing.length + 1);
    await inspect(page, 'crew-alarm-stands', { isWhole: false });
    await page.click('.inline:has-text("low level") button');
    await page.waitForURL(/kept=/);
    assert.equal((await page.$$('text=It has cleared now')).length, standing.length);
    assert.match(await page.textContent('#due ~ *'), /what|Nothing/);
    await page.done();
  });
}

test('an odd figure is said while it is typed, and kept all the same with a remark', async () => {
  for (const screen of Object.keys(screens)) {
    const page = await site.open(screen);
    const before = ship.records('refill').length;
    await page.goto(`${home}/record/refill?lubricator=lub1`);
    await looked(page, () => page.fill('[name=amount]', '900'));
    await page.waitForSelector('.look .odd');
    assert.match(await page.textContent('button.go'), /all the same/);
    assert.equal(ship.records('refill').length, before);
    await page.fill('[name=right_remark]', `two reservoirs, ${screen}`);
    await inspect(page, 'crew-odd', { isJudged: page.screen === 'phone' });
    await page.click('button.go');
    await kept(page);
    const [newest] = ship.records('refill').filter((r) => r.includes(`two reservoirs, ${screen}`));
    assert.ok(newest, 'the remark is in the log');
    await page.done();
  }
});

test('a tablet whose clock is wrong is asked about the date before anything is kept under it', async () => {
  for (const [kind, subject, name, typed] of [['refill', 'lubricator=lub1', 'amount', '2.1'], ['alarm', 'lubricator=lub1', 'alarm', 'other']]) {
    for (const days of [-900, -2, 4]) {
      const page = await site.open('tablet');
      await page.addInitScript((ms) => {
        const now = Date.now;
        Date.now = () => now() + ms;
      }, days * 86400000);
      const before = ship.records(kind).length;
      await page.goto(`${home}/record/${kind}?${subject}`);
      const field = `[name=${name}]`;
      await looked(page, () => (kind === 'alarm' ? page.selectOption(field, typed) : page.fill(field, typed)));
      await page.waitForSelector('.look li:has-text("this device\'s clock shows")');
      if (days < -100) await page.waitForSelector('.look li:has-text("is the date right?")');
      if (days > 0) await page.waitForSelector('.look li:has-text("it lies in the future")');
      assert.match(await page.textContent('button.go'), /all the same/);
      assert.equal(ship.records(kind).length, before);
      if (kind === 'refill' && days === -900) await inspect(page, 'crew-clock', { isJudged: true });
      await page.done();
    }
  }
  const page = await site.open('tablet');  // and before it is typed to the end, the press itself looks
  await page.addInitScript(() => {
    const now = Date.now;
    Date.now = () => now() - 900 * 86400000;
  });
  const before = ship.records('refill').length;
  await page.goto(`${home}/record/refill?lubricator=lub1`);
  await page.fill('[name=amount]', '2.1');
  await page.click('button.go');
  await page.waitForSelector('.look li:has-text("is the date right?")');
  assert.equal(ship.records('refill').length, before);
  await page.goto(`${home}/hours`);
  await looked(page, () => page.fill('.row >> nth=0 >> .number', '99999'));
  await page.waitForSelector('.row >> nth=0 >> .odd:has-text("this device\'s clock shows")');
  await page.done();
});

test('a wrong figure is told beside its field and keeps nothing', async () => {
  const page = await site.open('phone', { foretold: /422/ });
  const before = ship.records('refill').length;
  await page.goto(`${home}/record/refill?lubricator=lub1`);
  await looked(page, () => page.fill('[name=amount]', 'two'));
  await page.click('button.go');
  await page.waitForSelector('.fault:has-text("two")');
  await inspect(page, 'crew-wrong', { isJudged: true });
  assert.equal(ship.records('refill').length, before);
  await page.done();
});

test('a keypad with a comma will do, and a refill told by its two levels alone', async () => {
  const page = await site.open('tablet', { hasTouch: true });
  await page.goto(`${home}/record/refill?lubricator=lub1`);
  await page.waitForSelector('[name=amount]:focus');
  await looked(page, () => page.keyboard.type('1,7'));
  assert.equal(await page.inputValue('[name=amount]'), '1.7');
  assert.equal(await page.locator('.fault').count(), 0);
  await page.fill('[name=amount]', '');
  await page.fill('[name=level_before_pct]', '41,5');
  await page.fill('[name=level_after_pct]', '88');
  assert.match(await keep(page), /Kept: refill lub1.*level 41.5 % to 88 %/s);
  await page.goto(`${home}/hours`);
  await page.fill('.row >> nth=0 >> .number', '123,4');
  assert.equal(await page.inputValue('.row >> nth=0 >> .number'), '123.4');
  await page.done();
});

test('a double tap keeps one record', async () => {
  const page = await site.open('phone', { hasTouch: true });
  await page.goto(`${home}/record/refill?lubricator=lub1`);
  await looked(page, () => page.fill('[name=amount]', '1.9'));
  const before = ship.records('refill').length;
  const sent = [];
  page.on('request', (r) => { if (r.url().endsWith('/api/records')) sent.push(r.postData()); });
  const button = await page.$('button.go');
  await button.scrollIntoViewIfNeeded();
  const where = await button.boundingBox();
  const x = where.x + where.width / 2, y = where.y + where.height / 2;
  await Promise.all([page.touchscreen.tap(x, y), page.touchscreen.tap(x, y), page.touchscreen.tap(x, y)]);
  await page.waitForURL(/kept=/, { timeout: 3000 }).catch(() => {});
  if (!/kept=/.test(page.url())) await keep(page, () => page.dblclick('button.go', { timeout: 5000 }));
  await page.waitForTimeout(500);
  assert.equal(ship.records('refill').length, before + 1);
  assert.ok(sent.length >= 1);
  await page.done();
});

test('a refill by keyboard alone, from the ship to the ship', async () => {
  const page = await site.open('desk');
  const before = ship.records('refill').length;
  await page.goto(home);
  const reach = async (selector) => {
    for (let i = 0; i < 60; ++i) {
      await page.keyboard.press('Tab');
      if (await page.evaluate((s) => document.activeElement.matches(s), selector)) {
        const ring = await page.evaluate(() => getComputedStyle(document.activeElement).outlineStyle);
        assert.notEqual(ring, 'none', `${selector}: it does not show that the keys go there`);
        return;
      }
    }
    assert.fail(`${selector} is not reached by the tabulator`);
  };
  await page.keyboard.press('Tab');
  assert.equal(await page.evaluate(() => document.activeElement.className), 'skip');
  await page.keyboard.press('Enter');
  await reach('a.target[href*="refill"]');
  await page.keyboard.press('Enter');
  await page.waitForSelector('[name=amount]:focus');
  await looked(page, () => page.keyboard.type('2.2'));
  await reach('[name=unit]');
  await page.keyboard.press('ArrowRight');
  await page.keyboard.press('ArrowLeft');
  await reach('button.go');
  await keep(page, () => page.keyboard.press('Enter'));
  assert.equal(ship.records('refill').length, before + 1);
  await page.done();
});

test('without script the same form keeps the same record', async () => {
  const page = await site.open('phone', { javaScriptEnabled: false });
  const before = ship.records('refill').length;
  await page.goto(`${home}/record/refill?lubricator=lub1`);
  await page.fill('[name=amount]', '900');
  await page.click('button.go');
  await page.waitForSelector('text=Is that right?');
  assert.equal(ship.records('refill').length, before);
  await page.click('button.go');
  await kept(page);
  assert.equal(ship.records('refill').length, before + 1);
  await until(async () => (await page.textContent('.kept')).includes('900'), 'the notice');
  await page.done();
});

test('an odd hour reading is said while it is typed, and one press keeps it', async () => {
  const page = await site.open('tablet');
  const before = ship.records('hours').length;
  await page.goto(`${home}/hours`);
  const number = page.locator('.row >> nth=0 >> .number'), says = page.locator('.row >> nth=0 >> .odd');
  await looked(page, () => number.fill('1.0'));
  await says.filter({ hasText: 'Press the button if it is right.' }).waitFor();
  await number.fill('');
  await until(async () => (await says.textContent()) === '', 'what was said is gone');
  await looked(page, () => number.fill('1.0'));
  await says.filter({ hasText: 'Press the button if it is right.' }).waitFor();
  assert.equal(ship.records('hours').length, before);
  await page.waitForSelector('.row[data-seen]');
  assert.equal(await page.textContent('button.go'), 'Keep 1 odd reading');
  await page.click('button.go');
  await page.waitForURL(/hours=1/);
  assert.equal(ship.records('hours').length, before + 1);
  await page.done();
});

test('on a phone no odd reading is kept before its warning was in sight, and the button counts them', async () => {
  const page = await site.open('phone', { hasTouch: true });
  const before = ship.records('hours').length;
  await page.goto(`${home}/hours`);
  const rows = await page.locator('.row').count();
  /** Of each warning: whether nothing of it is behind the bar or beyond the screen. */
  const inSight = () => page.$$eval('.row[data-said] .odd', (all) => {
    const foot = document.querySelector('.foot').getBoundingClientRect().top;
    return all.map((e) => e.getBoundingClientRect().top >= 0 && e.getBoundingClientRect().bottom <= foot);
  });
  await page.evaluate(() => scrollTo(0, 0));
  for (const i of [0, 1]) await looked(page, () => page.fill(`.row >> nth=${i} >> .number`, '1.0'));
  await page.waitForSelector('.row >> nth=1 >> .odd:has-text("Press the button")');
  assert.equal((await inSight())[1], true, 'the warning of the field at hand is above the bar');
  assert.equal(await page.textContent('button.go'), 'Keep 2 odd readings');
  const covered = await page.evaluate(() => document.activeElement.getBoundingClientRect().bottom - document.querySelector('.foot').getBoundingClientRect().top);
  assert.ok(covered <= 0, `${covered} px of the field are behind the bar`);
  await inspect(page, 'crew-hours-odd', { isWhole: false, isJudged: true });

  // The last one is odd too, and its warning is scrolled away before it was read.
  await page.setViewportSize({ width: 360, height: 480 });
  await looked(page, () => page.fill(`.row >> nth=${rows - 1} >> .number`, '2.0'));
  await page.evaluate(() => { document.activeElement.blur(); scrollTo(0, 0); });
  await page.waitForTimeout(400);
  assert.equal(await page.locator('.row[data-seen]').count(), 2);
  await page.tap('button.go');
  await until(async () => (await page.locator('.row[data-seen]').count()) === 3, 'all were in sight');
  assert.equal(ship.records('hours').length, before, 'nothing is kept by the press that shows a warning');
  assert.equal(await page.textContent('button.go'), 'Keep 3 odd readings');
  await page.tap('button.go');
  await page.waitForURL(/hours=3/);
  assert.equal(ship.records('hours').length, before + 3);
  await page.done();
});

test('an alarm or a work that nobody chose is not kept', async () => {
  for (const [kind, sentence] of [['alarm', 'Choose which alarm it was.'], ['work', 'Choose which work it was.']]) {
    const before = ship.records(kind).length;
    for (const javaScriptEnabled of [true, false]) {
      const page = await site.open('phone', { javaScriptEnabled, foretold: /422/ });
      await page.goto(`${home}/record/${kind}${kind === 'alarm' ? '?lubricator=lub1' : ''}`);
      assert.equal(await page.inputValue(`[name=${kind}]`), '');
      await page.fill('[name=by]', '2/E');
      await page.click('button.go');
      await page.waitForSelector('.fault');
      assert.deepEqual(await page.$$eval('.fault', (all) => all.map((e) => e.textContent)), [sentence]);
      await page.done();
    }
    assert.equal(ship.records(kind).length, before);
  }
});

test('a refill far from what fits is told before it is kept, and one more press keeps it', async () => {
  const page = await site.open('phone', { hasTouch: true });
  const before = ship.records('refill').length;
  await page.goto('/ship/tarnwick/record/refill?lubricator=lub1');
  const room = await page.$eval('.known [data-unit=kg]', (e) => parseFloat(e.textContent));
  await page.check('[name=unit][value=kg]', { force: true });
  await looked(page, () => page.fill('[name=amount]', (room / 10).toFixed(3)));
  await page.waitForSelector('.look li:has-text("to top up a part is all right")');
  assert.match(await page.textContent('.look'), /would fit/);
  await looked(page, () => page.fill('[name=amount]', (room * 0.6).toFixed(2)));
  assert.equal(await page.locator('.look li').count(), 0, 'a part of it is a refill like any other');
  assert.equal(ship.records('refill').length, before);
  await page.done();
});

test('on a phone no table cuts a number off', async () => {
  const page = await site.open('phone');
  for (const path of [home, `${home}?as_of=2026-10-01`, '/fleet', `${home}/records`, `${home}/advice`, '/ship/brackensound/shaft/fin_port']) {
    await page.goto(path);
    const cut = await page.$$eval('td, th', (all) => all.filter((e) => e.checkVisibility() && e.closest('thead') === null).filter((e) => {
      const box = e.closest('.wide');
      // Where the table goes on behind the edge of its box, a shadow says so.
      const goesOn = box && box.scrollWidth > box.clientWidth && getComputedStyle(box).overflowX === 'auto' &&
        getComputedStyle(box).backgroundImage.includes('gradient');
      const right = box ? box.getBoundingClientRect().right : innerWidth;
      return e.scrollWidth > e.clientWidth + 1 || (!goesOn && e.getBoundingClientRect().right > right + 1);
    }).map((e) => e.outerHTML.slice(0, 120)));
    assert.deepEqual(cut, [], path);
    const under = await page.$$eval('.stack td:not(:first-child)', (all) => all.filter((e) => e.checkVisibility() && parseFloat(getComputedStyle(e).paddingLeft) < 100).length);
    assert.equal(under, 0, `${path}: what a cell says stands beside its head, not on it`);
    const broken = await page.$$eval('.stack .d', (all) => all.filter((e) => e.tagName === 'SPAN' && e.getClientRects().length > 1).map((e) => e.textContent));
    assert.deepEqual(broken, [], `${path}: days in one piece`);
    if (path.startsWith('/fleet') || path.includes('?as_of') || path === home)
      assert.deepEqual(await page.$$eval('.stack', (all) => all.filter((e) => e.closest('.wide').scrollWidth > e.closest('.wide').clientWidth).length), 0, path);
  }
  await page.goto(`${home}?as_of=2026-10-01`);
  await inspect(page, 'crew-tables', { isJudged: true });
  await page.done();
});
