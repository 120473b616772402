// The fingerprint of a file's bytes (FIPS 180-4). The browser's own where the page came over https; plain http has none.

const constants = roots(64, 3);
const start = roots(8, 2);

/** The first 32 bits behind the point of the roots of the first primes, exactly, in whole numbers. */
function roots(count, degree) {
  const words = [];
  for (let n = 2; words.length < count; ++n) {
    let prime = true;
    for (let d = 2; d * d <= n; ++d) prime &&= n % d !== 0;
    if (prime) words.push(Number(rootOf(BigInt(n) << BigInt(32 * degree), BigInt(degree)) & 0xffffffffn));
  }
  return words;
}

function rootOf(value, degree) {
  let low = 0n;
  let high = 1n << 40n;
  while (high - low > 1n) {
    const middle = (low + high) >> 1n;
    if (middle ** degree <= value) low = middle;
    else high = middle;
  }
  return low;
}

const turned = (x, n) => (x >>> n) | (x << (32 - n));

function plainSha256(bytes) {
  const padded = new Uint8Array(((bytes.length + 8) >> 6 << 6) + 64);
  padded.set(bytes);
  padded[bytes.length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(padded.length - 8, Math.floor(bytes.length / 2 ** 29));
  view.setUint32(padded.length - 4, bytes.length << 3);
  const state = Int32Array.from(start);
  const w = new Int32Array(64);
  for (let block = 0; block < padded.length; block += 64) {
    for (let i = 0; i < 16; ++i) w[i] = view.getInt32(block + 4 * i);
    for (let i = 16; i < 64; ++i) {
      const s0 = turned(w[i - 15], 7) ^ turned(w[i - 15], 18) ^ (w[i - 15] >>> 3);
      const s1 = turned(w[i - 2], 17) ^ turned(w[i - 2], 19) ^ (w[i - 2] >>> 10);
      w[i] = w[i - 16] + s0 + w[i - 7] + s1;
    }
    let [a, b, c, d, e, f, g, h] = state;
    for (let i = 0; i < 64; ++i) {
      const t1 = (h + (turned(e, 6) ^ turned(e, 11) ^ turned(e, 25)) + ((e & f) ^ (~e & g)) + constants[i] + w[i]) | 0;
      const t2 = ((turned(a, 2) ^ turned(a, 13) ^ turned(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [h, g, f, e, d, c, b, a] = [g, f, e, (d + t1) | 0, c, b, a, (t1 + t2) | 0];
    }
    [a, b, c, d, e, f, g, h].forEach((word, i) => (state[i] += word));
  }
  return [...state].map((word) => (word >>> 0).toString(16).padStart(8, '0')).join('');
}

export async function sha256(bytes, subtle = globalThis.crypto?.subtle) {
  if (!subtle) return plainSha256(bytes);
  return [...new Uint8Array(await subtle.digest('SHA-256', bytes))].map((byte) => byte.toString(16).padStart(2, '0')).join('');
}
