// All readings that this phone keeps, by day, vehicle and panel; what is exported and deleted.
import {button, download, element} from './dom.js';
import {allReadings, deleteReadings} from './store.js';
import {lengthWords} from './units.js';
import {dayOf, timeOf} from './when.js';

/** Groups in the order of their newest member. */
function groupedBy(list, keyOf) {
  const groups = new Map();
  for (const one of list) {
    const key = keyOf(one);
    if (!groups.has(key)) groups.set(key, []);
    groups.get(key).push(one);
  }
  return [...groups];
}

export async function todayView(app) {
  const all = (await allReadings()).reverse();
  const content = [];
  if (!all.length) content.push(element('p', 'No readings yet. Each photo that is measured is kept here, on this phone alone.'));
  for (const [day, ofDay] of groupedBy(all, (kept) => dayOf(kept.created))) {
    content.push(element('h2', day === dayOf(new Date()) ? 'Today' : day));
    for (const [vehicle, ofVehicle] of groupedBy(ofDay, (kept) => kept.vehicle)) content.push(vehicleCard(app, day, vehicle, ofVehicle));
  }
  if (all.length) content.push(element('p.quiet', 'A browser may clear what a page keeps: save what you need, or put the page on the home screen.'));
  return {title: 'Readings', content};
}

function vehicleCard(app, day, vehicle, list) {
  const name = vehicle || 'no name';
  return element('section.card',
    element('h3', {dir: 'auto'}, name),
    groupedBy(list, (kept) => kept.panel).map(([panel, ofPanel]) => [element('h4', {dir: 'auto'}, panel || 'no panel'), element('ul.readings', ofPanel.map((kept) => readingLine(app, kept)))]),
    element('div.actions',
      button('Save for a job (JSON)', () => download(`${fileName(vehicle || day)}.json`, vehicleFile(vehicle, list))),
      button('Delete these', () => remove(app, name, list))));
}

function readingLine(app, kept) {
  return element('li', element('a', {href: `#/reading/${kept.id}`}, element('bdi', summary(kept, app.workshop.show)), element('small', ` ${timeOf(kept.created)} ${kept.sample ? 'sample' : kept.name}`)));
}

function summary(kept, show) {
  if (kept.status === 'refused') return 'Not measured';
  const {dents} = JSON.parse(kept.text);
  if (!dents.length) return 'No dent';
  const [first] = dents;
  const size = `${first.kind}, ${lengthWords(first.diameter_mm, show).value}, ${first.severity}`;
  return dents.length === 1 ? size : `${dents.length} spots: ${size}, …`;
}

/** One file for a vehicle: the readings of each panel as they were measured. */
export function vehicleFile(vehicle, list) {
  const panels = groupedBy([...list].reverse(), (kept) => kept.panel || 'no panel').map(
    ([panel, ofPanel]) => `{"panel": ${JSON.stringify(panel)}, "readings": [${ofPanel.map((kept) => kept.text.trim()).join(',\n')}]}`);
  return `{"schema": 1, "vehicle": ${JSON.stringify(vehicle)}, "panels": [\n${panels.join(',\n')}\n]}\n`;
}

const fileName = (text) => text.replace(/[^\p{L}\p{N}_.-]+/gu, '_').slice(0, 60);

async function remove(app, name, list) {
  if (!confirm(`Delete ${list.length} reading${list.length > 1 ? 's' : ''} of ${name} (${[...new Set(list.map((kept) => kept.panel))].join(', ')}) and their pictures from this phone?`)) return;
  await deleteReadings(list.map((kept) => kept.id));
  app.say(`Deleted: ${list.length} of ${name}`);
  app.go('#/today');
}
