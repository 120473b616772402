// The built core in node, as the page's worker uses it.
'use strict';
const fs = require('fs');
const path = require('path');

const site = process.env.RIPPLEGAUGE_SITE || path.join(__dirname, '../../build-page/site');

/** {measure(photoFile, profile, files), ...} */
async function loadCore() {
  delete globalThis.fetch; // emscripten's loader would take it for a browser's
  const core = await require(path.join(site, 'core.js'))({locateFile: (name) => path.join(site, name)});
  core.FS.mkdir('/workshop');
  core.FS.mkdir('/readings');
  const newText = (text) => {
    const size = core.lengthBytesUTF8(text) + 1;
    const at = core._malloc(size);
    core.stringToUTF8(text, at, size);
    return at;
  };
  const call = (name, ...values) => {
    const at = newText(values.pop());
    const answer = JSON.parse(core.UTF8ToString(core['_' + name](...values, at)));
    core._free(at);
    return answer;
  };
  const put = (folder, files) => {
    for (const name of core.FS.readdir(folder)) if (!name.startsWith('.')) core.FS.unlink(`${folder}/${name}`);
    for (const [name, text] of Object.entries(files)) core.FS.writeFile(`${folder}/${name}`, text);
  };
  return {
    module: core,
    ask: (question) => call('answer', JSON.stringify(question)),
    askText: (text) => call('answer', text),
    put,
    setUp: (profile, files = {}) => put('/workshop', {'facts.json': '{"schema": 1}', 'workshop.json': JSON.stringify({schema: 1, ...profile}), ...files}),
    take(bytes, name) {
      const at = core._malloc(Math.max(1, bytes.length));
      core.HEAPU8.set(bytes, at);
      const answer = call('take_file', at, bytes.length, name);
      core._free(at);
      return answer;
    },
    heapBytes: () => core.HEAPU8.length,
  };
}

module.exports = {loadCore, site};
