// Size, speed and memory of the page against what they may be, in one run with the program on one thread.
//   node tests/page/bench.cjs          needs python3-opencv, which enlarges a sample photo; nothing else should be running
// A time is the median of five, as the processor was busy with it. Ends with "N passed, N failed"; no other test is timed.
'use strict';
const {execFileSync, spawnSync} = require('child_process');
const fs = require('fs');
const os = require('os');
const path = require('path');
const zlib = require('zlib');
const {loadCore, site} = require('./core.cjs');

const repo = path.join(__dirname, '../..');
const program = process.env.RIPPLEGAUGE_PROGRAM || path.join(repo, 'build/ripplegauge');
const given = {board_pitch_mm: 14, bar_length_mm: 98.4};
const runs = 5;

function enlarged(folder, name, width, height) {
  const file = path.join(folder, name);
  const script = `import cv2, sys
photo = cv2.imread(sys.argv[1])
cv2.imwrite(sys.argv[2], cv2.resize(photo, (${width}, ${height}), interpolation=cv2.INTER_CUBIC), [cv2.IMWRITE_JPEG_QUALITY, 92])`;
  execFileSync('/usr/bin/python3', ['-c', script, path.join(repo, 'samples/photos/low-dark.jpg'), file]);
  return file;
}

const median = (values) => values.sort((a, b) => a - b)[values.length >> 1];
const seconds = ({user, system}) => (user + system) * 1e-6;

/** Processor time of one program run, decoding, measuring and writing, without the start of the process. */
function byProgram(photo) {
  const command = `"${program}" measure "${photo}" --board-pitch ${given.board_pitch_mm} --bar-length ${given.bar_length_mm} --threads 1 --json - >/dev/null; times`;
  const said = spawnSync('bash', ['-c', command], {encoding: 'utf8'}).stdout.trim().split('\n').pop();
  return said.split(/\s+/).reduce((sum, time) => sum + 60 * Number(time.split('m')[0]) + Number(time.split('m')[1].replace('s', '')), 0);
}

function measured(core, bytes, name) {
  const before = process.cpuUsage();
  core.setUp(given);
  const taken = core.take(bytes, name);
  if (taken.error) throw new Error(taken.error.message);
  const answer = core.ask({do: 'measure'});
  if (answer.error) throw new Error(answer.error.message);
  const reading = JSON.parse(answer.reading);
  if (reading.status !== 'measured' || reading.dents.length !== 1) throw new Error(`${name}: ${reading.status}`);
  return seconds(process.cpuUsage(before));
}

/** In a process of its own, so that each starts with nothing compiled: the sample, which the page measures while the user
 *  aims, then the photo: first reading, median of later ones, memory. */
async function child(photo) {
  const core = await loadCore();
  const warmUp = measured(core, fs.readFileSync(path.join(site, 'sample.jpg')), 'sample.jpg');
  const bytes = fs.readFileSync(photo);
  const first = measured(core, bytes, 'photo.jpg');
  const later = median(Array.from({length: runs}, () => measured(core, bytes, 'photo.jpg')));
  console.log(JSON.stringify({warmUp, first, later, memory: core.heapBytes() / 2 ** 20}));
}

const packedFiles = () => fs.readdirSync(site).filter((name) => /\.(wasm|js|css|html)$/.test(name));
const packed = (name) => zlib.brotliCompressSync(fs.readFileSync(path.join(site, name)), {params: {[zlib.constants.BROTLI_PARAM_QUALITY]: 11, [zlib.constants.BROTLI_PARAM_LGWIN]: 24}}).length;

function main() {
  let failed = 0;
  let passed = 0;
  const within = (what, value, most, unit) => {
    const good = value <= most;
    good ? ++passed : ++failed;
    console.log(`${good ? 'ok    ' : 'FAILED'} ${what}: ${value.toFixed(2)} ${unit}, may be ${most}`);
  };
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'page-bench-'));
  within('core and page, brotli', packedFiles().reduce((sum, name) => sum + packed(name), 0) * 1e-6, 1.2, 'MB');
  const [photo, large] = [enlarged(folder, '12mp.jpg', 4000, 3000), enlarged(folder, '48mp.jpg', 8064, 6048)];
  const native = median(Array.from({length: runs}, () => byProgram(photo)));
  const inNode = (file) => JSON.parse(execFileSync(process.execPath, [__filename, '--child', file], {encoding: 'utf8'}).trim().split('\n').pop()); // OpenCV has its say before
  const small = inNode(photo);
  console.log(`12 megapixels: the program ${native.toFixed(2)} s, the core first ${small.first.toFixed(2)} s, then ${small.later.toFixed(2)} s; warming it up ${small.warmUp.toFixed(2)} s`);
  within('second reading over the program’s', small.later / native, 2.5, 'times');
  within('first reading over the second', small.first / small.later, 2, 'times');
  within('memory at 12 megapixels', small.memory, 160, 'MiB');
  const {later, memory} = inNode(large);
  within('memory at 48 megapixels', memory, 512, 'MiB');
  console.log(`48 megapixels: ${later.toFixed(2)} s`);
  fs.rmSync(folder, {recursive: true});
  console.log(`${passed} passed, ${failed} failed`);
  process.exit(failed ? 1 : 0);
}

if (process.argv[2] === '--child') child(process.argv[3]);
else main();
