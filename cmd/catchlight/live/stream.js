// Frames come in one long body: a length of 4 bytes, little end first, a header of that length in JSON, and the header's
// `bytes` bytes of RGBA. A header without bytes is a word.

// read hands every frame of a body to take(header, bytes), in order, until the body ends.
export async function read(body, take) {
  const from = body.getReader();
  let have = new Uint8Array(0);
  // need returns n bytes of the body, or null where it ends.
  async function need(n) {
    if (have.length < n) {
      const all = new Uint8Array(n + (1 << 16));
      all.set(have);
      let at = have.length;
      let rest = null;
      while (at < n) {
        const { value, done } = await from.read();
        if (done) return null;
        const fits = Math.min(value.length, all.length - at);
        all.set(value.subarray(0, fits), at);
        at += fits;
        if (fits < value.length) rest = value.subarray(fits);
      }
      have = all.subarray(0, at);
      if (rest) {
        const more = new Uint8Array(at + rest.length);
        more.set(have);
        more.set(rest, at);
        have = more;
      }
    }
    const out = have.subarray(0, n);
    have = have.subarray(n);
    return out;
  }
  const text = new TextDecoder();
  for (;;) {
    const size = await need(4);
    if (!size) return;
    const length = new DataView(size.buffer, size.byteOffset, 4).getUint32(0, true);
    const words = await need(length);
    if (!words) return;
    const header = JSON.parse(text.decode(words));
    const bytes = header.bytes ? await need(header.bytes) : null;
    if (header.bytes && !bytes) return;
    take(header, bytes);
  }
}
