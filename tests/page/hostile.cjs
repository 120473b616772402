// What strangers' bytes do to the module: the fuzzer's corpora as photos and as the files of a profile, and a photo cut and
// spoilt. Every answer is an answer: the module never traps, and measures as before afterwards.
'use strict';
const fs = require('fs');
const path = require('path');
const {loadCore} = require('./core.cjs');

const repo = path.join(__dirname, '../..');
const corpus = (kind) => {
  const folder = path.join(repo, 'tests/fuzz/corpus', kind);
  return fs.readdirSync(folder).map((name) => fs.readFileSync(path.join(folder, name)));
};

/** Deterministic. */
function numbers(seed) {
  let state = seed;
  return () => ((state = (state * 1103515245 + 12345) & 0x7fffffff) / 0x7fffffff);
}

async function main() {
  const core = await loadCore();
  let passed = 0;
  let failed = 0;
  const check = (name, work) => {
    try {
      work();
      ++passed;
    } catch (error) {
      ++failed;
      console.log(`FAILED ${name}: ${error.stack}`);
    }
  };
  const plain = {board_pitch_mm: 14, bar_length_mm: 98.4};

  for (const kind of ['photo-header', 'photo-pixels', 'photo-whole', 'exif', 'heif', 'heif-boxes', 'json'])
    corpus(kind).forEach((bytes, i) => check(`${kind} ${i} as a photo`, () => core.take(bytes, kind)));

  for (const [kind, key, name] of [['board', 'board_file', 'board.json'], ['camera', 'camera_file', 'phone.json'], ['card', 'card_file', 'card.json'], ['kit', 'kit_file', 'kit.json']])
    corpus(kind).forEach((bytes, i) =>
      check(`${kind} ${i} in a profile`, () => {
        core.setUp({...plain, [key]: name}, {[name]: bytes});
        core.ask({do: 'settings'});
      }));
  corpus('workshop').forEach((bytes, i) =>
    check(`workshop ${i}`, () => {
      core.put('/workshop', {'facts.json': '{"schema": 1}', 'workshop.json': bytes});
      core.ask({do: 'settings'});
    }));
  corpus('panel-facts').forEach((bytes, i) =>
    check(`facts ${i}`, () => {
      core.setUp(plain, {'facts.json': bytes});
      core.ask({do: 'settings'});
    }));
  core.setUp(plain);
  corpus('readings').forEach((bytes, i) =>
    check(`reading ${i}`, () => {
      core.put('/readings', {'r.json': bytes});
      core.ask({do: 'plan', reading: '/readings/r.json'});
    }));

  const photo = fs.readFileSync(path.join(repo, 'src/page/site/sample.jpg'));
  const random = numbers(1);
  for (let i = 0; i < 60; ++i)
    check(`spoilt photo ${i}`, () => {
      const bytes = Buffer.from(photo.subarray(0, i % 3 ? photo.length : Math.floor(random() * photo.length)));
      for (let k = 0; k < 3 && bytes.length; ++k) bytes[Math.floor(random() * (i % 2 ? 700 : bytes.length))] = Math.floor(random() * 256);
      core.take(bytes, 'spoilt.jpg');
    });
  for (const question of ['', '{', 'null', '[]', '{"do": 5}', '{"do": "nothing"}', '{"do": "plan", "reading": "/etc/passwd"}', '{"do": "measure", "more": 1}'])
    check(`question ${question}`, () => {
      const answer = core.askText(question);
      if (!answer.error) throw new Error('was answered');
    });

  check('measures as before', () => {
    core.setUp(plain);
    core.take(photo, 'sample.jpg');
    const reading = JSON.parse(core.ask({do: 'measure'}).reading);
    if (Math.abs(reading.dents[0].diameter_mm.value - 17.22) > 0.1) throw new Error(`diameter ${reading.dents[0].diameter_mm.value}`);
  });
  console.log(`${passed} passed, ${failed} failed`);
  process.exit(failed ? 1 : 0);
}

main();
