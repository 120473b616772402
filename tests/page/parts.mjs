// Parts of the page that need neither browser nor core: words of sizes, files for a job, fingerprints, maps between pictures.
// Ends with "N passed, N failed".
import assert from 'node:assert/strict';
import {createHash} from 'node:crypto';
import {wordsOfCheck, wordsOfLook} from '../../src/page/site/aim_words.js';
import {partThatMatters, pictureFromView, photoPoint} from '../../src/page/site/picture.js';
import {clock, pullRange, pullWords, roughness} from '../../src/page/site/pull_clock.js';
import {sha256} from '../../src/page/site/sha256.js';
import {vehicleFile} from '../../src/page/site/today_view.js';
import {inUnits, lengthWords} from '../../src/page/site/units.js';
import {dayOf, timeOf} from '../../src/page/site/when.js';
import {scaledBoard} from '../../src/page/site/workshop.js';
import {runTests} from './run_tests.mjs';

const mm = {length: 'mm', temperature: 'C'};
const inch = {length: 'inch', temperature: 'F'};
const near = (a, b) => assert.ok(Math.abs(a - b) < 1e-9, `${a}, not ${b}`);

const tests = {
  'a size has the decimals that its interval deserves'() {
    assert.deepEqual(lengthWords({value: 17.218, low: 17.12, high: 17.33}, mm), {value: '17.2 mm', range: '17.1 to 17.3'});
    assert.deepEqual(lengthWords({value: 0.2113, low: 0.205, high: 0.2172}, mm), {value: '0.211 mm', range: '0.205 to 0.217'});
    assert.deepEqual(lengthWords({value: 41.3, low: 30, high: 52}, mm), {value: '41 mm', range: '30 to 52'});
    assert.equal(lengthWords({value: 25.4, low: 25.3, high: 25.5}, inch).value, '1.000 in');
  },
  'sentences keep their millimetres and get inches beside them'() {
    assert.equal(inUnits('a tab of 12 to 16 mm at 20 °C', mm), 'a tab of 12 to 16 mm at 20 °C');
    assert.equal(inUnits('a tab of 12 to 16 mm', inch), 'a tab of 12 to 16 mm [0.47 to 0.63 in]');
    assert.equal(inUnits('warm it to 40 to 50 °C', inch), 'warm it to 104 to 122 °F');
    assert.equal(inUnits('below \u22125 °C', inch), 'below 23 °F');
    assert.equal(inUnits('16 mmol', inch), '16 mmol');
    assert.equal(inUnits('a crease, 43 × 11.1 mm', inch), 'a crease, 43 × 11.1 mm [1.69 × 0.44 in]');
    assert.equal(inUnits('3 mm in a metre', inch), '3 mm in a metre');
  },
  'a reading has the day and hour of the phone, not of Greenwich'() {
    process.env.TZ = 'America/New_York';
    assert.equal(dayOf('2026-03-07T02:30:00.000Z'), '2026-03-06');
    assert.equal(timeOf('2026-03-07T02:30:00.000Z'), '21:30');
    assert.equal(timeOf('2026-07-07T13:05:00.000Z'), '09:05');
  },
  'the clock counts down to the pull, through it and past it'() {
    const moment = (value, half) => ({value, low: value - half, high: value + half});
    const found = {enters_s: moment(55, 10), leaves_s: moment(102, 15)};
    assert.equal(clock(65.4), '1:05');
    assert.equal(pullWords(found, 25), 'wait 0:30');
    assert.equal(pullWords(found, 60), 'pull now, 0:42 left');
    assert.match(pullWords(found, 103), /too cool/);
    assert.equal(pullWords({enters_s: null, leaves_s: moment(20, 5)}, 5), 'pull now, 0:15 left');
    assert.equal(pullWords({enters_s: null, leaves_s: null}, 5), '');
    assert.equal(roughness(found), '');
    assert.match(roughness({enters_s: moment(55, 30), leaves_s: moment(102, 15)}), /window is long \(47 s\)/);
    assert.deepEqual(pullRange({spots: [{}, {pull_at_c: {low: 28, high: 37}}]}), {low: 28, high: 37});
    assert.equal(pullRange({spots: [{}]}), null);
  },
  async 'a fingerprint is SHA-256, by the browser or without it'() {
    for (const length of [0, 1, 55, 56, 63, 64, 65, 1000]) {
      const bytes = Uint8Array.from({length}, (_, i) => (i * 7) & 255);
      const expected = createHash('sha256').update(bytes).digest('hex');
      assert.equal(await sha256(bytes), expected, String(length));
      assert.equal(await sha256(bytes, null), expected, String(length));
    }
  },
  'readings of a vehicle stand by panels, oldest first, as they were measured'() {
    const kept = [['roof', '{"n": 3}'], ['bonnet', '{"n": 2}'], ['roof', '{"n": 1}']].map(([panel, text]) => ({panel, text}));
    assert.deepEqual(JSON.parse(vehicleFile('a "red" one', kept)), {
      schema: 1,
      vehicle: 'a "red" one',
      panels: [{panel: 'roof', readings: [{n: 1}, {n: 3}]}, {panel: 'bonnet', readings: [{n: 2}]}],
    });
  },
  'a board that was printed at 99 % is 99 % of its file'() {
    const board = scaledBoard({pitch_mm: 16, name: 'b', tags: [{id: 3, x_mm: 100, y_mm: 50, side_mm: 20}]}, 99);
    assert.deepEqual(board, {pitch_mm: 15.84, name: 'b', tags: [{id: 3, x_mm: 99, y_mm: 49.5, side_mm: 19.8}]});
  },
  'the part of a photo that is shown holds the card and every spot'() {
    const map = [10, 0, 500, 0, 10, 500, 0, 0, 1];
    const reading = {photo_info: {width_px: 4000, height_px: 3000}, dents: [{outline_px: [[2500, 1500], [2600, 1500], [2550, 1600]]}]};
    const {x, y, width, height} = partThatMatters(reading, map);
    assert.ok(x <= 250 && y <= 250 && x + width >= 2600 && y + height >= 1600, `${[x, y, width, height]}`);
    assert.ok(x + width < 3000, 'and not the whole photo');
  },
  'a square view is mapped into the picture, half pixels and all'() {
    const map = [2, 0, 100, 0, -3, 200, 0, 0, 1]; // photo from panel
    assert.deepEqual(photoPoint(map, 10, 20), [120, 140]);
    assert.equal(photoPoint(null, 10, 20), null);
    const view = pictureFromView(map, {x0: 10, y1: 60, side: 50}, 100, 0.5);
    // The middle of the view's first pixel lies at x 10.25, y 59.75 mm.
    const [x, y] = photoPoint(map, 10.25, 59.75);
    near(view[2], (x + 0.5) * 0.5 - 0.5);
    near(view[5], (y + 0.5) * 0.5 - 0.5);
  },
  'aiming leads the card into the picture, then to stillness'() {
    const look = (x, y, size, count = 9) => ({
      width_px: 1000, height_px: 750, tags_on_card: 9,
      tags: Array.from({length: count}, (_, id) => ({id, corners_px: [[x, y], [x + size, y], [x + size, y + size], [x, y + size]]})),
    });
    const words = (seen, before) => wordsOfLook(seen, before)?.text;
    assert.match(words(look(0, 0, 0, 0)), /not seen/);
    assert.match(words(look(300, 300, 100)), /Nearer/);
    assert.match(words(look(100, -20, 800)), /Farther/);
    assert.equal(wordsOfLook(look(5, 300, 300)).pointer, '←');
    assert.equal(wordsOfLook(look(690, 300, 300)).pointer, '→');
    assert.equal(wordsOfLook(look(300, 5, 300)).pointer, '↑');
    assert.equal(wordsOfLook(look(300, 445, 300)).pointer, '↓');
    assert.match(words(look(300, 300, 300, 4)), /4 of 9/);
    assert.match(words(look(300, 300, 300)), /still/);
    assert.match(words(look(300, 300, 300), look(340, 300, 300)), /still/);
    assert.equal(wordsOfLook(look(300, 300, 300), look(303, 300, 300)), null);
  },
  'the check of a moving picture names what is needed most'() {
    const closer = {code: 'closer', message: 'Move closer.'};
    assert.deepEqual(wordsOfCheck({refusal: {remedy: 'x'}, advice: [closer, {code: 'focus', message: 'y'}]}), {text: 'Move closer.', pointer: '⇱', good: false});
    assert.equal(wordsOfCheck({refusal: {remedy: 'Show the card.'}, advice: []}).text, 'Show the card.');
    assert.equal(wordsOfCheck({advice: []}).good, true);
    assert.doesNotMatch(wordsOfCheck({advice: [{code: 'full_resolution', message: 'Take all pixels.'}]}).text, /pixels/);
  },
};

process.exit(await runTests(tests) ? 1 : 0);
