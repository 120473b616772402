// Pictures: the photo reduced, what was found drawn onto it, two photos side by side.

const largestSide = 1600; // of the picture that is kept
const colours = {low: '#0a58b0', high: '#a8480a', paper: '#ffffff', ink: '#101418', found: '#0a58b0'};

/** The photo upright and reduced, as a canvas; null where the browser cannot show the file. */
export async function reducedPhoto(file, sidePx = largestSide) {
  let bitmap;
  try {
    bitmap = await createImageBitmap(file);
  } catch {
    return null;
  }
  const scale = Math.min(1, sidePx / Math.max(bitmap.width, bitmap.height));
  const canvas = canvasOf(Math.round(bitmap.width * scale), Math.round(bitmap.height * scale));
  const context = canvas.getContext('2d');
  context.imageSmoothingQuality = 'high';
  context.drawImage(bitmap, 0, 0, canvas.width, canvas.height);
  bitmap.close();
  return canvas;
}

export function canvasOf(width, height) {
  const canvas = document.createElement('canvas');
  canvas.width = Math.max(1, width);
  canvas.height = Math.max(1, height);
  return canvas;
}

export const blobOf = (canvas, type = 'image/jpeg', quality = 0.85) =>
  new Promise((resolve, reject) =>
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error('The picture could not be made; the phone may be short of memory.'))), type, quality),
  );

/** Where a point of the panel (mm) lies in the photo; null without the card. */
export function photoPoint(map, x, y) {
  if (!map) return null;
  const w = map[6] * x + map[7] * y + map[8];
  return [(map[0] * x + map[1] * y + map[2]) / w, (map[3] * x + map[4] * y + map[5]) / w];
}

const finite = (points) => points.filter(([x, y]) => Number.isFinite(x) && Number.isFinite(y));

/** The part of the photo with the card and the spots, in its own pixels; all of it where that is not known. */
export function partThatMatters(reading, map) {
  const whole = {x: 0, y: 0, width: reading.photo_info.width_px, height: reading.photo_info.height_px};
  if (!map) return whole;
  const points = [[-25, -25], [125, -25], [-25, 90], [125, 90]].map(([x, y]) => photoPoint(map, x, y));
  for (const {outline_px: outline} of reading.dents ?? []) points.push(...finite(outline ?? []));
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  const air = 0.08 * Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys));
  const x = Math.max(0, Math.min(...xs) - air);
  const y = Math.max(0, Math.min(...ys) - air);
  const part = {x, y, width: Math.min(whole.width, Math.max(...xs) + air) - x, height: Math.min(whole.height, Math.max(...ys) + air) - y};
  const useful = part.width > 200 && part.height > 200 && part.width * part.height < 0.7 * whole.width * whole.height;
  return useful ? part : whole;
}

/** Draws a reading's photo with what was found into a new canvas, `width` pixels wide. */
export function drawReading(photo, reading, card, {width = 1200, part = partThatMatters(reading, card?.photo_from_panel), label = () => ''} = {}) {
  const kept = photo.width / reading.photo_info.width_px; // pixels of the kept picture a pixel of the photo
  const scale = width / part.width;
  const canvas = canvasOf(width, Math.round(part.height * scale));
  const context = canvas.getContext('2d');
  context.imageSmoothingQuality = 'high';
  context.drawImage(photo, part.x * kept, part.y * kept, part.width * kept, part.height * kept, 0, 0, canvas.width, canvas.height);
  // Pixel centres are whole numbers in the core, halves on a canvas.
  const at = ([x, y]) => [(x + 0.5 - part.x) * scale, (y + 0.5 - part.y) * scale];
  const size = width / 32;
  if (reading.status === 'refused') drawSeen(context, card, at, size);
  else drawJudged(context, reading, at, size);
  const dents = reading.dents ?? [];
  for (const dent of dents) drawSpot(context, dent, card, at, size);
  const taken = [];
  dents.forEach((dent, i) => tagSpot(context, dent, card, at, size, `${i + 1}  ${label(dent)}`.trim(), taken));
  return canvas;
}

function path(context, points, closed) {
  context.beginPath();
  points.forEach(([x, y], i) => (i ? context.lineTo(x, y) : context.moveTo(x, y)));
  if (closed) context.closePath();
}

/** A coloured line between two of paper, so that it shows on any paint. */
function outline(context, points, colour, width, dash = [], closed = true) {
  path(context, points, closed);
  context.setLineDash([]);
  context.lineJoin = 'round';
  context.strokeStyle = colours.paper;
  context.lineWidth = 2.2 * width;
  context.stroke();
  context.setLineDash(dash);
  context.strokeStyle = colour;
  context.lineWidth = width;
  context.stroke();
  context.setLineDash([]);
}

const colourOf = (dent) => (dent.kind === 'low' ? colours.low : colours.high);

function drawSpot(context, dent, card, at, size) {
  const low = dent.kind === 'low';
  const colour = colourOf(dent);
  const points = finite(dent.outline_px ?? []).map(at);
  // Not by colour alone: lows have a whole line, highs a dashed one, and the label says it.
  if (points.length > 2) outline(context, points, colour, 0.14 * size, low ? [] : [0.5 * size, 0.3 * size]);
  const deepest = dent.deepest ? photoPoint(card?.photo_from_panel, dent.deepest.x_mm, dent.deepest.y_mm) : null;
  if (deepest) cross(context, at(deepest), colour, 0.35 * size);
}

/** Beside the spot, where no other spot's tag is. */
function tagSpot(context, dent, card, at, size, text, taken) {
  const centre = photoPoint(card?.photo_from_panel, dent.x_mm, dent.y_mm);
  const points = dent.outline_px ? finite(dent.outline_px).map(at) : [centre ? at(centre) : [size, size]];
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  const [left, right, top, bottom] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const [x, y] = [(left + right) / 2, (top + bottom) / 2];
  const beside = 0.6 * tagWidth(context, text, size);
  const places = [[x, top - 0.5 * size], [x, bottom + 2 * size], [right + beside, y + 0.75 * size], [left - beside, y + 0.75 * size]].map(([px, py]) => tagBox(context, px, py, text, size));
  const free = places.find((box) => !taken.some((other) => overlap(box, other))) ?? places[0];
  taken.push(free);
  tag(context, free, text, colourOf(dent), size);
}

const overlap = (a, b) => a.left < b.left + b.width && b.left < a.left + a.width && a.top < b.top + b.height && b.top < a.top + a.height;

function cross(context, [x, y], colour, reach) {
  for (const [style, width] of [[colours.paper, 0.5], [colour, 0.25]]) {
    context.strokeStyle = style;
    context.lineWidth = width * reach;
    context.beginPath();
    context.moveTo(x - reach, y);
    context.lineTo(x + reach, y);
    context.moveTo(x, y - reach);
    context.lineTo(x, y + reach);
    context.stroke();
  }
}

function tagWidth(context, text, size) {
  context.font = `600 ${size}px system-ui, sans-serif`;
  return context.measureText(text).width + 0.8 * size;
}

/** Above a point, and within the picture. */
function tagBox(context, x, y, text, size) {
  const width = tagWidth(context, text, size);
  const height = 1.5 * size;
  const inside = (from, length, whole) => Math.max(2, Math.min(whole - length - 2, from));
  return {left: inside(x - width / 2, width, context.canvas.width), top: inside(y - height, height, context.canvas.height), width, height};
}

function tag(context, {left, top, width, height}, text, colour, size) {
  context.fillStyle = colour;
  context.fillRect(left, top, width, height);
  context.strokeStyle = colours.paper;
  context.lineWidth = 0.08 * size;
  context.strokeRect(left, top, width, height);
  context.fillStyle = colours.paper;
  context.textBaseline = 'middle';
  context.fillText(text, left + 0.4 * size, top + 0.8 * size);
}

/** Round what was judged: a dent outside would not have been seen. And the panel's body lines. */
function drawJudged(context, reading, at, size) {
  for (const points of [reading.body_line_px, reading.second_body_line_px]) {
    const line = finite(points ?? []).map(at);
    if (line.length > 1) outline(context, line, colours.ink, 0.08 * size, [0.6 * size, 0.4 * size], false);
  }
  for (const {points_px: points} of reading.judged_px ?? []) outline(context, finite(points).map(at), colours.ink, 0.06 * size, [0.12 * size, 0.3 * size]);
}

/** Of a refused photo: what was found of the card. */
function drawSeen(context, card, at, size) {
  for (const {id, corners_px: corners} of card?.tags ?? []) {
    const points = corners.map(at);
    outline(context, points, colours.found, 0.12 * size);
    const text = `tag ${id}`;
    tag(context, tagBox(context, ...points[0], text, 0.8 * size), text, colours.found, 0.8 * size);
  }
}

/** From pixels of a square view to those of a picture: the view shows `area` ({x0, y1, side} mm), y up. */
export function pictureFromView(map, area, viewPx, pictureScale, motion = null) {
  const k = area.side / viewPx;
  let panelFromView = [k, 0, area.x0 + 0.5 * k, 0, -k, area.y1 - 0.5 * k, 0, 0, 1];
  if (motion) panelFromView = product(afterFromBefore(motion), panelFromView);
  const s = pictureScale;
  const pictureFromPhoto = [s, 0, 0.5 * s - 0.5, 0, s, 0.5 * s - 0.5, 0, 0, 1];
  return product(pictureFromPhoto, product(map, panelFromView));
}

/** The card's motion says where the later frame lies in the earlier one; this is the way back. */
function afterFromBefore({turn_deg: turn, dx_mm: dx, dy_mm: dy}) {
  const c = Math.cos((turn * Math.PI) / 180);
  const s = Math.sin((turn * Math.PI) / 180);
  return [c, s, -(c * dx + s * dy), -s, c, s * dx - c * dy, 0, 0, 1];
}

function product(a, b) {
  const out = new Array(9).fill(0);
  for (let r = 0; r < 3; ++r) for (let c = 0; c < 3; ++c) for (let k = 0; k < 3; ++k) out[3 * r + c] += a[3 * r + k] * b[3 * k + c];
  return out;
}

/** The square round the spots of both readings, in the frame of the first one. */
export function areaOfBoth(before, after) {
  const area = {x0: Infinity, x1: -Infinity, y0: Infinity, y1: -Infinity};
  for (const dent of [...before.dents, ...after.dents]) {
    const reach = 0.5 * dent.diameter_mm.value + Math.max(12, 0.4 * dent.diameter_mm.value);
    area.x0 = Math.min(area.x0, dent.x_mm - reach);
    area.x1 = Math.max(area.x1, dent.x_mm + reach);
    area.y0 = Math.min(area.y0, dent.y_mm - reach);
    area.y1 = Math.max(area.y1, dent.y_mm + reach);
  }
  if (!(area.x1 > area.x0)) Object.assign(area, {x0: 14, x1: 94, y0: 14, y1: 94});
  const side = Math.max(area.x1 - area.x0, area.y1 - area.y0);
  return {x0: (area.x0 + area.x1 - side) / 2, y1: (area.y0 + area.y1 + side) / 2, side};
}

/** A square view as a canvas, with the outlines (mm, in the view's frame) of `dents`. */
export function viewCanvas(pixels, side, dents, area) {
  const canvas = canvasOf(side, side);
  const context = canvas.getContext('2d');
  context.putImageData(new ImageData(new Uint8ClampedArray(pixels.buffer, pixels.byteOffset, pixels.length), side, side), 0, 0);
  const at = ([x, y]) => [((x - area.x0) / area.side) * side, ((area.y1 - y) / area.side) * side];
  for (const dent of dents) {
    const low = dent.kind === 'low';
    outline(context, finite(dent.outline_mm).map(at), low ? colours.low : colours.high, side / 160, low ? [] : [side / 40, side / 60]);
  }
  return canvas;
}

/** Canvases beside each other under their titles, for a file that is shared. */
export function sideBySide(pictures) {
  const gap = 16;
  const title = 44;
  const height = Math.max(...pictures.map(({canvas}) => canvas.height));
  const canvas = canvasOf(pictures.reduce((sum, {canvas: one}) => sum + one.width + gap, -gap), height + title);
  const context = canvas.getContext('2d');
  context.fillStyle = colours.paper;
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.fillStyle = colours.ink;
  context.font = '600 26px system-ui, sans-serif';
  let x = 0;
  for (const {canvas: one, title: text} of pictures) {
    context.fillText(text, x, title - 14);
    context.drawImage(one, x, title);
    x += one.width + gap;
  }
  return canvas;
}

/** A photo with lines of text below it, for a file that is shared. */
export function withLines(photo, lines) {
  const size = Math.round(photo.width / 30);
  const canvas = canvasOf(photo.width, photo.height + Math.ceil((lines.length + 0.6) * 1.45 * size));
  const context = canvas.getContext('2d');
  context.fillStyle = colours.paper;
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.drawImage(photo, 0, 0);
  context.fillStyle = colours.ink;
  lines.forEach((line, i) => {
    context.font = `${i ? 400 : 600} ${size}px system-ui, sans-serif`;
    context.fillText(line, 0.6 * size, photo.height + 1.45 * size * (i + 1), canvas.width - 1.2 * size);
  });
  return canvas;
}
