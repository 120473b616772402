// A host of plain files on this machine, whose version of the page changes as when somebody puts a new one there.
import {createHash} from 'node:crypto';
import fs from 'node:fs';
import http from 'node:http';
import os from 'node:os';
import path from 'node:path';

const types = {'.html': 'text/html', '.js': 'text/javascript', '.css': 'text/css', '.json': 'application/json', '.webmanifest': 'application/manifest+json', '.wasm': 'application/wasm', '.svg': 'image/svg+xml', '.png': 'image/png', '.jpg': 'image/jpeg', '.pdf': 'application/pdf'};

/** `host.folder` is what it shows, and may be set to another one. */
export async function startHost(folder) {
  const host = {folder};
  const server = http.createServer((request, response) => {
    const name = new URL(request.url, 'http://localhost').pathname.slice(1) || 'index.html';
    fs.readFile(path.join(host.folder, path.normalize(`/${name}`)), (error, bytes) => {
      response.writeHead(error ? 404 : 200, {'Content-Type': types[path.extname(name)] ?? 'text/plain', 'Cache-Control': 'no-cache'});
      response.end(bytes);
    });
  });
  await new Promise((resolve) => server.listen(0, 'localhost', resolve));
  host.address = `http://localhost:${server.address().port}/`;
  host.stop = () => (server.close(), server.closeAllConnections());
  return host;
}

const text = (folder, name) => fs.readFileSync(path.join(folder, name), 'utf8');

/** A copy of the page with other words in some files, named after its bytes as build.sh does. */
export function otherVersion(site, changes) {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'page-version-'));
  fs.cpSync(site, folder, {recursive: true});
  for (const [name, added] of Object.entries(changes)) fs.appendFileSync(path.join(folder, name), added);
  const worker = text(folder, 'service_worker.js');
  const [, list] = /const files = \[(.*)\];/.exec(worker);
  const names = list.split(',').map((name) => name.slice(1, -1));
  const digest = createHash('sha256');
  for (const name of names) digest.update(fs.readFileSync(path.join(folder, name === './' ? 'index.html' : name)));
  const version = digest.digest('hex').slice(0, 16);
  fs.writeFileSync(path.join(folder, 'service_worker.js'), worker.replace(/const version = '[0-9a-f]+'/, `const version = '${version}'`));
  return folder;
}

/** What is on a host while `after` is being written over `before`: some files are still the old ones. */
export function halfWritten(before, after, oldNames) {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'page-half-'));
  fs.cpSync(after, folder, {recursive: true});
  for (const name of oldNames) fs.copyFileSync(path.join(before, name), path.join(folder, name));
  return folder;
}
