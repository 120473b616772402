// When to pull: readings of the thermometer as they are taken, and a countdown to the glue's temperatures.
import {button, element} from './dom.js';
import {inUnits} from './units.js';

export const clock = (seconds) => `${Math.floor(Math.round(seconds) / 60)}:${String(Math.round(seconds) % 60).padStart(2, '0')}`;

/** What to do `at_s` seconds after the first reading. The core leaves out a moment that never comes or has gone by. */
export function pullWords({enters_s, leaves_s}, at_s) {
  if (!leaves_s) return '';
  if (at_s >= leaves_s.value) return 'too cool by now: warm the panel again, or read the thermometer';
  if (enters_s && at_s < enters_s.value) return `wait ${clock(enters_s.value - at_s)}`;
  return `pull now, ${clock(leaves_s.value - at_s)} left`;
}

/** As the program says it: times that are rougher than the window is long are no help. */
export function roughness({enters_s, leaves_s}) {
  if (!enters_s || !leaves_s) return '';
  const lasts = leaves_s.value - enters_s.value;
  const open = Math.max(enters_s.high - enters_s.low, leaves_s.high - leaves_s.low);
  return open < lasts ? '' : `The time is rougher than the window is long (${Math.round(lasts)} s): go by the thermometer, or read it once more.`;
}

/** The temperatures at which the first pulled spot of a plan is pulled. */
export const pullRange = (plan) => plan.spots.find((spot) => spot.pull_at_c)?.pull_at_c ?? null;

export function pullClock(app, plan) {
  const range = pullRange(plan);
  if (!range) return null;
  const {facts, show} = app.workshop;
  const between = inUnits(`${range.low} to ${range.high} °C`, show);
  const content = [element('p.large', `Pull when the thermometer beside the tab reads ${between}.`)];
  if (facts.air_c === null) content.push(element('p', 'Say how warm the air is, below “What the photo cannot show”: then a clock counts down to it.'));
  else content.push(...readingFields(app, facts.air_c, range));
  return element('details', element('summary', 'When to pull: thermometer and clock'), content);
}

function readingFields(app, air_c, between_c) {
  const fahrenheit = app.workshop.show.temperature === 'F';
  const readings = [];
  let began = 0;
  let found = null;
  const now = () => (performance.now() - began) / 1000;
  const list = element('ul');
  const told = element('p.large', {role: 'timer'});
  const rough = element('p.warning', {role: 'status'});
  rough.hidden = true;
  const input = element('input', {inputmode: 'decimal', 'aria-label': `Panel beside the tab, °${app.workshop.show.temperature}`});
  const take = async () => {
    const degrees = Number(input.value.replace(',', '.'));
    const celsius = fahrenheit ? (degrees - 32) / 1.8 : degrees;
    if (input.value.trim() === '' || !(celsius > -50 && celsius < 200)) return app.say('Type what the thermometer reads, then tap.');
    if (!readings.length) began = performance.now();
    readings.push({at_s: readings.length ? now() : 0, celsius});
    list.append(element('li', `${clock(readings.at(-1).at_s)}: ${input.value} °${app.workshop.show.temperature}`));
    input.value = '';
    if (readings.length < 2) return void (told.textContent = 'Read it again in some 20 seconds.');
    try {
      found = await app.core.ask({do: 'pull_window', readings, air_c, between_c});
      rough.textContent = [roughness(found), ...found.warnings.map(({message}) => `${message[0].toUpperCase()}${message.slice(1)}.`)].filter(Boolean).join(' ');
      rough.hidden = rough.textContent === '';
      tick();
    } catch (error) {
      app.say(error.message);
    }
  };
  const tick = () => {
    if (found) told.textContent = pullWords(found, now());
  };
  const timer = setInterval(() => (told.isConnected ? tick() : began && clearInterval(timer)), 250);
  return [
    element('p', 'Heat off. Read the panel beside the tab, always from the same distance, type it and tap; again some 20 s later.'),
    element('div.fields', element('label.field', element('span', `Panel now, °${app.workshop.show.temperature}`), input), button('Read now', take)),
    list,
    told,
    rough,
  ];
}
