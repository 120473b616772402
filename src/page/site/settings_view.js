// What is said once: board, card, phone, kit, units. Every change is read by the core before it is kept.
import {button, download, element, fileButton, select} from './dom.js';
import {allReadings, deleteReadings} from './store.js';
import {scaledBoard, textOf} from './workshop.js';

const sheets = [
  {name: 'A4, two sheets', pdf: 'sheets/board-a4.pdf', board: 'sheets/board-a4.json'},
  {name: 'A4, one sheet, for small dents', pdf: 'sheets/board-a4-small.pdf', board: 'sheets/board-a4-small.json'},
  {name: 'Letter, two sheets', pdf: 'sheets/board-letter.pdf', board: 'sheets/board-letter.json'},
  {name: 'A3', pdf: 'sheets/board-a3.pdf', board: 'sheets/board-a3.json'},
];
const cards = [
  {name: 'card, A4', pdf: 'sheets/card-a4.pdf'},
  {name: 'card, Letter', pdf: 'sheets/card-letter.pdf'},
];

/** Millimetres as people type them, with a comma or a point; null for an empty field. */
function lengthFrom(text) {
  const tidy = text.trim().replace(',', '.');
  if (!tidy) return null;
  const value = Number(tidy);
  if (!(value > 0)) throw new Error(`“${text}” is no length; give millimetres, such as 99.4`);
  return value;
}

export async function settingsView(app) {
  const {workshop, core} = app;
  const {profile} = workshop;
  /** Shows it anew; whoever has gone on meanwhile stays there. */
  const again = () => location.hash === '#/settings' && app.go('#/settings');
  /** Runs a change and says how it went; nothing is kept of one that the core refuses. */
  const apply = async (work, done = 'Stored') => {
    try {
      await work();
      app.say(done);
      await again();
    } catch (error) {
      app.say('');
      wrong.textContent = error.message;
      wrong.scrollIntoView({block: 'center'});
    }
  };
  const wrong = element('p.wrong', {role: 'alert'});
  const said = await core.ask({do: 'settings', files: workshop.coreFiles()}).catch((error) => ({error: error.message}));
  const {countries} = await core.ask({do: 'coin_countries'});
  return {
    title: 'Set-up',
    heading: 'Set-up',
    content: [
      wrong,
      said.error ? element('p.wrong', said.error) : null,
      printSection(),
      boardSection(profile, said, core, workshop, apply),
      cardSection(profile, core, workshop, apply),
      fileSection('3 · Phone', profile.camera_file ? `Lens profile: ${profile.camera_file}` : 'No lens profile: what the camera writes into the photo serves. A profile (made by the program from photos of the card) is better.',
        'camera_file', 'phone.json', 'Lens profile', core, workshop, apply),
      fileSection('4 · Kit', said.kit ? `Your kit: ${said.kit}` : 'No kit: plans name tabs and tools by their kind.', 'kit_file', 'kit.json', 'Kit file', core, workshop, apply),
      showSection(app, countries, apply),
      profileSection(app, apply),
      storeSection(app, again),
    ].filter(Boolean),
  };
}

function printSection() {
  const link = ({name, pdf}) => element('li', element('a', {href: pdf, download: pdf.split('/').pop(), type: 'application/pdf'}, name));
  return element('details.card', element('summary', 'Print card and board'),
    element('p', 'Print at 100 %, on matt paper; glue the board onto something flat and stiff.'),
    element('ul', cards.map(link), sheets.map((sheet) => link({...sheet, name: `board, ${sheet.name}`}))));
}

function boardSection(profile, said, core, workshop, apply) {
  const bar = element('input', {inputmode: 'decimal', placeholder: '100', 'aria-describedby': 'bar-help'});
  const pitch = element('input', {inputmode: 'decimal', value: profile.board_pitch_mm ?? '', placeholder: '16'});
  const chosen = element('select', sheets.map(({name}, i) => element('option', {value: String(i)}, name)));
  const usePrinted = () => apply(async () => {
    const sheet = sheets[Number(chosen.value)];
    const answer = await fetch(sheet.board);
    if (!answer.ok) throw new Error('This board’s file did not come with the page; take “another board”.');
    const board = scaledBoard(await answer.json(), lengthFrom(bar.value) ?? 100);
    await workshop.change(core, {board_file: 'board.json', board_pitch_mm: null}, {'board.json': JSON.stringify(board, null, 2)});
  });
  const usePitch = () => apply(() => workshop.change(core, {board_pitch_mm: lengthFrom(pitch.value), board_file: null}));
  const now = said.board ? `Now: ${said.board.name || 'tagged board'}, pitch ${said.board.pitch_mm} mm, ${said.board.tags} tags` : profile.board_pitch_mm ? `Now: a board of ${profile.board_pitch_mm} mm pitch` : 'None yet: without it nothing can be measured.';
  return element('section.card', element('h2', '1 · Board'), element('p', now),
    element('details', {open: !workshop.hasBoard},
      element('summary', 'Printed from here'),
      element('label.field', element('span', 'Sheets'), chosen),
      element('label.field', element('span', 'The board’s 100 mm bar measures, mm'), bar),
      element('p.quiet', {id: 'bar-help'}, 'Every depth is as good as this, per cent for per cent. Use a steel rule.'),
      button('Use this board', usePrinted, 'main')),
    element('details', element('summary', 'Another striped board'),
      element('label.field', element('span', 'Pitch, mm: one light plus one dark stripe'), pitch),
      element('p.quiet', 'Measure over ten pitches and divide.'),
      button('Use this pitch', usePitch, 'main'),
      fileButton('Its board file …', {accept: '.json,application/json', onfiles: ([file]) => apply(async () => workshop.change(core, {board_file: 'board.json', board_pitch_mm: null}, {'board.json': await textOf(file)}))})));
}

function cardSection(profile, core, workshop, apply) {
  const bar = element('input', {inputmode: 'decimal', value: profile.bar_length_mm ?? '', placeholder: 'not measured', onchange: () => apply(() => workshop.change(core, {bar_length_mm: lengthFrom(bar.value)}))});
  return element('section.card', element('h2', '2 · Card'),
    element('label.field', element('span', 'The card’s 100 mm bar measures, mm'), bar),
    element('p.quiet', 'By a steel rule, to 0.2 mm. Printers scale.'),
    element('details', element('summary', profile.card_file && profile.card_file !== 'card-corner.json' ? `Another card: ${profile.card_file}` : 'Another card than the one printed here'),
      fileButton('Card file …', {accept: '.json,application/json', onfiles: ([file]) => apply(async () => workshop.change(core, {card_file: 'card.json'}, {'card.json': await textOf(file)}))}),
      profile.card_file ? button('Use the printed card', () => apply(() => workshop.change(core, {card_file: null}))) : null));
}

function fileSection(title, now, key, name, what, core, workshop, apply) {
  return element('section.card', element('h2', title), element('p', now),
    fileButton(`${what} …`, {accept: '.json,application/json', onfiles: ([file]) => apply(async () => workshop.change(core, {[key]: name}, {[name]: await textOf(file)}))}),
    workshop.profile[key] ? button('Take it out', () => apply(() => workshop.change(core, {[key]: null}))) : null);
}

const coinNames = {us: 'US', euro: 'euro', uk: 'UK'};

function showSection(app, countries, apply) {
  const {show, profile} = app.workshop;
  return element('section.card', element('h2', '5 · Show'), element('div.pair',
    select('Lengths', [['mm', 'mm'], ['inch', 'inch']], show.length, (length) => apply(() => app.workshop.set('show', {length}))),
    select('Temperatures', [['C', '°C'], ['F', '°F']], show.temperature, (temperature) => apply(() => app.workshop.set('show', {temperature}))),
    select('Coins', countries.map((name) => [name, coinNames[name] ?? name]), profile.coin_country ?? 'us', (coin_country) => apply(() => app.workshop.change(app.core, {coin_country})))));
}

function profileSection(app, apply) {
  return element('section.card', element('h2', 'Workshop profile'),
    element('p', 'The same file that the program reads and writes. It may name others: save and choose them together.'),
    button('Save the profile', () => {
      for (const {name, text} of app.workshop.exported()) download(name, text);
    }),
    fileButton('Read a profile …', {accept: '.json,application/json', multiple: true, onfiles: (files) => apply(() => app.workshop.import(app.core, files), 'Profile read and stored')}));
}

function storeSection(app, again) {
  const used = element('p');
  Promise.all([allReadings(), navigator.storage?.estimate?.()]).then(([all, estimate]) => {
    const room = estimate?.usage ? `, ${(estimate.usage / 1e6).toFixed(0)} MB of ${(estimate.quota / 1e6).toFixed(0)} MB` : '';
    used.textContent = `${all.length} ${all.length === 1 ? 'reading' : 'readings'}${room}.`;
  }).catch((error) => (used.textContent = error.message));
  return element('section.card', element('h2', 'Kept on this phone'), used,
    button('Delete all readings', async () => {
      const all = await allReadings();
      if (!all.length || !confirm(`Delete all ${all.length} readings and their pictures from this phone? The set-up stays.`)) return;
      await deleteReadings(all.map(({id}) => id));
      app.say(`Deleted: ${all.length} readings`);
      again();
    }));
}
