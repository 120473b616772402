// Grey pixels of a moving picture.

let canvas = null;

export function greyOf(video, longerSide) {
  const scale = Math.min(1, longerSide / Math.max(video.videoWidth, video.videoHeight));
  const width = Math.round(video.videoWidth * scale);
  const height = Math.round(video.videoHeight * scale);
  canvas ??= document.createElement('canvas');
  Object.assign(canvas, {width, height});
  const context = canvas.getContext('2d', {willReadFrequently: true});
  context.drawImage(video, 0, 0, width, height);
  const {data} = context.getImageData(0, 0, width, height);
  const pixels = new Uint8Array(width * height);
  // Luma as JPEG has it (ITU-T T.871).
  for (let i = 0, j = 0; i < data.length; i += 4, ++j) pixels[j] = (19595 * data[i] + 38470 * data[i + 1] + 7471 * data[i + 2] + 32768) >> 16;
  return {pixels, width, height};
}
