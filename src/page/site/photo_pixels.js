// What the browser itself decodes: PNG, and HEIC where it can. A plain script, for the worker.
'use strict';

function photoKind(bytes) {
  const text = (from, to) => String.fromCharCode(...bytes.subarray(from, to));
  if (bytes[0] === 0xff && bytes[1] === 0xd8) return 'jpeg';
  if (text(1, 4) === 'PNG') return 'png';
  if (text(4, 8) === 'ftyp' && /^(hei[cxms]|hevc|mif1|msf1)/.test(text(8, 12))) return 'heic';
  return 'other';
}

const largestMegapixels = 110;

/** {pixels, width, height}, upright; null where the browser cannot decode the file. In strips, since phones limit how
 *  large a canvas may be. */
async function greyByBrowser(file) {
  let bitmap;
  try {
    bitmap = await createImageBitmap(file, {colorSpaceConversion: 'none'});
  } catch {
    return null;
  }
  const {width, height} = bitmap;
  if (width * height > largestMegapixels * 1e6) {
    bitmap.close();
    throw new Error(`the photo has ${Math.round((width * height) / 1e6)} megapixels; set the camera to a smaller size`);
  }
  const stripHeight = Math.max(1, Math.min(height, Math.floor(4e6 / width)));
  const canvas = new OffscreenCanvas(width, stripHeight);
  const context = canvas.getContext('2d', {willReadFrequently: true});
  const pixels = new Uint8Array(width * height);
  for (let top = 0; top < height; top += stripHeight) {
    const rows = Math.min(stripHeight, height - top);
    context.drawImage(bitmap, 0, top, width, rows, 0, 0, width, rows);
    greyInto(pixels, top * width, context.getImageData(0, 0, width, rows).data);
  }
  bitmap.close();
  return {pixels, width, height};
}

/** Luma as JPEG has it (ITU-T T.871), rounded as libjpeg does. */
function greyInto(pixels, from, rgba) {
  for (let i = 0, j = from; i < rgba.length; i += 4, ++j)
    pixels[j] = (19595 * rgba[i] + 38470 * rgba[i + 1] + 7471 * rgba[i + 2] + 32768) >> 16;
}
