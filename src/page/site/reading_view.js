// One reading: the photo with what was found, sizes in large type, the plan in a few lines.
import {button, download, element, select} from './dom.js';
import {blobOf, drawReading, withLines} from './picture.js';
import {pullClock} from './pull_clock.js';
import {photoButton} from './shoot_view.js';
import {allReadings, changeReading, deleteReadings, readingWith} from './store.js';
import {inUnits, lengthWords} from './units.js';
import {timeOf} from './when.js';

export async function bitmapOf(kept) {
  return kept.picture ? createImageBitmap(kept.picture) : null;
}

export const kindWord = (dent) => (dent.kind === 'low' ? 'Low' : 'High');

/** "17.2 mm", for a label in the picture. */
const shortLabel = (dent, show) => lengthWords(dent.diameter_mm, show).value;

export async function readingView(app, id) {
  const kept = await readingWith(id);
  if (!kept) return {title: 'Reading', content: [element('p', 'This reading is not on this phone (any more).'), element('a.button', {href: '#/today'}, 'All readings')]};
  const reading = JSON.parse(kept.text);
  const {show} = app.workshop;
  const photo = await bitmapOf(kept).catch(() => null);
  const pictureOf = (options) => drawReading(photo, reading, kept.card, {label: (dent) => (reading.dents.length <= 12 ? shortLabel(dent, show) : ''), ...options});
  const content = [pictureFigure(photo, pictureOf, reading)];
  const words = element('div.words');
  content.push(words);
  const title = titleOf(reading);
  const tell = async () => {
    if (reading.status === 'refused') return words.replaceChildren(...refusalParts(app, reading, kept));
    const told = await app.core.ask({do: 'plan', reading: kept.text, files: kept.sample ? sampleOf(app) : app.workshop.coreFiles()});
    words.replaceChildren(...readingParts(app, reading, told, tell));
  };
  tell().catch((error) => error.kind !== 'cancelled' && words.replaceChildren(element('p.wrong', {role: 'alert'}, error.message)));
  if (reading.status === 'measured') words.append(...reading.dents.slice(0, 1).map((dent) => sizeLines(dent, show)));
  content.push(actions(app, kept, reading, pictureOf));
  return {title, content};
}

/** The sample was measured with values of its own, but kit and coins are the workshop's. */
function sampleOf(app) {
  const {profile, files} = app.workshop;
  return app.workshop.coreFiles({...profile, board_file: null, board_pitch_mm: 14, bar_length_mm: 98.4}, files);
}

function titleOf(reading) {
  if (reading.status === 'refused') return 'Not measured';
  if (reading.status === 'no_dent') return 'No dent';
  const {length} = reading.dents;
  return length === 1 ? `One ${reading.dents[0].kind} spot` : `${length} spots`;
}

function pictureFigure(photo, pictureOf, reading) {
  if (!photo) return element('p', 'The browser cannot show this photo; its numbers are below.');
  const whole = {x: 0, y: 0, width: reading.photo_info.width_px, height: reading.photo_info.height_px};
  let cropped = true;
  const place = element('div');
  const draw = () => {
    const canvas = pictureOf(cropped && reading.status !== 'refused' ? {} : {part: whole});
    canvas.setAttribute('role', 'img');
    canvas.setAttribute('aria-label', describePicture(reading));
    place.replaceChildren(canvas);
  };
  draw();
  const toggle = button('Whole photo', () => {
    cropped = !cropped;
    toggle.textContent = cropped ? 'Whole photo' : 'Closer';
    draw();
  });
  return element('figure', place, reading.status === 'refused' ? null : toggle);
}

function describePicture(reading) {
  if (reading.status === 'refused') return 'The photo, with what was found of the card';
  const spots = reading.dents.map((dent, i) => `${i + 1}: ${dent.kind} at ${Math.round(dent.x_mm)}, ${Math.round(dent.y_mm)} millimetres from the corner tag`);
  return `The photo with ${spots.length ? 'spots ' + spots.join('; ') : 'no spot'}`;
}

function figure(name, quantity, show) {
  if (!quantity) return element('div.figure', element('dt', name), element('dd', 'not known'));
  const {value, range} = lengthWords(quantity, show);
  return element('div.figure', element('dt', name), element('dd', element('strong', value), ' ', element('span', {'aria-label': `between ${range}`}, range)));
}

function sizeLines(dent, show) {
  const long = dent.length_mm.value > 1.15 * dent.width_mm.value;
  return element(
    'dl.sizes',
    figure('across', dent.diameter_mm, show),
    figure(dent.kind === 'low' ? 'deep' : 'high', dent.depth_mm, show),
    long ? figure('long', dent.length_mm, show) : null,
    long ? figure('wide', dent.width_mm, show) : null,
  );
}

function flattenedLine(dent, show) {
  const line = dent.flattened_line;
  if (!line) return null;
  const [over, by] = [line.length_mm, line.depth_mm].map((quantity) => lengthWords(quantity, show).value);
  return element('p', `The body line is flattened over ${over}, ${by} ${dent.kind}.`);
}

/** The grade as filled steps and as a word: not by colour. */
function gradeBar(spot) {
  if (spot.grade === null) return null;
  return element('span.grade', {'aria-hidden': 'true'}, Array.from({length: spot.grades}, (_, i) => element(i <= spot.grade ? 'i.on' : 'i')));
}

function spotCard(dent, spot, i, several, show) {
  const reason = dent.severity_reason && element('p', inUnits(dent.severity_reason, show));
  return element(
    `section.spot.${dent.kind}`,
    element('h2', several ? `${i + 1}  ` : '', `${kindWord(dent)}, ${spot.severity}`, gradeBar(spot)),
    sizeLines(dent, show),
    flattenedLine(dent, show),
    element('details', element('summary', 'Why, and how sure'),
      reason,
      spot.coin ? element('p', spot.coin) : null,
      element('p', `The spot explains ${Math.round(100 * dent.agreement)} % of how the stripes bend here.`),
      dent.notes.map((note) => element('p', inUnits(note, show)))),
  );
}

function spotTable(reading, told, show) {
  return element('table',
    element('thead', element('tr', ['Spot', 'Kind', 'Across', 'Deep or high', 'Severity'].map((name) => element('th', {scope: 'col'}, name)))),
    element('tbody', reading.dents.map((dent, i) => element('tr',
      element('th', {scope: 'row'}, String(i + 1)),
      element('td', dent.kind),
      element('td.size', lengthWords(dent.diameter_mm, show).value),
      element('td.size', dent.depth_mm ? lengthWords(dent.depth_mm, show).value : 'not known'),
      element('td', told.spots[i].severity)))));
}

const manySpots = 4;

function readingParts(app, reading, told, tellAgain) {
  const {show} = app.workshop;
  const parts = [];
  if (reading.status === 'no_dent') parts.push(element('p.large', inUnits(told.no_dent, show)), element('p', inUnits(told.visible, show)));
  if (reading.dents.length > manySpots) parts.push(spotTable(reading, told, show));
  else parts.push(...reading.dents.map((dent, i) => spotCard(dent, told.spots[i], i, reading.dents.length > 1, show)));
  parts.push(...reading.warnings.map((warning) => element('p.warning', inUnits(warning.message, show))));
  if (told.brief.length) parts.push(...planParts(app, told, tellAgain));
  return parts;
}

function planParts(app, told, tellAgain) {
  const {show} = app.workshop;
  const lines = told.brief.map(({label, text}) =>
    element(label === 'Caution' || label === 'Stop' ? 'div.mind' : 'div', element('dt', label), element('dd', inUnits(text, show))));
  return [
    element('h2', 'How to pull it'),
    element('dl.plan', lines),
    ...[pullClock(app, told.plan)].filter(Boolean),
    element('details', element('summary', 'What the photo cannot show: metal, paint, place'), factFields(app, tellAgain)),
    element('details', element('summary', 'Every step, with reasons and cautions'), fullPlan(told.plan, show)),
    element('p.quiet', 'The vehicle maker’s procedure and local rules come first.'),
  ];
}

const choices = {
  material: [['not_sure', 'not sure'], ['mild_steel', 'mild steel'], ['high_strength_steel', 'high-strength steel'], ['aluminium', 'aluminium']],
  paint: [['not_sure', 'not sure'], ['original', 'original'], ['repainted', 'repainted'], ['damaged', 'cracked or lifting']],
  coating: [['not_sure', 'not sure'], ['none', 'none'], ['wax_or_sealant', 'wax or sealant'], ['ceramic', 'ceramic']],
  place: [['not_sure', 'not sure'], ['open', 'open panel'], ['body_line', 'on a body line'], ['edge', 'near an edge'], ['brace', 'over a brace']],
  access: [['not_sure', 'not sure'], ['reachable', 'reachable'], ['closed', 'closed']],
};
const factNames = {material: 'Metal (a magnet tells steel)', paint: 'Paint', coating: 'Coating', place: 'Where it lies', access: 'From behind'};

function factFields(app, tellAgain) {
  const {facts, show} = app.workshop;
  const set = async (change) => {
    await app.workshop.set('facts', change);
    await tellAgain();
  };
  const fahrenheit = show.temperature === 'F';
  const air = facts.air_c === null ? '' : String(Math.round(fahrenheit ? facts.air_c * 1.8 + 32 : facts.air_c));
  return element('div.fields',
    Object.entries(choices).map(([key, list]) => select(factNames[key], list, facts[key], (word) => set({[key]: word}))),
    element('label.field', element('span', `Air, °${show.temperature}`),
      element('input', {inputmode: 'numeric', value: air, onchange: (event) => {
        const degrees = Number(event.target.value.replace(',', '.'));
        const celsius = fahrenheit ? (degrees - 32) / 1.8 : degrees;
        if (event.target.value.trim() === '') return set({air_c: null});
        if (!Number.isFinite(celsius) || celsius < -40 || celsius > 60) return app.say(`The air has ${fahrenheit ? '-40 to 140 °F' : '-40 to 60 °C'}.`);
        return set({air_c: Number(celsius.toFixed(1))});
      }})));
}

function stepOf(step, cautions, show) {
  const facts = step.facts.map((fact) => `${fact.name} ${fact.text} (${fact.source})`).join('; ');
  return element('li',
    cautions.filter((caution) => caution.before_step === step.code).map((caution) => element('p.warning', inUnits(caution.text, show))),
    element('strong', inUnits(step.action, show)),
    step.points.length ? element('ul', step.points.map((point) => element('li', inUnits(point, show)))) : null,
    element('p', inUnits(step.reason, show)),
    facts ? element('p.quiet', inUnits(facts, show)) : null,
    step.alternatives.map((other) => element('p', 'Or: ', inUnits(other, show))),
    step.missing ? element('p', 'Missing: ', inUnits(step.missing, show)) : null);
}

function fullPlan(plan, show) {
  const {cautions} = plan;
  const steps = [...plan.before, ...plan.spots.flatMap((spot) => spot.steps), ...plan.after];
  const placed = new Set(steps.map((step) => step.code));
  return element('div',
    cautions.filter((caution) => !placed.has(caution.before_step)).map((caution) => element('p.warning', inUnits(caution.text, show))),
    element('h3', 'Before you start'), element('ol', plan.before.map((step) => stepOf(step, cautions, show))),
    plan.spots.map((spot) => [element('h3', `Spot ${spot.spot}`), element('ol', spot.steps.map((step) => stepOf(step, cautions, show)))]),
    plan.after.length ? [element('h3', 'Afterwards'), element('ol', plan.after.map((step) => stepOf(step, cautions, show)))] : null,
    plan.questions.length ? [element('h3', 'Worth telling'), element('ul', plan.questions.map((question) => element('li', inUnits(question.text, show))))] : null);
}

function refusalParts(app, reading, kept) {
  const {show} = app.workshop;
  const advice = kept.check?.advice ?? [];
  return [
    element('p.large', inUnits(reading.refusal.message, show)),
    element('p.do', element('strong', 'What to do: '), inUnits(reading.refusal.remedy, show)),
    advice.length ? [element('h2', 'For the next photo'), element('ul.advice', advice.map(({message}) => element('li', inUnits(message, show))))] : null,
    reading.warnings.map((warning) => element('p.warning', inUnits(warning.message, show))),
  ].flat().filter(Boolean);
}

function actions(app, kept, reading, pictureOf) {
  const list = [];
  if (reading.status === 'refused') list.push(app.workshop.hasBoard ? photoButton(app, 'Take it again') : element('a.button.main', {href: '#/settings'}, 'Set up board and card'));
  else list.push(photoButton(app, 'Photo after the pull', {before: kept.id, ...(kept.sample ? {files: sampleOf(app), sample: true} : {})}));
  if (app.workshop.hasBoard && reading.status !== 'refused') list.push(photoButton(app, 'Next dent', {}, 'plain'));
  list.push(button('Share the picture', () => share(app, kept, reading, pictureOf)));
  list.push(button('Save the reading (JSON)', () => download(`${baseName(kept)}.json`, kept.text)));
  list.push(compareField(app, kept, reading));
  list.push(placeFields(app, kept));
  list.push(button('Delete this reading', async () => {
    if (!confirm(`Delete the reading of ${kept.name} (${[kept.vehicle, kept.panel].filter(Boolean).join(', ')}) and its picture from this phone?`)) return;
    await deleteReadings([kept.id]);
    app.say(`Deleted: reading of ${kept.name}`);
    app.go('#/today');
  }));
  return element('div.actions', list);
}

const baseName = (kept) => kept.name.replace(/\.[a-z0-9]+$/i, '').replace(/[^\p{L}\p{N}_.-]+/gu, '_') || 'reading';

async function share(app, kept, reading, pictureOf) {
  const {show} = app.workshop;
  const lines = [
    [kept.vehicle, kept.panel, reading.photo_info.date_taken.slice(0, 10)].filter(Boolean).join(', '),
    ...reading.dents.slice(0, 12).map((dent, i) => {
      const depth = dent.depth_mm && lengthWords(dent.depth_mm, show);
      const across = lengthWords(dent.diameter_mm, show);
      return `${i + 1}: ${dent.kind}, ${across.value} across (${across.range})${depth ? `, ${depth.value} ${dent.kind === 'low' ? 'deep' : 'high'} (${depth.range})` : ''}, ${dent.severity}`;
    }),
    ...(reading.dents.length > 12 ? [`and ${reading.dents.length - 12} more`] : []),
    ...(reading.status === 'no_dent' ? ['no dent found in what could be checked (dotted)'] : []),
    ...(reading.status === 'refused' ? [reading.refusal.message] : []),
  ];
  const blob = await blobOf(withLines(pictureOf({width: 1600}), lines), 'image/jpeg', 0.9);
  await shareFile(app, new File([blob], `${baseName(kept)}-measured.jpg`, {type: 'image/jpeg'}));
}

/** By the phone's own sharing where it has it, else as a download. */
export async function shareFile(app, file) {
  if (navigator.canShare?.({files: [file]})) {
    try {
      await navigator.share({files: [file]});
      return;
    } catch (error) {
      if (error.name === 'AbortError') return;
    }
  }
  download(file.name, file, file.type);
  app.say(`Saved: ${file.name}`);
}

/** Another reading of the same panel, to compare with. */
function compareField(app, kept, reading) {
  const place = element('div');
  if (reading.status === 'refused') return place;
  allReadings().then((all) => {
    const others = all.filter((other) => other.id !== kept.id && other.status !== 'refused' && other.vehicle === kept.vehicle && other.panel === kept.panel);
    if (!others.length) return;
    const list = [['', 'choose …'], ...others.map((other) => [String(other.id), `${timeOf(other.created)}, ${other.name}`])];
    place.append(select('Compare with', list, '', (id) => {
      const [before, after] = [kept.id, Number(id)].sort((a, b) => a - b);
      app.go(`#/compare/${before}/${after}`);
    }));
  }, () => {});
  return place;
}

function placeFields(app, kept) {
  const store = async (change) => {
    Object.assign(kept, change);
    await changeReading(kept);
    app.say('Stored');
  };
  const field = (label, key) => element('label.field', element('span', label),
    element('input', {value: kept[key], maxlength: 80, dir: 'auto', onchange: (event) => store({[key]: event.target.value.trim()})}));
  return element('details', element('summary', `${[kept.vehicle, kept.panel].filter(Boolean).join(', ') || 'Vehicle and panel'}: change`), element('div.pair', field('Vehicle', 'vehicle'), field('Panel', 'panel')));
}
