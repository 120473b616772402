// The core as WebAssembly against the program, on the same photos: status, kind and count are the same, diameter and
// depth within 0.2 % or a tenth of the interval's half-width, whichever is larger.
//   node tests/page/agree.cjs [--times] PHOTO...      beside each photo NAME.json with what was given
// Ends with "N passed, N failed".
'use strict';
const {execFileSync} = require('child_process');
const fs = require('fs');
const os = require('os');
const path = require('path');
const {loadCore} = require('./core.cjs');

const program = process.env.RIPPLEGAUGE_PROGRAM || path.join(__dirname, '../../build/ripplegauge');
const data = path.join(__dirname, '../../calibration');

/** What the technician wrote down for the photo. */
function givenFor(photo) {
  const {given} = JSON.parse(fs.readFileSync(photo.replace(/\.[a-z]+$/i, '.json'), 'utf8'));
  const board = photo.replace(/\.[a-z]+$/i, '-board.json');
  return {pitch: given.board_pitch_mm, bar: given.check_bar_mm, board: fs.existsSync(board) ? board : null};
}

function byProgram(photo, given) {
  const out = path.join(os.tmpdir(), `agree-${process.pid}.json`);
  const board = given.board ? ['--board', given.board] : ['--board-pitch', String(given.pitch)];
  const started = process.hrtime.bigint();
  try {
    execFileSync(program, ['measure', photo, ...board, '--bar-length', String(given.bar), '--threads', '1', '--json', out], {stdio: 'pipe', env: {...process.env, RIPPLEGAUGE_DATA: data}});
  } catch (error) {
    if (error.status !== 3) throw error; // refused is an answer
  }
  const seconds = Number(process.hrtime.bigint() - started) * 1e-9;
  const reading = JSON.parse(fs.readFileSync(out, 'utf8'));
  fs.unlinkSync(out);
  return {reading, seconds};
}

function byCore(core, photo, given) {
  const files = given.board ? {'board.json': fs.readFileSync(given.board, 'utf8')} : {};
  core.setUp({board_pitch_mm: given.board ? null : given.pitch, board_file: given.board ? 'board.json' : null, bar_length_mm: given.bar}, files);
  const started = process.hrtime.bigint();
  const taken = core.take(fs.readFileSync(photo), photo);
  if (taken.error) throw new Error(taken.error.message);
  const answer = core.ask({do: 'measure'});
  if (answer.error) throw new Error(answer.error.message);
  return {reading: JSON.parse(answer.reading), seconds: Number(process.hrtime.bigint() - started) * 1e-9};
}

/** What differs by more than it may, in words; empty when all is well. */
function differences(native, core) {
  if (native.status !== core.status) return [`status ${core.status}, the program says ${native.status}`];
  if (native.status === 'refused' && native.refusal.code !== core.refusal.code) return [`refused for ${core.refusal.code}, the program for ${native.refusal.code}`];
  if (native.dents.length !== core.dents.length) return [`${core.dents.length} spots, the program finds ${native.dents.length}`];
  return native.dents.flatMap((dent, i) => {
    const other = core.dents[i];
    if (dent.kind !== other.kind) return [`spot ${i + 1} is ${other.kind}, the program says ${dent.kind}`];
    return ['diameter_mm', 'depth_mm'].flatMap((key) => {
      if (!dent[key] || !other[key]) return dent[key] === other[key] ? [] : [`spot ${i + 1}: ${key} is known to one alone`];
      const allowed = Math.max(0.002 * dent[key].value, 0.05 * (dent[key].high - dent[key].low));
      const apart = Math.abs(dent[key].value - other[key].value);
      return apart <= allowed ? [] : [`spot ${i + 1}: ${key} ${other[key].value}, the program says ${dent[key].value} (${dent[key].low} to ${dent[key].high})`];
    });
  });
}

async function main() {
  const times = process.argv.includes('--times');
  const photos = process.argv.slice(2).filter((argument) => !argument.startsWith('--'));
  const core = await loadCore();
  let failed = 0;
  for (const photo of photos) {
    const given = givenFor(photo);
    const native = byProgram(photo, given);
    const wasm = byCore(core, photo, given);
    const wrong = differences(native.reading, wasm.reading);
    failed += wrong.length ? 1 : 0;
    const time = times ? `  ${wasm.seconds.toFixed(2)} s, the program ${native.seconds.toFixed(2)} s, ${(core.heapBytes() / 2 ** 20).toFixed(0)} MiB` : '';
    console.log(`${wrong.length ? 'FAILED' : 'ok    '} ${path.basename(photo)}${time}${wrong.map((text) => `\n       ${text}`).join('')}`);
  }
  console.log(`${photos.length - failed} passed, ${failed} failed`);
  process.exit(failed ? 1 : 0);
}

if (require.main === module) main();

module.exports = {byProgram, differences, givenFor};
