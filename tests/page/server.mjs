// What the program's server does with requests that no browser would send to it. Ends with "N passed, N failed".
import {spawn} from 'node:child_process';
import assert from 'node:assert/strict';
import net from 'node:net';
import path from 'node:path';
import {fileURLToPath} from 'node:url';
import {runTests} from './run_tests.mjs';

const repo = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '../..');
const site = process.env.RIPPLEGAUGE_SITE ?? path.join(repo, 'build-page/site');
const program = process.env.RIPPLEGAUGE_PROGRAM ?? path.join(repo, 'build/ripplegauge');

const server = spawn(program, ['page', '--folder', site, '--port', '0'], {stdio: ['ignore', 'pipe', 'inherit']});
const port = await new Promise((resolve) => {
  let said = '';
  server.stdout.on('data', (data) => {
    said += data;
    const found = /localhost:(\d+)/.exec(said);
    if (found) resolve(Number(found[1]));
  });
});

/** Sends bytes as they are; the head of the answer, empty where the connection was closed without one. */
function raw(text) {
  return new Promise((resolve, reject) => {
    const socket = net.connect(port, '127.0.0.1', () => socket.write(text));
    let answer = '';
    socket.setEncoding('latin1');
    socket.on('data', (data) => (answer += data));
    socket.on('close', () => resolve(answer));
    socket.on('error', (error) => (error.code === 'ECONNRESET' ? resolve(answer) : reject(error)));
  });
}
const request = (method, target, host = `localhost:${port}`, more = '') => raw(`${method} ${target} HTTP/1.1\r\nHost: ${host}\r\nConnection: close\r\n${more}\r\n`);
const status = (answer) => Number(answer.split(' ')[1]);

const tests = {
  async 'a file of the page, with its type and headers'() {
    const answer = await request('GET', '/core.wasm');
    assert.equal(status(answer), 200);
    assert.match(answer, /Content-Type: application\/wasm/i);
    assert.match(answer, /X-Content-Type-Options: nosniff/i);
    assert.equal(status(await request('GET', '/')), 200);
    const head = await request('HEAD', '/index.html');
    assert.equal(status(head), 200);
    assert.equal(head.split('\r\n\r\n')[1], '');
  },
  async 'other methods are refused'() {
    for (const method of ['POST', 'PUT', 'DELETE', 'PATCH', 'OPTIONS']) assert.equal(status(await request(method, '/')), 405, method);
  },
  async 'nothing outside the folder'() {
    for (const target of ['/../CMakeLists.txt', '/..%2f..%2fREADME.md', '/%2e%2e/%2e%2e/etc/passwd', '//etc/passwd', '/etc/passwd', '/sheets/../../core.log', '/service_worker.js/', '/\\..\\x', '/.git/config'])
      assert.ok([400, 404].includes(status(await request('GET', target))), target);
  },
  async 'other names are refused'() {
    for (const host of ['evil.example', `evil.example:${port}`, '192.168.1.5', '', 'localhost.evil.example']) assert.equal(status(await request('GET', '/', host)), 421, host);
    for (const host of ['LOCALHOST', `127.0.0.1:${port}`, `[::1]:${port}`]) assert.equal(status(await request('GET', '/', host)), 200, host);
  },
  async 'large and broken requests end'() {
    assert.ok([400, 414].includes(status(await request('GET', '/' + 'a'.repeat(20000)))));
    const long = await request('GET', '/', 'localhost', `X: ${'b'.repeat(20000)}\r\n`);
    assert.ok(long === '' || status(long) >= 400);
    assert.ok([400, 405, 413].includes(status(await request('POST', '/', 'localhost', 'Content-Length: 999999999\r\n'))));
    await raw('\x00\xff\xfe\r\n\r\n');
    assert.equal(status(await request('GET', '/')), 200);
  },
};

const failed = await runTests(tests);
server.kill();
process.exit(failed ? 1 : 0);
