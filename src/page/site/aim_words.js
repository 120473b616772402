// What to do with the camera, in a few words, and which way: first by where the card is, then by the core's own check.

/** Of what `look` says of two pictures in a row; null once only the core's check can say more. */
export function wordsOfLook(look, before) {
  const corners = look.tags.flatMap(({corners_px: points}) => points);
  if (!corners.length) return {text: 'Card not seen. Bring all of it into the picture.', pointer: ''};
  const box = boxOf(corners);
  const longer = Math.max(look.width_px, look.height_px);
  const size = Math.max(box.right - box.left, box.bottom - box.top) / longer;
  const side = sideCutOff(box, look, 0.02 * longer);
  if (size > 0.75) return {text: 'Farther away.', pointer: '⇲'};
  if (side) return side;
  if (size < 0.2) return {text: 'Nearer.', pointer: '⇱'};
  if (look.tags.length < look.tags_on_card) return {text: `Card partly seen: ${look.tags.length} of ${look.tags_on_card} squares. Uncover it, light it evenly.`, pointer: ''};
  if (!before || !still(look, before, 0.01 * longer)) return {text: 'Hold still.', pointer: ''};
  return null;
}

function boxOf(points) {
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  return {left: Math.min(...xs), right: Math.max(...xs), top: Math.min(...ys), bottom: Math.max(...ys)};
}

/** The phone goes to where the card is cut off. */
function sideCutOff(box, look, margin) {
  if (box.left < margin) return {text: 'Move to the left: the card is at the edge.', pointer: '←'};
  if (box.right > look.width_px - margin) return {text: 'Move to the right: the card is at the edge.', pointer: '→'};
  if (box.top < margin) return {text: 'Move up: the card is at the edge.', pointer: '↑'};
  if (box.bottom > look.height_px - margin) return {text: 'Move down: the card is at the edge.', pointer: '↓'};
  return null;
}

function still(look, before, farthest) {
  const earlier = new Map(before.tags.map((tag) => [tag.id, tag.corners_px[0]]));
  return look.tags.some(({id, corners_px: [[x, y]]}) => earlier.has(id) && Math.hypot(x - earlier.get(id)[0], y - earlier.get(id)[1]) < farthest);
}

const pointers = {closer: '⇱', card_further_in: '⇲', board_further_in: '⇲'};

/** Of the core's check of a moving picture, which is smaller than the photo will be. */
export function wordsOfCheck(check) {
  const advice = check.advice.filter(({code}) => code !== 'full_resolution');
  const [first] = advice;
  const pointer = pointers[first?.code] ?? '';
  if (check.refusal) return {text: first?.message ?? check.refusal.remedy, pointer, good: false};
  return first ? {text: `Good. Better still: ${first.message}`, pointer, good: true} : {text: 'Good: hold still and take it.', pointer: '✓', good: true};
}
