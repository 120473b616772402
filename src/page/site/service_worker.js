// Keeps all files of one version of the page, so that it opens without a network. A new version is fetched whole beside
// the old one and takes over when no page of the old one is open: the two never mix.
'use strict';

const version = 'VERSION'; // build.sh writes what the files' bytes are, and their names
const files = ['FILES'];
const kept = `ripplegauge-${version}`;

self.addEventListener('install', (event) => {
  event.waitUntil(
    caches.open(kept).then((cache) => cache.addAll(files.map((file) => new Request(file, {cache: 'reload'})))),
  );
});

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
