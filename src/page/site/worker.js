// The core runs here, away from the page's own thread: one photo at a time. A question that takes too long is cancelled
// by ending this worker.
'use strict';

importScripts('core.js', 'photo_pixels.js');

let core;
const loading = ripplegaugeCore({locateFile: (name) => name}).then((module) => {
  core = module;
  core.FS.mkdir('/workshop');
  core.FS.mkdir('/readings');
});

/** Text into the module's memory; the caller frees it. */
function newText(text) {
  const size = core.lengthBytesUTF8(text) + 1;
  const at = core._malloc(size);
  core.stringToUTF8(text, at, size);
  return at;
}

function newBytes(bytes) {
  const at = core._malloc(bytes.length);
  if (!at) throw new Error('this phone has not enough memory for it');
  core.HEAPU8.set(bytes, at);
  return at;
}

/** The folders are the module's own: nobody has seen them. */
const withoutFolders = (message) => message.replace(/\/(workshop|readings|data)\/(?=[^/\s]+\.json)/g, '');

/** Calls an exported function whose last argument is a text, and reads its JSON. */
function call(name, ...values) {
  const at = newText(values.pop());
  try {
    const answer = JSON.parse(core.UTF8ToString(core['_' + name](...values, at)));
    if (answer.error) throw Object.assign(new Error(withoutFolders(answer.error.message)), {kind: answer.error.kind});
    return answer;
  } finally {
    core._free(at);
  }
}

const ask = (question) => call('answer', JSON.stringify(question));

/** The profile and what it names, as files; whatever was there before is taken away. */
function putFiles(folder, files) {
  for (const name of core.FS.readdir(folder)) if (name !== '.' && name !== '..') core.FS.unlink(folder + '/' + name);
  for (const [name, text] of Object.entries(files)) core.FS.writeFile(folder + '/' + name, text);
}

async function takePhoto(photo) {
  if (photo.grey) return takeGrey(photo.grey, photo.name);
  const bytes = new Uint8Array(await photo.file.arrayBuffer());
  const kind = photoKind(bytes);
  if (kind === 'png' || kind === 'heic') {
    const grey = await greyByBrowser(photo.file);
    if (grey) return takeGrey(grey, photo.name);
  }
  const at = newBytes(bytes);
  try {
    return call('take_file', at, bytes.length, photo.name);
  } finally {
    core._free(at);
  }
}

function takeGrey(grey, name) {
  const at = newBytes(grey.pixels);
  try {
    return call('take_grey', at, grey.width, grey.height, name);
  } finally {
    core._free(at);
  }
}

/** A relief leaves the module as numbers of its own. */
function reliefOut(relief) {
  if (!relief) return null;
  const {at, ...frame} = relief;
  return {...frame, heights: core.HEAPF32.slice(at / 4, at / 4 + relief.columns * relief.rows)};
}

function reliefIn(relief, places) {
  if (!relief) return undefined;
  const {heights, ...frame} = relief;
  const at = newBytes(new Uint8Array(heights.buffer, heights.byteOffset, heights.byteLength));
  places.push(at);
  return {...frame, at};
}

const answers = {
  async measure(message, stage) {
    putFiles('/workshop', message.files);
    stage('reading the photo');
    await takePhoto(message.photo);
    stage('measuring');
    const answer = ask({do: 'measure', sha256: message.sha256});
    return {...answer, relief: reliefOut(answer.relief)};
  },
  async look(message) {
    putFiles('/workshop', message.files);
    await takePhoto(message.photo);
    return ask({do: 'look'});
  },
  async check(message, stage) {
    putFiles('/workshop', message.files);
    stage('reading the photo');
    if (message.photo) await takePhoto(message.photo);
    stage('looking at it');
    return ask({do: 'check'});
  },
  plan(message) {
    putFiles('/workshop', message.files);
    putFiles('/readings', {'reading.json': message.reading});
    return ask({do: 'plan', reading: '/readings/reading.json'});
  },
  compare(message) {
    putFiles('/workshop', message.files);
    putFiles('/readings', {'before.json': message.before.reading, 'after.json': message.after.reading});
    const places = [];
    try {
      return ask({
        do: 'compare',
        card: message.card,
        before: '/readings/before.json',
        after: '/readings/after.json',
        relief_before: reliefIn(message.before.relief, places),
        relief_after: reliefIn(message.after.relief, places),
      });
    } finally {
      places.forEach((at) => core._free(at));
    }
  },
  settings(message) {
    putFiles('/workshop', message.files);
    return ask({do: 'settings'});
  },
  pull_window: ({readings, air_c, between_c}) => ask({do: 'pull_window', readings, air_c, between_c}),
  coin_countries: () => ask({do: 'coin_countries'}),
  version: () => ask({do: 'version'}),
  /** A picture of four bytes a pixel, seen squarely. */
  squareView(message) {
    const at = newBytes(message.pixels);
    try {
      const {at: view} = ask({
        do: 'square_view',
        width: message.width,
        height: message.height,
        side: message.side,
        at,
        picture_from_view: message.pictureFromView,
      });
      return {pixels: core.HEAPU8.slice(view, view + 4 * message.side * message.side)};
    } finally {
      core._free(at);
    }
  },
};

async function work(message) {
  const stage = (text) => self.postMessage({id: message.id, stage: text});
  try {
    await loading;
    const answer = await answers[message.do](message, stage);
    self.postMessage({id: message.id, answer});
  } catch (error) {
    self.postMessage({id: message.id, error: {kind: error.kind || 'fault', message: error.message || String(error)}});
  }
}

// One after the other: between a question's files and its answer no other question may put files of its own.
let turn = Promise.resolve();
self.onmessage = ({data: message}) => {
  turn = turn.then(() => work(message));
};
