// The picture: what has come of each look, kept until something newer and better comes, drawn on one canvas.

// Look is what is shown of one look: traced, raster, or one map alone.
export class Look {
  constructor() {
    this.canvas = document.createElement("canvas");
    this.scratch = document.createElement("canvas");
    this.frame = null; // header of the newest frame
  }

  // take draws a frame into its place. Older runs than the one shown are left out.
  take(header, bytes, width, height) {
    if (this.frame && header.run < this.frame.run) return false;
    const [x0, y0, x1, y1] = header.box;
    const w = x1 - x0, h = y1 - y0;
    if (w < 1 || h < 1 || bytes.length !== 4 * w * h) return false;
    if (this.canvas.width !== width || this.canvas.height !== height) this.resize(width, height);
    const to = this.canvas.getContext("2d");
    const image = new ImageData(new Uint8ClampedArray(bytes.buffer, bytes.byteOffset, bytes.length), w, h);
    const sx = width / header.width, sy = height / header.height;
    if (sx === 1 && sy === 1) {
      to.putImageData(image, x0, y0);
    } else {
      this.scratch.width = w;
      this.scratch.height = h;
      this.scratch.getContext("2d").putImageData(image, 0, 0);
      to.imageSmoothingQuality = "high";
      to.drawImage(this.scratch, x0 * sx, y0 * sy, w * sx, h * sy);
    }
    this.frame = header;
    return true;
  }

  // resize keeps what is there, scaled.
  resize(width, height) {
    const old = document.createElement("canvas");
    old.width = this.canvas.width;
    old.height = this.canvas.height;
    old.getContext("2d").drawImage(this.canvas, 0, 0);
    this.canvas.width = width;
    this.canvas.height = height;
    if (this.frame) this.canvas.getContext("2d").drawImage(old, 0, 0, width, height);
  }

  // copy becomes what another look is now.
  copy(from) {
    if (!from.frame) return;
    this.canvas.width = from.canvas.width;
    this.canvas.height = from.canvas.height;
    this.canvas.getContext("2d").drawImage(from.canvas, 0, 0);
    this.frame = from.frame;
  }

  // show becomes a picture that was loaded.
  show(image) {
    this.canvas.width = image.naturalWidth;
    this.canvas.height = image.naturalHeight;
    this.canvas.getContext("2d").drawImage(image, 0, 0);
    this.frame = { run: 0 };
  }
}
