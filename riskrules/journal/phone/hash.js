// SHA-1, SHA-256 (FIPS 180-4) and identifiers (RFC 9562), in plain script: a page opened as a
// file or over plain http has no crypto.subtle and no crypto.randomUUID.
const rol = (x, n) => (x << n) | (x >>> (32 - n));

function blocksOf(bytes) {
  const padded = new Uint8Array((((bytes.length + 8) >> 6) + 1) << 6);
  padded.set(bytes);
  padded[bytes.length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(padded.length - 8, Math.floor(bytes.length / 0x20000000));
  view.setUint32(padded.length - 4, (bytes.length << 3) >>> 0);
  return view;
}

function bytesOf(words) {
  const view = new DataView(new ArrayBuffer(words.length * 4));
  words.forEach((word, i) => view.setUint32(i * 4, word >>> 0));
  return new Uint8Array(view.buffer);
}

function sha1(bytes) {
  const view = blocksOf(bytes);
  const h = [0x67452301, 0xefcdab89, 0x98badcfe, 0x10325476, 0xc3d2e1f0];
  const w = new Int32Array(80);
  for (let at = 0; at < view.byteLength; at += 64) {
    for (let i = 0; i < 16; i++) w[i] = view.getInt32(at + i * 4);
    for (let i = 16; i < 80; i++) w[i] = rol(w[i - 3] ^ w[i - 8] ^ w[i - 14] ^ w[i - 16], 1);
    let [a, b, c, d, e] = h;
    for (let i = 0; i < 80; i++) {
      const f = i < 20 ? (b & c) | (~b & d) : i < 40 || i >= 60 ? b ^ c ^ d
        : (b & c) | (b & d) | (c & d);
      const k = [0x5a827999, 0x6ed9eba1, 0x8f1bbcdc, 0xca62c1d6][Math.floor(i / 20)];
      const next = (rol(a, 5) + f + e + k + w[i]) | 0;
      [e, d, c, b, a] = [d, c, rol(b, 30), a, next];
    }
    [a, b, c, d, e].forEach((value, i) => { h[i] = (h[i] + value) | 0; });
  }
  return bytesOf(h);
}

// First 32 bits of the fractions of the square and cube roots of the first primes.
function rootsOf(count, root) {
  const found = [];
  for (let n = 2; found.length < count; n++) {
    let prime = true;
    for (let d = 2; d * d <= n; d++) if (n % d === 0) prime = false;
    if (prime) found.push((root(n) % 1) * 0x100000000 | 0);
  }
  return found;
}
const K256 = rootsOf(64, Math.cbrt);
const H256 = rootsOf(8, Math.sqrt);

function sha256(bytes) {
  const view = blocksOf(bytes);
  const h = Int32Array.from(H256);
  const w = new Int32Array(64);
  for (let at = 0; at < view.byteLength; at += 64) {
    for (let i = 0; i < 16; i++) w[i] = view.getInt32(at + i * 4);
    for (let i = 16; i < 64; i++) {
      const x = w[i - 15], y = w[i - 2];
      const s0 = rol(x, 25) ^ rol(x, 14) ^ (x >>> 3);
      const s1 = rol(y, 15) ^ rol(y, 13) ^ (y >>> 10);
      w[i] = (w[i - 16] + s0 + w[i - 7] + s1) | 0;
    }
    let [a, b, c, d, e, f, g, k] = h;
    for (let i = 0; i < 64; i++) {
      const s1 = rol(e, 26) ^ rol(e, 21) ^ rol(e, 7);
      const one = (k + s1 + ((e & f) ^ (~e & g)) + K256[i] + w[i]) | 0;
      const s0 = rol(a, 30) ^ rol(a, 19) ^ rol(a, 10);
      const two = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      k = g; g = f; f = e; e = (d + one) | 0; d = c; c = b; b = a; a = (one + two) | 0;
    }
    h[0] += a; h[1] += b; h[2] += c; h[3] += d; h[4] += e; h[5] += f; h[6] += g; h[7] += k;
  }
  return bytesOf(Array.from(h));
}

const hex = (bytes) => Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");

function uuidOf(bytes, version) {
  bytes[6] = (bytes[6] & 0x0f) | (version << 4);
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  return hex(bytes.slice(0, 16)).replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

function uuid5(namespace, name) {
  const space = namespace.replaceAll("-", "").match(/../g).map((pair) => parseInt(pair, 16));
  return uuidOf(sha1(Uint8Array.from([...space, ...new TextEncoder().encode(name)])), 5);
}

const uuid4 = () => uuidOf(crypto.getRandomValues(new Uint8Array(16)), 4);
