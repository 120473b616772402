// Keeps all files of one version of the page, so that it opens without a network. A new version is fetched whole beside
// the old one and takes over when no page of the old one is open: the two never mix.
'use strict';

const version = 'VERSION'; // build.sh writes the beginning of the SHA-256 of all files, one after another, and their names
const files = ['FILES'];
const kept = `ripplegauge-${version}`;

self.addEventListener('install', (event) => event.waitUntil(keepAll()));

/** All of one version or nothing: a host that is just being written to may hand out files of two. */
async function keepAll() {
  const answers = await Promise.all(files.map((file) => fetch(file, {cache: 'reload'})));
  const bytes = await new Blob(await Promise.all(answers.map((answer) => answer.clone().blob()))).arrayBuffer();
  const digest = Array.from(new Uint8Array(await crypto.subtle.digest('SHA-256', bytes)), (byte) => byte.toString(16).padStart(2, '0')).join('');
  if (!digest.startsWith(version)) throw new Error('the host has files of several versions; the next visit tries again');
  const cache = await caches.open(kept);
  await Promise.all(files.map((file, i) => cache.put(file, answers[i])));
}

self.addEventListener('activate', (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter((name) => name.startsWith('ripplegauge-') && name !== kept).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

self.addEventListener('fetch', (event) => {
  if (event.request.method !== 'GET') return;
  event.respondWith(
    caches.open(kept).then(async (cache) => (await cache.match(event.request, {ignoreSearch: true})) ?? fetch(event.request)),
  );
});
