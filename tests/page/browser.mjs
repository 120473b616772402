// The built page in real browsers, as a technician goes through it.
//   node tests/page/browser.mjs [--firefox] [--slow] [NAME...]     NAME: only tests whose name holds it
// Pictures of what was seen lie in build-page/seen. Ends with "N passed, N failed".
import {spawn} from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import assert from 'node:assert/strict';
import {fileURLToPath} from 'node:url';
import puppeteer from 'puppeteer-core';
import agreement from './agree.cjs';
import {halfWritten, otherVersion, startHost} from './changing_host.mjs';

const repo = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '../..');
const site = process.env.RIPPLEGAUGE_SITE ?? path.join(repo, 'build-page/site');
const program = process.env.RIPPLEGAUGE_PROGRAM ?? path.join(repo, 'build/ripplegauge');
const seen = path.join(repo, 'build-page/seen');
const sample = (name) => path.join(repo, 'samples/photos', name);
const firefox = process.argv.includes('--firefox');
const slow = process.argv.includes('--slow');
const wanted = process.argv.slice(2).filter((argument) => !argument.startsWith('--'));
const phone = {width: 390, height: 844, deviceScaleFactor: 2, isMobile: !firefox, hasTouch: !firefox};
const patience = 60000; // of a busy machine; nothing is timed

/** The program's own server, on a port of its own. */
function startServer() {
  const server = spawn(program, ['page', '--folder', site, '--port', '0'], {stdio: ['ignore', 'pipe', 'inherit']});
  return new Promise((resolve, reject) => {
    let said = '';
    server.stdout.on('data', (data) => {
      said += data;
      const found = /http:\/\/localhost:(\d+)\//.exec(said);
      if (found) resolve({address: found[0], stop: () => server.kill()});
    });
    server.on('exit', (code) => reject(new Error(`the server ended with ${code}: ${said}`))); // later ones find it resolved
  });
}

const executablePath = firefox ? '/usr/bin/firefox-esr' : '/usr/bin/chromium';
if (!fs.existsSync(executablePath)) {
  console.log(`${executablePath} is not there (apt install ${path.basename(executablePath)}): the tests in it are skipped\n0 passed, 0 failed`);
  process.exit(0);
}
const launch = (more = []) =>
  puppeteer.launch({
    executablePath,
    headless: true,
    protocolTimeout: patience,
    ...(firefox ? {browser: 'firefox'} : {args: ['--no-sandbox', '--disable-dev-shm-usage', ...more]}),
  });

const shared = await startServer();
const browser = await launch();
fs.mkdirSync(seen, {recursive: true});

/** A page with an empty store of its own; every request that it makes is watched. */
async function newVisitor(address = shared.address, from = browser) {
  const context = await from.createBrowserContext();
  const page = await context.newPage();
  await page.setViewport(phone);
  page.setDefaultTimeout(patience);
  const strangers = [];
  page.on('request', (request) => {
    const url = request.url();
    if (!url.startsWith(address) && !/^(blob|data|about):/.test(url)) strangers.push(url);
  });
  const faults = [];
  page.on('pageerror', (error) => faults.push(error.message));
  page.on('console', (message) => message.type() === 'error' && faults.push(message.text()));
  await page.goto(address);
  return {context, page, strangers, faults};
}

const picture = (page, name) => page.screenshot({path: path.join(seen, `${firefox ? 'firefox-' : ''}${name}.png`), fullPage: true});
const textOf = (page) => page.$eval('main', (main) => main.innerText);
/** By the clock, not by frames: a page behind another one draws none. */
const until = (page, condition, ...values) => page.waitForFunction(condition, {polling: 100}, ...values);
const shows = (page, text) => until(page, (wanted) => document.body.innerText.includes(wanted), text);

async function press(page, text) {
  const found = await until(page, (wanted) => [...document.querySelectorAll('button, a, summary, label.file')].find((one) => one.checkVisibility() && one.innerText.trim().startsWith(wanted)), text);
  await found.asElement().evaluate((one) => one.click());
}

/** Into the file input behind a label. */
async function choose(page, label, ...files) {
  await until(page, (wanted) => [...document.querySelectorAll('label.file')].some((one) => one.innerText.trim().startsWith(wanted)), label);
  const input = await page.evaluateHandle((wanted) => [...document.querySelectorAll('label.file')].find((one) => one.innerText.trim().startsWith(wanted)).querySelector('input'), label);
  await input.uploadFile(...files);
}

async function type(page, label, text) {
  const input = await until(page, (wanted) => [...document.querySelectorAll('label.field')].find((one) => one.innerText.trim().startsWith(wanted))?.querySelector('input'), label);
  await input.evaluate((one, value) => {
    one.value = value;
    one.dispatchEvent(new Event('change', {bubbles: true}));
  }, text);
}

/** Says what samples/README.md says of low-dark. */
async function setUp(page, pitch = '14', bar = '98.4') {
  await page.evaluate(() => (location.hash = '#/settings'));
  await shows(page, 'Another striped board');
  await press(page, 'Another striped board');
  await type(page, 'Pitch, mm', pitch);
  await press(page, 'Use this pitch');
  await shows(page, `a board of ${pitch} mm pitch`);
  await type(page, 'The card’s 100 mm bar', bar);
  await shows(page, 'Stored');
  await page.evaluate(() => (location.hash = '#/'));
  await shows(page, 'Take or choose a photo');
}

/** A picture drawn anew by the browser: turned a quarter to the left, or of another size. */
async function redrawn(page, file, {turned = false, width = 0, height = 0}) {
  const source = fs.readFileSync(file).toString('base64');
  const made = await page.evaluate(
    async (base64, quarter, wide, high) => {
      const bytes = Uint8Array.from(atob(base64), (one) => one.charCodeAt(0));
      const bitmap = await createImageBitmap(new Blob([bytes], {type: 'image/jpeg'}));
      const canvas = new OffscreenCanvas(quarter ? bitmap.height : wide, quarter ? bitmap.width : high);
      const context = canvas.getContext('2d');
      context.imageSmoothingQuality = 'high';
      if (quarter) context.setTransform(0, -1, 1, 0, 0, bitmap.width);
      context.drawImage(bitmap, 0, 0, quarter ? bitmap.width : wide, quarter ? bitmap.height : high);
      const out = new Uint8Array(await (await canvas.convertToBlob({type: 'image/jpeg', quality: 0.95})).arrayBuffer());
      let text = '';
      for (let i = 0; i < out.length; i += 32768) text += String.fromCharCode(...out.subarray(i, i + 32768));
      return btoa(text);
    },
    source, turned, width, height,
  );
  return Buffer.from(made, 'base64');
}

/** With a TIFF block (CIPA DC-008) of one entry after the start of the JPEG. */
function withOrientation(jpeg, orientation) {
  const tiff = Buffer.from([0x49, 0x49, 42, 0, 8, 0, 0, 0, 1, 0, 0x12, 0x01, 3, 0, 1, 0, 0, 0, orientation, 0, 0, 0, 0, 0, 0, 0]);
  const length = Buffer.alloc(2);
  length.writeUInt16BE(2 + 6 + tiff.length);
  return Buffer.concat([jpeg.subarray(0, 2), Buffer.from([0xff, 0xe1]), length, Buffer.from('Exif\0\0', 'latin1'), tiff, jpeg.subarray(2)]);
}

const storedReadings = (page) => page.evaluate(async () => (await (await import('./store.js')).allReadings()).map(({text}) => JSON.parse(text)));

async function sizeOf(page, file) {
  return page.evaluate(async (base64) => {
    const {width, height} = await createImageBitmap(new Blob([Uint8Array.from(atob(base64), (one) => one.charCodeAt(0))]));
    return [width, height];
  }, fs.readFileSync(file).toString('base64'));
}

async function assertAccessible(page, where) {
  if (firefox) return; // the same page; the check takes long enough once
  const source = fs.readFileSync(path.join(repo, 'tests/page/node_modules/axe-core/axe.min.js'), 'utf8');
  await page.evaluate(source);
  const {violations} = await page.evaluate(() => axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice']}));
  assert.deepEqual(violations.map((one) => `${where}: ${one.id}: ${one.help} ${one.nodes.map((node) => node.target.join(' ')).slice(0, 3)}`), []);
}

/** How much of the outline of the newest reading's first spot has the colour of a low, with the whole photo shown. */
async function outlineDrawn(page) {
  const reading = (await storedReadings(page)).pop();
  return page.$eval('figure canvas', (canvas, outline, photoWidth) => {
    const context = canvas.getContext('2d');
    const scale = canvas.width / photoWidth;
    const blue = ([x, y]) => {
      const {data: [r, g, b]} = context.getImageData(Math.floor((x + 0.5) * scale), Math.floor((y + 0.5) * scale), 1, 1);
      return Math.hypot(r - 0x0a, g - 0x58, b - 0xb0) < 40;
    };
    return outline.filter(blue).length / outline.length;
  }, reading.dents[0].outline_px, reading.photo_info.width_px);
}

/** Whether all of it is on the screen, and not behind the bar at the foot of the page. */
const reachable = (page, selector) => page.$eval(selector, (one) => {
  const {top, bottom} = one.getBoundingClientRect();
  return top >= 0 && bottom <= document.querySelector('nav').getBoundingClientRect().top;
});

/** Words that stand on two lines. */
const brokenWords = (page, selector) => page.$eval(selector, (top) => {
  const texts = document.createTreeWalker(top, NodeFilter.SHOW_TEXT);
  const broken = [];
  const range = document.createRange();
  while (texts.nextNode()) {
    for (const {index, 0: word} of texts.currentNode.data.matchAll(/\S+/g)) {
      range.setStart(texts.currentNode, index);
      range.setEnd(texts.currentNode, index + word.length);
      if (range.getClientRects().length > 1) broken.push(word);
    }
  }
  return broken;
});

const versionedFiles = ['app.js', 'page.css', 'reading_view.js', 'worker.js'];

/** Those of them that the page gets in the next version. */
const filesOfNext = (page) => page.evaluate(async (names) => {
  const texts = await Promise.all(names.map(async (name) => (await fetch(name)).text()));
  return names.filter((_, i) => /\bnext\b[^\n]*\n$/.test(texts[i]));
}, versionedFiles);

/** Asks for a new service worker and waits until it is kept or thrown away. */
const stateAfterUpdate = (page) => page.evaluate(async () => {
  const registration = await navigator.serviceWorker.getRegistration();
  await registration.update();
  const made = registration.installing ?? registration.waiting;
  if (!made) return 'none';
  while (made.state === 'installing') await new Promise((resolve) => setTimeout(resolve, 50));
  return made.state;
});

/** The old worker goes when its last page has gone, a moment later. */
async function opensNext(page, address) {
  for (let tries = 0; tries < 50; ++tries) {
    await page.goto(address);
    await page.waitForSelector('html[data-ready]');
    if ((await filesOfNext(page)).includes('app.js')) return;
    await page.goto('about:blank');
    await new Promise((resolve) => setTimeout(resolve, 200));
  }
  throw new Error('the new version never took over');
}

/** "180x180"; "drawn" for one without a size of its own. */
const iconSize = (page, address) => page.evaluate(async (source) => {
  const image = new Image();
  image.src = source;
  await image.decode();
  return source.endsWith('.svg') ? 'drawn' : `${image.naturalWidth}x${image.naturalHeight}`;
}, address);

const tests = {
  async 'a newcomer measures the sample and finds the plan'({page}) {
    await shows(page, 'Set up board and card');
    await picture(page, 'first');
    await assertAccessible(page, 'first');
    await press(page, 'Measure a sample photo');
    await shows(page, 'How to pull it');
    const text = await textOf(page);
    assert.match(text, /17\.2 mm\s+17\.1 to 17\.3/);
    assert.match(text, /0\.21\d mm/);
    assert.match(text, /moderate/);
    assert.match(text, /Stop/);
    assert.match(text, /burn/);
    const lines = await page.$$eval('.plan > div', (all) => all.length);
    assert.ok(lines >= 8 && lines <= 14, `${lines} lines`);
    await picture(page, 'sample');
    await assertAccessible(page, 'reading');
    await press(page, 'Whole photo');
    assert.ok((await outlineDrawn(page)) > 0.8, 'the spot has its outline in the picture');
  },

  async 'a clock counts down to the pull once the air is known'({page}) {
    await press(page, 'Measure a sample photo');
    await press(page, 'When to pull');
    await shows(page, 'Pull when the thermometer beside the tab reads 34 to 40 °C.');
    await shows(page, 'Say how warm the air is');
    await press(page, 'What the photo cannot show');
    await type(page, 'Air', '20');
    await until(page, () => !document.body.innerText.includes('Say how warm the air is'));
    await press(page, 'When to pull');
    await press(page, 'Read now');
    await shows(page, 'Type what the thermometer reads');
    await type(page, 'Panel now', '50');
    await press(page, 'Read now');
    await shows(page, 'Read it again');
    await type(page, 'Panel now', '49.9');
    await press(page, 'Read now');
    await shows(page, 'the window is long');
    await until(page, () => /^(wait \d+:\d\d|pull now, \d+:\d\d left|too cool)/.test(document.querySelector('[role=timer]').textContent));
    await picture(page, 'pull-clock');
    await assertAccessible(page, 'pull clock');
  },

  async 'a photo of one’s own, and the way back'({page}) {
    await setUp(page);
    await picture(page, 'ready');
    await choose(page, 'Take or choose a photo', sample('low-dark.jpg'));
    await shows(page, 'How to pull it');
    assert.match(await textOf(page), /17\.2 mm/);
    await page.goBack();
    await shows(page, 'Take or choose a photo');
    await page.evaluate(() => (location.hash = '#/today'));
    await shows(page, 'low, 17.2 mm, moderate');
    await picture(page, 'today');
    await assertAccessible(page, 'today');
    await page.reload();
    await shows(page, 'low, 17.2 mm, moderate');
  },

  async 'a refusal says what to do and shows the photo'({page}) {
    await setUp(page);
    await choose(page, 'Take or choose a photo', sample('refused-no-card.jpg'));
    await shows(page, 'What to do:');
    const text = await textOf(page);
    assert.match(text, /card/i);
    assert.ok(await page.$('figure canvas'));
    await picture(page, 'refused');
    await assertAccessible(page, 'refused');
  },

  async 'hail shows as a table'({page}) {
    await setUp(page, '12', '100.6');
    await choose(page, 'Take or choose a photo', sample('hail.jpg'));
    await shows(page, 'How to pull it');
    assert.equal(await page.$$eval('table tbody tr', (rows) => rows.length), 5);
    assert.deepEqual(await brokenWords(page, 'table'), []);
    await picture(page, 'hail');
  },

  async 'before and after'({page}) {
    await setUp(page);
    await choose(page, 'Take or choose a photo', sample('pull-before.jpg'));
    await shows(page, 'How to pull it');
    await choose(page, 'Photo after the pull', sample('pull-after.jpg'));
    await shows(page, 'Before and after');
    await shows(page, 'How sure:');
    await until(page, () => document.querySelectorAll('.pictures canvas').length === 2);
    await picture(page, 'compare');
    await assertAccessible(page, 'compare');
  },

  async 'set-up goes out and comes back'({page}) {
    await setUp(page);
    const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'page-profile-'));
    const exported = await page.evaluate(async () => {
      const {Workshop} = await import('./workshop.js');
      const workshop = new Workshop();
      await workshop.load();
      return workshop.exported();
    });
    assert.equal(exported[0].name, 'workshop.json');
    const profile = JSON.parse(exported[0].text);
    assert.equal(profile.board_pitch_mm, 14);
    assert.equal(profile.bar_length_mm, 98.4);
    fs.writeFileSync(path.join(folder, 'workshop.json'), JSON.stringify({...profile, bar_length_mm: 99.1}));
    await page.evaluate(() => (location.hash = '#/settings'));
    await choose(page, 'Read a profile', path.join(folder, 'workshop.json'));
    await shows(page, 'Profile read and stored');
    assert.equal(await page.$eval('input[placeholder="not measured"]', (input) => input.value), '99.1');
    fs.writeFileSync(path.join(folder, 'workshop.json'), '{"schema": 1, "bar_length_mm": -3}');
    await choose(page, 'Read a profile', path.join(folder, 'workshop.json'));
    await shows(page, 'bar_length_mm');
    await picture(page, 'settings');
    await assertAccessible(page, 'settings');
    assert.equal(await page.$eval('input[placeholder="not measured"]', (input) => input.value), '99.1');
  },

  async 'a file that is no photo, and a HEIC'({page}) {
    await setUp(page);
    const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'page-bad-'));
    const cases = [
      ['text.jpg', Buffer.from('hello, this is no photo'), /not a photo but text/],
      ['cut.jpg', fs.readFileSync(sample('low-dark.jpg')).subarray(0, 200000), /damaged or cut short/],
      ['phone.heic', Buffer.concat([Buffer.from([0, 0, 0, 24]), Buffer.from('ftypheic'), Buffer.alloc(64)]), /HEIC photo, which this browser cannot decode/],
    ];
    for (const [name, bytes, words] of cases) {
      fs.writeFileSync(path.join(folder, name), bytes);
      await choose(page, 'Take or choose a photo', path.join(folder, name));
      await page.waitForSelector('dialog[role=alertdialog]');
      assert.match(await page.$eval('dialog[role=alertdialog]', (one) => one.innerText), words);
      if (name === 'phone.heic') await picture(page, 'heic');
      await press(page, 'Close');
    }
  },

  async 'inches and Fahrenheit, dark and right-to-left'({page}) {
    await page.evaluate(() => (location.hash = '#/settings'));
    await shows(page, 'Lengths');
    for (const [name, value] of [['Lengths', 'inch'], ['Temperatures', 'F']]) {
      await page.evaluate((wanted, chosen) => {
        const list = [...document.querySelectorAll('label.field')].find((one) => one.innerText.startsWith(wanted)).querySelector('select');
        list.value = chosen;
        list.dispatchEvent(new Event('change'));
      }, name, value);
      await shows(page, 'Stored');
    }
    await page.emulateMediaFeatures([{name: 'prefers-color-scheme', value: 'dark'}]).catch(() => {});
    await page.evaluate(() => (document.documentElement.dir = 'rtl'));
    await page.evaluate(() => (location.hash = '#/'));
    await press(page, 'Measure a sample photo');
    await shows(page, 'How to pull it');
    const text = await textOf(page);
    assert.match(text, /0\.67\d? in/);
    assert.match(text, /°F/);
    const [number, unit] = await page.$eval('.sizes strong', (size) => [0, size.textContent.indexOf('in')].map((at) => {
      const range = document.createRange();
      range.setStart(size.firstChild, at);
      range.setEnd(size.firstChild, at + 1);
      return range.getBoundingClientRect().left;
    }));
    assert.ok(number < unit, 'a size reads from left to right');
    assert.doesNotMatch(text, /°C/);
    await picture(page, 'dark-rtl');
    await assertAccessible(page, 'dark');
  },

  async 'without a network after the first visit'() {
    const own = await startServer();
    const {page, context, strangers} = await newVisitor(own.address);
    await page.waitForSelector('html[data-offline=ready]');
    own.stop();
    await page.reload();
    await press(page, 'Measure a sample photo');
    await shows(page, 'How to pull it');
    assert.deepEqual(strangers, []);
    await context.close();
  },

  async 'a new version takes over whole, and the readings stay'() {
    const next = otherVersion(site, Object.fromEntries(versionedFiles.map((name) => [name, `\n${name.endsWith('.css') ? '/* next */' : '// next'}\n`])));
    const host = await startHost(site);
    const {page, context, strangers} = await newVisitor(host.address);
    await page.waitForSelector('html[data-offline=ready]');
    await press(page, 'Measure a sample photo');
    await shows(page, 'How to pull it');

    host.folder = halfWritten(site, next, ['worker.js', 'page.css']);
    assert.equal(await stateAfterUpdate(page), 'redundant', 'a half-written version must not be kept');
    host.folder = next;
    assert.equal(await stateAfterUpdate(page), 'installed');
    await page.reload();
    assert.deepEqual(await filesOfNext(page), [], 'while a page of the old version is open');
    await page.evaluate(() => (location.hash = '#/'));
    await press(page, 'Measure a sample photo');
    await shows(page, 'How to pull it');

    const resting = await context.newPage();
    await page.close();
    host.stop();
    const later = await context.newPage();
    await resting.close();
    await later.setViewport(phone);
    later.setDefaultTimeout(patience);
    await opensNext(later, host.address);
    assert.deepEqual(await filesOfNext(later), versionedFiles);
    assert.equal((await later.evaluate(() => caches.keys())).length, 1, 'nothing of the old version is left');
    await later.evaluate(() => (location.hash = '#/today'));
    await shows(later, 'low, 17.2 mm, moderate');
    assert.equal((await storedReadings(later)).length, 2);
    assert.deepEqual(strangers, []);
    await context.close();
  },

  async 'it can be put on the home screen, and starts from there without a network'() {
    if (firefox) return 'skipped'; // it installs no pages on a computer
    const host = await startHost(site);
    const {page, context} = await newVisitor(host.address);
    await page.waitForSelector('html[data-offline=ready]');
    const devtools = await page.createCDPSession();
    const {errors, data} = await devtools.send('Page.getAppManifest');
    assert.deepEqual(errors, []);
    const {installabilityErrors} = await devtools.send('Page.getInstallabilityErrors');
    assert.deepEqual(installabilityErrors.filter(({errorId}) => errorId !== 'in-incognito'), []); // as every test is
    const manifest = JSON.parse(data);
    assert.equal(manifest.display, 'standalone');
    host.stop();
    for (const icon of manifest.icons) assert.equal(await iconSize(page, icon.src), icon.sizes === 'any' ? 'drawn' : icon.sizes, icon.src);
    await page.goto(new URL(manifest.start_url, host.address));
    await press(page, 'Measure a sample photo');
    await shows(page, 'How to pull it');
    await context.close();
  },

  async 'the picture with the spot is shared'({page}) {
    await press(page, 'Measure a sample photo');
    await shows(page, 'How to pull it');
    await page.evaluate(() => {
      Object.defineProperty(navigator, 'canShare', {value: ({files}) => files.length === 1});
      Object.defineProperty(navigator, 'share', {value: async ({files}) => (window.given = files[0])});
    });
    await press(page, 'Share the picture');
    await until(page, () => window.given);
    const shared = await page.evaluate(async () => {
      const bitmap = await createImageBitmap(window.given);
      const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
      const context = canvas.getContext('2d');
      context.drawImage(bitmap, 0, 0);
      const {data} = context.getImageData(0, 0, bitmap.width, bitmap.height);
      let drawn = 0; // pixels of the blue of a low's outline and label
      for (let i = 0; i < data.length; i += 4) drawn += Math.hypot(data[i] - 0x0a, data[i + 1] - 0x58, data[i + 2] - 0xb0) < 40;
      return {name: window.given.name, type: window.given.type, width: bitmap.width, height: bitmap.height, drawn, shown: document.querySelector('figure canvas').height / document.querySelector('figure canvas').width};
    });
    assert.equal(shared.name, 'sample-measured.jpg');
    assert.equal(shared.type, 'image/jpeg');
    assert.equal(shared.width, 1600);
    assert.ok(shared.height > 1600 * shared.shown + 60, 'the sizes stand below the photo');
    assert.ok(shared.drawn > 3000, `${shared.drawn} pixels of the spot's colour`);
  },

  async 'practice photos read as they do in the program'({page}) {
    const folder = path.join(repo, '../shared/practice/single');
    if (!fs.existsSync(folder)) return 'skipped';
    const photos = fs.readdirSync(folder).filter((name) => name.endsWith('.jpg')).filter((_, i) => slow || i < 3);
    const wrong = [];
    for (const name of photos) {
      const photo = path.join(folder, name);
      const given = agreement.givenFor(photo);
      await setUp(page, String(given.pitch), String(given.bar));
      await choose(page, 'Take or choose a photo', photo);
      await until(page, (count) => document.querySelector('h1').innerText !== 'Measure a dent' && !document.querySelector('dialog') && count, 1);
      const reading = (await storedReadings(page)).pop();
      assert.equal(reading.photo, name);
      wrong.push(...agreement.differences(agreement.byProgram(photo, given).reading, reading).map((words) => `${name}: ${words}`));
    }
    assert.deepEqual(wrong, []);
  },

  async 'a photo that lies on its side in the file'({page}) {
    await setUp(page);
    const bytes = await redrawn(page, sample('low-dark.jpg'), {turned: true});
    const file = path.join(fs.mkdtempSync(path.join(os.tmpdir(), 'page-turned-')), 'turned.jpg');
    fs.writeFileSync(file, withOrientation(bytes, 6));
    await choose(page, 'Take or choose a photo', file);
    await shows(page, 'How to pull it');
    const [reading] = await storedReadings(page);
    assert.deepEqual([reading.photo_info.width_px, reading.photo_info.height_px], await sizeOf(page, sample('low-dark.jpg')));
    assert.ok(Math.abs(reading.dents[0].diameter_mm.value - 17.22) < 0.1, `${reading.dents[0].diameter_mm.value} mm`);
    await picture(page, 'turned');
  },

  async 'a photo of 48 megapixels'({page}) {
    await setUp(page);
    const bytes = await redrawn(page, sample('low-dark.jpg'), {width: 8064, height: 6048});
    const file = path.join(fs.mkdtempSync(path.join(os.tmpdir(), 'page-large-')), 'large.jpg');
    fs.writeFileSync(file, bytes);
    await choose(page, 'Take or choose a photo', file);
    await shows(page, 'How to pull it');
    const [reading] = await storedReadings(page);
    assert.equal(reading.photo_info.width_px * reading.photo_info.height_px, 8064 * 6048);
    assert.ok(Math.abs(reading.dents[0].diameter_mm.value - 17.22) < 0.2, `${reading.dents[0].diameter_mm.value} mm`);
  },

  async 'a full store says so and keeps nothing half'({page}) {
    if (firefox) return 'skipped';
    const devtools = await page.createCDPSession();
    await devtools.send('Storage.overrideQuotaForOrigin', {origin: new URL(shared.address).origin, quotaSize: 1000});
    await press(page, 'Measure a sample photo');
    await shows(page, 'no room left');
    await picture(page, 'full');
    await devtools.send('Storage.overrideQuotaForOrigin', {origin: new URL(shared.address).origin});
    await press(page, 'Close');
    await page.evaluate(() => (location.hash = '#/today'));
    await shows(page, 'No readings yet');
  },

  async 'two tabs see the same readings'({page, context}) {
    await press(page, 'Measure a sample photo');
    await shows(page, 'How to pull it');
    const other = await context.newPage();
    await other.setViewport(phone);
    await other.goto(`${shared.address}#/today`);
    await shows(other, 'low, 17.2 mm');
    other.on('dialog', (dialog) => dialog.accept());
    await press(other, 'Delete these');
    await shows(other, 'No readings yet');
    await page.reload();
    await shows(page, 'not on this phone');
  },

  async 'aiming sees the card, says when it is good, and takes the photo'({page: painter}) {
    if (firefox) return 'skipped'; // its camera cannot be given a film
    const film = path.join(fs.mkdtempSync(path.join(os.tmpdir(), 'page-film-')), 'still.mjpeg');
    // Drawn anew: of a progressive JPEG, or one of odd height, as the sample is, the browser makes no film.
    fs.writeFileSync(film, await redrawn(painter, path.join(site, 'sample.jpg'), {width: 1600, height: 1200}));
    const own = await launch(['--use-fake-device-for-media-stream', '--use-fake-ui-for-media-stream', `--use-file-for-fake-video-capture=${film}`]);
    try {
      const {page, strangers} = await newVisitor(shared.address, own);
      await setUp(page);
      await press(page, 'Aim with help');
      await shows(page, 'Good');
      await picture(page, 'aim');
      await assertAccessible(page, 'aim');
      await page.setViewport({...phone, width: phone.height, height: phone.width});
      await picture(page, 'aim-landscape');
      for (const shown of ['video', 'button.main', 'p.large']) assert.ok(await reachable(page, shown), `${shown} is seen with the phone held across`);
      await press(page, 'Take the photo');
      await shows(page, 'How to pull it');
      assert.match(await textOf(page), /17\.\d mm/);
      assert.deepEqual(strangers, []);
    } finally {
      await own.close();
    }
  },

  async 'cancelling leaves nothing behind'({page}) {
    await setUp(page);
    await choose(page, 'Take or choose a photo', sample('hail.jpg'));
    await page.waitForSelector('dialog.cover');
    await press(page, 'Cancel');
    await until(page, () => !document.querySelector('dialog'));
    await page.evaluate(() => (location.hash = '#/today'));
    await shows(page, 'No readings yet');
    await page.evaluate(() => (location.hash = '#/'));
    await press(page, 'Measure a sample photo');
    await shows(page, 'How to pull it');
  },
};

let passed = 0;
let failed = 0;
let skipped = 0;
for (const [name, test] of Object.entries(tests)) {
  if (wanted.length && !wanted.some((part) => name.includes(part))) continue;
  const visitor = await newVisitor();
  try {
    const result = await test(visitor);
    assert.deepEqual(visitor.strangers, [], 'requests to others');
    assert.deepEqual(visitor.faults, [], 'faults in the page');
    if (result === 'skipped') ++skipped;
    else ++passed;
    console.log(`${result === 'skipped' ? 'skipped' : 'ok     '} ${name}`);
  } catch (error) {
    ++failed;
    console.log(`FAILED  ${name}\n${error.stack}\n${visitor.faults.join('\n')}`);
    await picture(visitor.page, `failed-${failed}`).catch(() => {});
  }
  await visitor.context.close().catch(() => {});
}
await browser.close();
shared.stop();
console.log(`${passed} passed, ${failed} failed, ${skipped} skipped`);
process.exit(failed ? 1 : 0);
