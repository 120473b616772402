// Help while aiming: the camera's picture reduced, looked at by the same core, with words and an arrow: a few times a second
// where the card is, and, once it is held still, whether a photo would measure. The photo itself has the camera's full size.
import {button, element} from './dom.js';
import {measureFile} from './shoot_view.js';
import {wordsOfCheck, wordsOfLook} from './aim_words.js';
import {greyOf} from './pixels.js';

const lookPx = 960; // longer side of the picture in which the card is found
const checkPx = 1920; // and of the one that is measured

export async function aimView(app) {
  const video = element('video', {playsinline: true, muted: true, 'aria-label': 'The camera’s picture'});
  const words = element('p.large', {role: 'status'}, 'Point the camera at card and dent.');
  const arrow = element('div.arrow', {'aria-hidden': 'true'});
  const shutter = button('Take the photo', () => take(), 'main');
  let stream = null;
  let over = false;

  const take = async () => {
    over = true;
    const file = await photoOf(stream, video);
    stop();
    await measureFile(app, file);
    if (location.hash === '#/aim') app.go('#/');
  };
  const stop = () => {
    over = true;
    stream?.getTracks().forEach((track) => track.stop());
  };

  const ask = (what, side) => app.core.ask({do: what, files: app.workshop.coreFiles(), photo: {name: 'live', grey: greyOf(video, side)}});
  const tell = ({text, pointer, good = false}) => {
    words.textContent = text;
    arrow.textContent = pointer;
    shutter.classList.toggle('good', good);
  };
  const watch = async () => {
    let before = null;
    while (!over) {
      await new Promise((resolve) => setTimeout(resolve, 150));
      if (over || !video.videoWidth || app.core.busy) continue;
      try {
        const seen = await ask('look', lookPx);
        const said = over ? null : wordsOfLook(seen, before) ?? wordsOfCheck(await ask('check', checkPx));
        if (over) return;
        before = seen;
        tell(said);
      } catch (error) {
        if (error.kind === 'cancelled') return;
        words.textContent = error.message;
      }
    }
  };

  try {
    if (!app.workshop.hasBoard) throw new Error('Set up board and card first.');
    stream = await navigator.mediaDevices.getUserMedia({audio: false, video: {facingMode: 'environment', width: {ideal: 4096}, height: {ideal: 3072}}});
    video.srcObject = stream;
    await video.play();
    watch();
  } catch (error) {
    stop();
    return {title: 'Aim', content: [element('p.large', `No camera here (${error.message}). Take single photos instead.`), element('a.button.main', {href: '#/'}, 'Back')]};
  }
  return {title: 'Aim', content: [element('div.aim', video, arrow), words, element('div.actions', shutter, element('a.button', {href: '#/'}, 'Back'))], leave: stop};
}

/** At the camera's full size where the browser can take one, else the picture as it is. */
async function photoOf(stream, video) {
  const [track] = stream.getVideoTracks();
  if ('ImageCapture' in window) {
    try {
      const blob = await new ImageCapture(track).takePhoto();
      return new File([blob], nameNow(), {type: blob.type || 'image/jpeg'});
    } catch {
      // some cameras refuse while they are streaming
    }
  }
  const canvas = new OffscreenCanvas(video.videoWidth, video.videoHeight);
  canvas.getContext('2d').drawImage(video, 0, 0);
  return new File([await canvas.convertToBlob({type: 'image/jpeg', quality: 0.95})], nameNow(), {type: 'image/jpeg'});
}

const nameNow = () => `aim-${new Date().toISOString().slice(0, 19).replace(/[:T]/g, '-')}.jpg`;
