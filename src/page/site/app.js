// The page: which view is shown, and what all views share. The way back is the browser's own, by the address's #.
import {CoreClient} from './core_client.js';
import {element} from './dom.js';
import {Workshop} from './workshop.js';
import {shootView} from './shoot_view.js';
import {readingView} from './reading_view.js';
import {todayView} from './today_view.js';
import {compareView} from './compare_view.js';
import {settingsView} from './settings_view.js';
import {aimView} from './aim_view.js';

const view = document.getElementById('view');
const status = document.getElementById('status');

const app = {
  core: new CoreClient(),
  workshop: new Workshop(),
  /** For a screen reader and a passing look: what has just been done, or went wrong. */
  say(text) {
    status.textContent = text;
    clearTimeout(app.silence);
    app.silence = setTimeout(() => (status.textContent = ''), 3000 + 60 * text.length);
  },
  go(address) {
    if (location.hash === address) show();
    else location.hash = address;
  },
};

const routes = [
  [/^#?\/?$/, shootView, 'shoot'],
  [/^#\/reading\/(\d+)$/, readingView, 'today'],
  [/^#\/today$/, todayView, 'today'],
  [/^#\/compare\/(\d+)\/(\d+)$/, compareView, 'today'],
  [/^#\/settings$/, settingsView, 'settings'],
  [/^#\/aim$/, aimView, 'shoot'],
];

let shown = 0;
let leave = () => {};

async function show() {
  const turn = ++shown;
  leave();
  leave = () => {};
  const [pattern, make, name] = routes.find(([route]) => route.test(location.hash)) ?? routes[0];
  for (const link of document.querySelectorAll('nav a')) {
    if (link.dataset.view === name) link.setAttribute('aria-current', 'page');
    else link.removeAttribute('aria-current');
  }
  let made;
  try {
    made = await make(app, ...(pattern.exec(location.hash) ?? []).slice(1).map(Number));
  } catch (error) {
    made = {title: 'Something went wrong', content: [element('p.wrong', {role: 'alert'}, error.message)]};
  }
  if (turn !== shown) return made.leave?.();
  leave = made.leave ?? (() => {});
  document.title = `${made.title} · ripplegauge`;
  view.replaceChildren(element('h1', made.heading ?? made.title), ...made.content);
  view.focus({preventScroll: true});
  scrollTo(0, 0);
}

async function start() {
  app.core.start();
  try {
    await app.workshop.load();
  } catch (error) {
    app.say(error.message);
  }
  addEventListener('hashchange', show);
  addEventListener('store-outdated', () => app.say('A newer version of this page is open in another tab. Load this one again.'));
  await show();
  document.documentElement.dataset.ready = 'page';
  warmUp();
  offline();
}

/** The first measurement takes longest, since the browser still compiles: done on a sample photo, while the user aims. */
async function warmUp() {
  try {
    await app.core.warmUp();
    document.documentElement.dataset.ready = 'core';
  } catch (error) {
    if (error.kind !== 'cancelled') app.say(error.message);
  }
}

/** Where the browser has it (https, or this machine): all files are kept, and a new version takes over once no page of
 *  the old one is open. */
function offline() {
  if (!('serviceWorker' in navigator)) return;
  navigator.serviceWorker
    .register('service_worker.js')
    .then(() => navigator.serviceWorker.ready)
    .then(() => (document.documentElement.dataset.offline = 'ready'))
    .catch(() => {});
}

start();
