// The start: vehicle and panel, then the photo; and measuring one, from whichever view it comes.
import {button, element, fileButton, select} from './dom.js';
import {blobOf, reducedPhoto} from './picture.js';
import {sha256} from './sha256.js';
import {addReading, allReadings, keepData} from './store.js';

export const panels = ['bonnet', 'roof', 'boot lid', 'left wing', 'right wing', 'left front door', 'right front door', 'left rear door', 'right rear door', 'left rear quarter', 'right rear quarter', 'left roof rail', 'right roof rail'];

const photoTypes = 'image/jpeg,image/png,image/heic,image/heif,.jpg,.jpeg,.png,.heic';

/** A label with a camera behind it, and all that follows until the reading is shown. */
export const photoButton = (app, text, options = {}, kind = 'main') =>
  fileButton(text, {accept: photoTypes, kind, onfiles: ([file]) => measureFile(app, file, options)});

/** Measures and stores a photo, then shows it. `files` stand for other settings than the workshop's. */
export async function measureFile(app, file, {files = app.workshop.coreFiles(), sample = false, before = null} = {}) {
  const cover = coverFor(app, file);
  try {
    const fingerprint = await sha256(new Uint8Array(await file.arrayBuffer()));
    const photo = await reducedPhoto(file);
    cover.goOn();
    cover.show(photo);
    const answer = await app.core.ask({do: 'measure', files, sha256: fingerprint, photo: {file, name: file.name}}, cover.stage);
    const reading = JSON.parse(answer.reading);
    let check = null;
    if (reading.status === 'refused') check = await app.core.ask({do: 'check', files}, cover.stage);
    cover.goOn();
    cover.stage('storing');
    const id = await addReading({
      ...app.workshop.current,
      created: new Date().toISOString(),
      name: file.name,
      status: reading.status,
      text: answer.reading,
      relief: answer.relief,
      card: answer.card,
      check,
      picture: photo && (await blobOf(photo)),
      sample,
      before,
    });
    keepData();
    app.go(before ? `#/compare/${before}/${id}` : `#/reading/${id}`);
  } catch (error) {
    if (error.kind !== 'cancelled') showFault(app, file, error);
  } finally {
    cover.close();
  }
}

/** What is seen while a photo is measured: the photo, what is being done, for how long, and a way out. */
function coverFor(app, file) {
  const began = Date.now();
  let cancelled = false;
  const cancel = () => {
    cancelled = true;
    stage.textContent = 'stopping';
    app.core.cancel();
  };
  const stage = element('p.stage', {role: 'status'}, 'reading the photo');
  const seconds = element('p', {'aria-hidden': 'true'});
  const place = element('div.preview');
  const dialog = element(
    'dialog.cover',
    {'aria-label': 'Measuring', oncancel: (event) => (event.preventDefault(), cancel())},
    place,
    element('progress', {'aria-label': 'Measuring'}),
    stage,
    seconds,
    button('Cancel', cancel),
  );
  document.body.append(dialog);
  dialog.showModal();
  const clock = setInterval(() => (seconds.textContent = `${file.name}: ${Math.round((Date.now() - began) / 1000)} s`), 500);
  return {
    /** Ends what was cancelled while the core was not asked anything. */
    goOn() {
      if (cancelled) throw Object.assign(new Error('cancelled'), {kind: 'cancelled'});
    },
    stage: (text) => (stage.textContent = text),
    show: (photo) => photo && place.append(photo),
    close() {
      clearInterval(clock);
      dialog.close();
      dialog.remove();
    },
  };
}

function showFault(app, file, error) {
  const dialog = element(
    'dialog.cover',
    {'aria-label': 'Not measured', role: 'alertdialog'},
    element('h2', 'Not measured'),
    element('p', error.message),
    button('Close', () => (dialog.close(), dialog.remove())),
  );
  document.body.append(dialog);
  dialog.showModal();
}

const sampleFiles = (app) => app.workshop.coreFiles({schema: 1, board_pitch_mm: 14, bar_length_mm: 98.4, coin_country: app.workshop.profile.coin_country}, {});

/** A photo of an invented scene that comes with the page, measured with its own values. */
async function measureSample(app) {
  const answer = await fetch('sample.jpg');
  const file = new File([await answer.blob()], 'sample.jpg', {type: 'image/jpeg'});
  await measureFile(app, file, {files: sampleFiles(app), sample: true});
}

function jobFields(app) {
  const {current} = app.workshop;
  const names = panels.includes(current.panel) || !current.panel ? panels : [...panels, current.panel];
  const choose = async (panel) => {
    if (panel === 'other') panel = (prompt('Name of the panel') ?? '').trim().slice(0, 60) || current.panel;
    await app.workshop.set('current', {panel});
    app.go('#/');
  };
  return element(
    'div.pair',
    element(
      'label.field',
      element('span', 'Vehicle'),
      element('input', {
        value: current.vehicle,
        maxlength: 80,
        dir: 'auto',
        autocomplete: 'off',
        placeholder: 'your own words',
        onchange: (event) => app.workshop.set('current', {vehicle: event.target.value.trim()}),
      }),
    ),
    select('Panel', [...names.map((name) => [name, name]), ['other', 'another …']], current.panel, choose),
  );
}

const cameraAllowed = () => Boolean(navigator.mediaDevices?.getUserMedia);

export async function shootView(app) {
  const ready = app.workshop.hasBoard;
  const readings = await allReadings().catch(() => []);
  const content = [jobFields(app)];
  if (ready) {
    content.push(photoButton(app, 'Take or choose a photo'));
    if (cameraAllowed()) content.push(element('a.button', {href: '#/aim'}, 'Aim with help'));
  } else {
    content.push(
      element('section.card', element('h2', 'Once, before the first photo'),
        element('p', 'Print a scale card and a striped board, and say what they measure. It takes five minutes and is kept on this phone.'),
        element('a.button.main', {href: '#/settings'}, 'Set up board and card')),
    );
  }
  content.push(button('Measure a sample photo', () => measureSample(app)));
  if (readings.length) {
    const last = readings[readings.length - 1];
    content.push(element('p', element('a', {href: `#/reading/${last.id}`}, `Last reading: ${last.vehicle ? last.vehicle + ', ' : ''}${last.panel}`)));
  }
  content.push(howTo());
  content.push(element('p.quiet', 'All of it happens on this phone: no photo and no reading leaves it unless you share it.'));
  return {title: 'Measure', heading: 'Measure a dent', content};
}

function howTo() {
  return element('details', element('summary', 'A photo that works'),
    element('img', {src: 'set-up.png', alt: 'The card beside the dent, the striped board leaning over it, the phone in front, on bonnet, roof and door', loading: 'lazy'}),
    element('ol',
      element('li', 'Lay the card flat on the panel, its inner corner towards the dent.'),
      element('li', 'Let the board lean over and face the dent, so that its stripes are mirrored round the dent.'),
      element('li', 'Hold the phone 20 to 70 cm away, its long side along the stripes, 16 to 50 degrees from straight on.'),
      element('li', 'Tap on the card to focus. No stripe may burn out.')));
}
