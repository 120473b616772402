// Two readings of one place: what became of each spot, and what to do next.
import {button, download, element, select} from './dom.js';
import {areaOfBoth, blobOf, pictureFromView, sideBySide, viewCanvas} from './picture.js';
import {photoButton} from './shoot_view.js';
import {bitmapOf, shareFile} from './reading_view.js';
import {readingWith} from './store.js';
import {inUnits} from './units.js';

const viewPx = 560;

export async function compareView(app, beforeId, afterId) {
  const [before, after] = await Promise.all([readingWith(beforeId), readingWith(afterId)]);
  if (!before || !after) return {title: 'Before and after', content: [element('p', 'One of the two readings is not on this phone (any more).')]};
  const refused = [before, after].find((kept) => kept.status === 'refused');
  if (refused)
    return {title: 'Before and after', content: [
      element('p.large', `The photo ${refused === after ? 'after' : 'before'} was not measured.`),
      element('a.button.main', {href: `#/reading/${refused.id}`}, 'See why'),
      element('a.button', {href: `#/reading/${beforeId}`}, 'The reading before')]};
  const summary = element('p.large', {role: 'status'});
  const words = element('div');
  const pictures = element('div.pictures');
  const tell = async (card) => {
    const files = before.sample ? app.workshop.coreFiles({...app.workshop.profile, board_file: null, board_pitch_mm: 14}, app.workshop.files) : app.workshop.coreFiles();
    const shot = (kept) => ({reading: kept.text, relief: kept.relief});
    const told = await app.core.ask({do: 'compare', card, before: shot(before), after: shot(after), files});
    summary.textContent = inUnits(told.comparison.comparison.summary, app.workshop.show);
    words.replaceChildren(...comparisonParts(app, told));
    const views = await squareViews(app, before, after, told.motion);
    pictures.replaceChildren(...views.map(({canvas, title}) => element('figure', canvas, element('figcaption', title))));
    if (views.length)
      pictures.append(button('Share the pictures', async () => {
        const blob = await blobOf(sideBySide(views), 'image/jpeg', 0.9);
        await shareFile(app, new File([blob], 'before-after.jpg', {type: 'image/jpeg'}));
      }));
    save.replaceChildren(button('Save the comparison (JSON)', () => download('comparison.json', JSON.stringify(told.comparison, null, 2))));
  };
  const save = element('div');
  const placed = select('The card', [['not_sure', 'let the photos tell'], ['same', 'was not moved'], ['moved', 'was moved']], 'not_sure', (card) => tell(card).catch(fail));
  const fail = (error) => error.kind !== 'cancelled' && words.replaceChildren(element('p.wrong', {role: 'alert'}, error.message));
  await tell('not_sure').catch(fail);
  return {
    title: 'Before and after',
    content: [summary, pictures, words, placed,
      element('div.actions',
        photoButton(app, 'Photo after the next pull', {before: beforeId}),
        element('a.button', {href: `#/reading/${afterId}`}, 'The reading after'),
        element('a.button', {href: `#/reading/${beforeId}`}, 'The reading before'), save)],
  };
}

function comparisonParts(app, {comparison: {comparison}, new_marks: marks, next}) {
  const {show} = app.workshop;
  const text = (words) => inUnits(words, show);
  return [
    element('ul', comparison.spots.map((spot) => element('li', text(spot.words))), marks.map((mark) => element('li', 'New mark: ', text(mark)))),
    element('h2', 'Next'),
    element('p.large', text(next.summary)),
    element('ol', next.spots.map((spot) => element('li', element('strong', text(spot.step.action)), spot.step.points.length ? element('ul', spot.step.points.map((point) => element('li', text(point)))) : null,
      element('details', element('summary', 'Why'), element('p', text(spot.step.reason)), (spot.details ?? []).map((step) => element('p', text(step.action), ' ', text(step.reason))))))),
    ...next.warnings.map((warning) => element('p.warning', text(warning.message))),
    ...next.cautions.map((caution) => element('p.warning', text(caution.text))),
    element('p.quiet', `How sure: ${comparison.same_place_reason}. ${comparison.notes.map((note) => text(note) + '.').join(' ')}`),
  ];
}

/** Both photos seen squarely at one scale, each with the outlines of the spots before. */
async function squareViews(app, before, after, motion) {
  const [first, last] = [before, after].map((kept) => JSON.parse(kept.text));
  const area = areaOfBoth(first, last);
  const views = [];
  for (const [kept, reading, title, moved] of [[before, first, 'Before', null], [after, last, 'After', motion]]) {
    const photo = await bitmapOf(kept).catch(() => null);
    if (!photo || !kept.card?.photo_from_panel) return [];
    const canvas = new OffscreenCanvas(photo.width, photo.height);
    const context = canvas.getContext('2d');
    context.drawImage(photo, 0, 0);
    const {data} = context.getImageData(0, 0, photo.width, photo.height);
    const map = pictureFromView(kept.card.photo_from_panel, area, viewPx, photo.width / reading.photo_info.width_px, moved);
    const {pixels} = await app.core.ask({do: 'squareView', pixels: new Uint8Array(data.buffer), width: photo.width, height: photo.height, side: viewPx, pictureFromView: map});
    views.push({canvas: viewCanvas(pixels, viewPx, first.dents, area), title});
  }
  return views;
}
